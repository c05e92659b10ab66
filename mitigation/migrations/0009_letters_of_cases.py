"""Which case a letter is about."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("consult", "0011_no_former_emails"),
        ("mitigation", "0008_one_index_for_words"),
    ]

    operations = [
        migrations.CreateModel(
            name="CaseLetter",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "case",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="case_letters",
                        to="mitigation.case",
                    ),
                ),
                (
                    "letter",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="case_letter",
                        to="consult.letter",
                    ),
                ),
            ],
            options={
                "ordering": ["case", "pk"],
            },
        ),
    ]
