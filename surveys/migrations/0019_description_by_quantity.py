"""The description of an instrument goes to each of its rows, in their histories too."""

from django.db import migrations


def go_down(apps, schema_editor):
    Instrument = apps.get_model("surveys", "Instrument")
    described = Instrument.objects.exclude(description="").values_list("pk", "description")
    for pk, description in list(described):
        for model in ("Calibration", "HistoricalCalibration"):
            rows = apps.get_model("surveys", model).objects
            rows.filter(instrument=pk).update(description=description)


def go_up(apps, schema_editor):
    Calibration = apps.get_model("surveys", "Calibration")
    Instrument = apps.get_model("surveys", "Instrument")
    described = Calibration.objects.exclude(description="").order_by("-pk")
    for pk, description in list(described.values_list("instrument", "description")):
        Instrument.objects.filter(pk=pk).update(description=description)


class Migration(migrations.Migration):
    dependencies = [("surveys", "0018_maker_serial_laboratory")]
    operations = [migrations.RunPython(go_down, go_up)]
