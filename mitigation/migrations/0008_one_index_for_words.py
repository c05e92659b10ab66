"""One index serves both: a word is once in a case, and a case is asked for the beginning of a word."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("mitigation", "0007_lists_by_index"),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name="caseword",
            name="word_is_once_in_a_case",
        ),
        migrations.AlterField(
            model_name="caseword",
            name="case",
            field=models.ForeignKey(
                db_index=False,
                on_delete=django.db.models.deletion.CASCADE,
                related_name="words",
                to="mitigation.case",
            ),
        ),
        migrations.AddConstraint(
            model_name="caseword",
            constraint=models.UniqueConstraint(
                fields=("case", "word"),
                name="word_is_once_in_a_case",
                opclasses=["int8_ops", "varchar_pattern_ops"],
            ),
        ),
    ]
