"""Find cases through indexes that answer alone: beginnings of words, what is due, counts by stage."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("consult", "0007_privacy"),
        ("mitigation", "0005_clean_pictures"),
        ("surveys", "0005_names_and_their_history"),
    ]

    operations = [
        migrations.RemoveIndex(
            model_name="case",
            name="case_stage_due",
        ),
        migrations.AlterField(
            model_name="caseword",
            name="word",
            field=models.CharField(max_length=40),
        ),
        migrations.AddIndex(
            model_name="case",
            index=models.Index(
                fields=["stage", "due_on", "on_hold_reason"], name="case_stage_due_held"
            ),
        ),
        migrations.AddIndex(
            model_name="case",
            index=models.Index(fields=["due_on", "id"], name="case_due_first"),
        ),
        migrations.AddIndex(
            model_name="caseword",
            index=models.Index(
                fields=["word", "case"],
                name="case_word_beginning",
                opclasses=["varchar_pattern_ops", "int8_ops"],
            ),
        ),
    ]
