"""Visits are given the person whose name stands on them, where one assessor alone has that name."""

import unicodedata
from collections import Counter

from django.db import migrations


def link(apps, schema_editor):
    User = apps.get_model("consult", "User")
    people = [
        (folded(name), pk)
        for pk, name in User.objects.filter(role="assessor").values_list("pk", "name")
    ]
    times = Counter(name for name, _pk in people)
    person = {name: pk for name, pk in people if name and times[name] == 1}
    for model in ("Visit", "HistoricalVisit"):
        rows = apps.get_model("surveys", model).objects
        names = rows.order_by().values_list("assessor", flat=True).distinct()
        for name in list(names):
            if folded(name) in person:
                rows.filter(assessor=name).update(measured_by=person[folded(name)])


def folded(name):
    """Frozen: the live rule is in `surveys.models.names`."""
    plain = unicodedata.normalize("NFC", name).casefold()
    return " ".join(unicodedata.normalize("NFC", plain).split())


class Migration(migrations.Migration):
    dependencies = [("surveys", "0016_who_measured")]
    # The names stand as they were.
    operations = [migrations.RunPython(link, migrations.RunPython.noop)]
