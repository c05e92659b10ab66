"""A description stands with instrument and quantity alone."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("surveys", "0019_description_by_quantity")]
    operations = [
        migrations.RemoveField(model_name=model, name="description")
        for model in ("instrument", "historicalinstrument")
    ]
