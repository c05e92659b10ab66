"""The keys of forms come down to the ground floor; surveys 0007 hands over the table with its rows."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("consult", "0009_lists_by_index")]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.CreateModel(
                    name="EntryKey",
                    fields=[
                        (
                            "id",
                            models.BigAutoField(
                                auto_created=True,
                                primary_key=True,
                                serialize=False,
                                verbose_name="ID",
                            ),
                        ),
                        ("digest", models.CharField(max_length=64, unique=True)),
                        ("row", models.BigIntegerField()),
                        ("made_at", models.DateTimeField(auto_now_add=True)),
                    ],
                ),
            ],
        ),
    ]
