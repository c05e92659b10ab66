"""A key is of one row; apart from the migration that fills it, because both change the tables."""

import uuid

import django.utils.timezone
from django.db import migrations, models

KEYED = ("visit", "room", "spot", "groundpoint", "groundcheck", "reading", "circuit")


class Migration(migrations.Migration):
    dependencies = [("surveys", "0010_keys_from_outside")]

    operations = [
        *(
            migrations.AlterField(
                name, "uid", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)
            )
            for name in KEYED
        ),
        migrations.AlterField(
            "reading",
            "recorded_at",
            models.DateTimeField(
                blank=True, default=django.utils.timezone.now, editable=False, null=True
            ),
        ),
    ]
