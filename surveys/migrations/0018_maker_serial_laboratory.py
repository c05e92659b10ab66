"""An instrument has a maker and a serial number, a row of it a laboratory and its description."""

from django.db import migrations, models


def words(label, longest):
    return models.CharField(label, max_length=longest, blank=True, default="")


FIELDS = (
    ("instrument", "maker", "Maker", 80),
    ("instrument", "serial", "Serial number", 80),
    ("calibration", "description", "Description", 200),
    ("calibration", "laboratory", "Calibration laboratory", 120),
)


class Migration(migrations.Migration):
    dependencies = [("surveys", "0017_assessors_by_name")]
    operations = [
        migrations.AddField(
            model_name=f"{history}{model}",
            name=name,
            field=words(label, longest),
            preserve_default=False,
        )
        for model, name, label, longest in FIELDS
        for history in ("", "historical")
    ]
