"""Every measured row gets a key that a device can make, and a reading its time beside its hour."""

import re
from datetime import date, datetime, time

from django.db import migrations, models
from django.db.models import OuterRef, Subquery
from django.utils import timezone

KEYED = ("visit", "room", "spot", "groundpoint", "groundcheck", "reading", "circuit")
BATCH = 2_000
RANDOM = {
    "postgresql": "gen_random_uuid()",
    # 32 digits with version and variant in their places, as the framework stores a key there
    "sqlite": "lower(hex(randomblob(4)) || hex(randomblob(2)) || '4' ||"
    " substr(hex(randomblob(2)), 2) || 'a' || substr(hex(randomblob(2)), 2) ||"
    " hex(randomblob(6)))",
}
HOUR = re.compile(
    r"""(?:(?P<day>\d{4}-\d{2}-\d{2})(?:T|\s+))?
    (?P<hour>\d{1,2})
    (?:[:.h](?P<minute>\d{2})(?::(?P<second>\d{2})(?:\.\d+)?)?)?
    \s*(?P<half>[ap]\.?m\.?)?\s*(?P<word>uhr|h)?
    \s*(?P<zone>z|[+-]\d{2}:?\d{2})?""",
    re.IGNORECASE | re.VERBOSE | re.ASCII,
)


def give_keys(apps, schema_editor):
    """One statement for each table, by the database, so that nothing goes to the histories."""
    for name in KEYED:
        random = RANDOM[schema_editor.connection.vendor]
        schema_editor.execute(f'UPDATE "surveys_{name}" SET "uid" = {random}')


def tell_times(apps, schema_editor):
    """When the meter was read, where the typed hour tells it; and when the row was made."""
    Reading = apps.get_model("surveys", "Reading")
    zone = timezone.get_default_timezone()
    told = []
    rows = Reading.objects.exclude(taken_at_text="").order_by("pk")
    for pk, text, day in rows.values_list("pk", "taken_at_text", "visit__date").iterator(BATCH):
        moment = time_of(text, day, zone)
        if moment is not None:
            told.append((moment, pk))
    written = [(schema_editor.connection.ops.adapt_datetimefield_value(at), pk) for at, pk in told]
    with schema_editor.connection.cursor() as cursor:
        for start in range(0, len(written), BATCH):
            cursor.executemany(
                'UPDATE "surveys_reading" SET "taken_at" = %s WHERE "id" = %s',
                written[start : start + BATCH],
            )
    History = apps.get_model("surveys", "HistoricalReading")
    Visit = apps.get_model("surveys", "Visit")
    entered = History.objects.filter(id=OuterRef("pk")).order_by("history_id")
    Reading.objects.update(recorded_at=Subquery(entered.values("history_date")[:1]))
    came_in = Visit.objects.filter(pk=OuterRef("visit"), source__isnull=False)
    Reading.objects.filter(recorded_at=None).update(
        recorded_at=Subquery(came_in.values("sealed_at")[:1])
    )


def time_of(text, day, zone):
    """Frozen: the live rule is in `surveys.calc.hours`."""
    match = HOUR.fullmatch(text.strip())
    if match is None or not (match["minute"] or match["half"] or match["word"]):
        return None
    if match["zone"] and not match["day"]:  # "21:10-21:20" is a while, and no offset
        return None
    try:
        hour = int(match["hour"])
        if match["half"]:
            if not 1 <= hour <= 12:
                return None
            hour = hour % 12 + (12 if match["half"][0] in "pP" else 0)
        clock = time(hour, int(match["minute"] or 0), int(match["second"] or 0))
        on = date.fromisoformat(match["day"]) if match["day"] else day
        if match["zone"]:
            zone = datetime.strptime(match["zone"].upper(), "%z").tzinfo or zone
    except ValueError:
        return None
    if not 1900 <= on.year <= 9000:
        return None
    early = datetime.combine(on, clock, tzinfo=zone)
    return early if early.utcoffset() == early.replace(fold=1).utcoffset() else None


class Migration(migrations.Migration):
    dependencies = [("surveys", "0009_visits_of_letters")]

    operations = [
        migrations.RenameField("reading", "taken_at", "taken_at_text"),
        migrations.RenameField("historicalreading", "taken_at", "taken_at_text"),
        migrations.AddField(
            "reading", "taken_at", models.DateTimeField(blank=True, null=True)
        ),
        migrations.AddField(
            "reading",
            "recorded_at",
            models.DateTimeField(blank=True, editable=False, null=True),
        ),
        migrations.AddField("reading", "device_at", models.DateTimeField(blank=True, null=True)),
        *(
            migrations.AddField(name, "uid", models.UUIDField(editable=False, null=True))
            for name in KEYED
        ),
        migrations.RunPython(give_keys, migrations.RunPython.noop),
        migrations.RunPython(tell_times, migrations.RunPython.noop),
    ]
