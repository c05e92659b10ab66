"""The built-in guideline tables.

SBM-2008 and SBM-2015: Standard of Building Biology Testing Methods, evaluation guidelines for
sleeping areas, alternating electric and magnetic fields up to and around 50/60 Hz.
"""

from typing import Any

from django.db import migrations

UPPER_BOUNDS = {
    "electric-field-ground": (1.0, 5.0, 50.0),  # V/m
    "electric-field-potential-free": (0.3, 1.5, 10.0),  # V/m
    "body-voltage": (10.0, 100.0, 1000.0),  # mV
    "magnetic-flux-density": (20.0, 100.0, 500.0),  # nT
}
EDITIONS = {"SBM-2008": "concern", "SBM-2015": "anomaly"}
DEGREES = ("no", "slight", "severe", "extreme")
NOTE = (
    "A precautionary guideline for sleeping areas without official status. The published tables "
    "give no rule for a value on a bound."
)


def add(apps: Any, schema_editor: Any) -> None:
    Guideline = apps.get_model("surveys", "Guideline")
    Band = apps.get_model("surveys", "Band")
    for code, word in EDITIONS.items():
        guideline = Guideline.objects.create(
            code=code,
            title=f"Building Biology Evaluation Guidelines for Sleeping Areas, {code}",
            source=f"Standard of Building Biology Testing Methods, {code}, supplement: "
            "evaluation guidelines for sleeping areas",
            note=NOTE,
            is_built_in=True,
        )
        Band.objects.bulk_create(
            Band(
                guideline=guideline,
                measurand=measurand,
                number=number,
                upper=upper,
                name=f"{degree} {word}",
            )
            for measurand, bounds in UPPER_BOUNDS.items()
            for number, (degree, upper) in enumerate(
                zip(DEGREES, (*bounds, None), strict=True), start=1
            )
        )


class Migration(migrations.Migration):
    dependencies = [("surveys", "0001_initial")]
    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
