"""Readings are linked to the circuits that their texts name; the texts stay as they were written."""

import unicodedata
from collections import defaultdict

from django.db import migrations

BATCH = 2_000
MAIN_SWITCH = "*"


def link(apps, schema_editor):
    Reading = apps.get_model("surveys", "Reading")
    Circuit = apps.get_model("surveys", "Circuit")
    CircuitOff = apps.get_model("surveys", "CircuitOff")
    Reading.objects.filter(circuits_off=MAIN_SWITCH).update(main_switch_off=True)
    Circuit.objects.filter(name=MAIN_SWITCH).delete()
    at_home = defaultdict(dict)
    for pk, home, name in Circuit.objects.order_by("-pk").values_list(
        "pk", "panel__property", "name"
    ):
        at_home[home][folded(name)] = pk
    links = []
    rows = Reading.objects.exclude(circuits_off="").order_by("pk")
    for pk, home, text in rows.values_list("pk", "visit__property", "circuits_off"):
        names = dict.fromkeys(map(folded, text.split(";")))
        links += [(pk, at_home[home][name]) for name in names if name in at_home[home]]
    CircuitOff.objects.bulk_create(
        [CircuitOff(reading_id=reading, circuit_id=circuit) for reading, circuit in links],
        batch_size=BATCH,
    )


def unlink(apps, schema_editor):
    apps.get_model("surveys", "CircuitOff").objects.all().delete()


def folded(name):
    """Frozen: the live rule is in `surveys.models.names`."""
    plain = unicodedata.normalize("NFC", name).casefold()
    return " ".join(unicodedata.normalize("NFC", plain).split())


class Migration(migrations.Migration):
    dependencies = [("surveys", "0012_circuits")]
    operations = [migrations.RunPython(link, unlink)]
