"""Which visits a letter reports."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("consult", "0011_no_former_emails"),
        ("surveys", "0008_instructions_for_a_visit"),
    ]

    operations = [
        migrations.CreateModel(
            name="LetterVisit",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "letter",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="letter_visits",
                        to="consult.letter",
                    ),
                ),
                (
                    "visit",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="letter_visits",
                        to="surveys.visit",
                    ),
                ),
            ],
            options={
                "ordering": ["letter", "pk"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("letter", "visit"), name="visit_is_once_in_a_letter"
                    )
                ],
            },
        ),
    ]
