"""Kept files get rows of their own; letters are the first that stand on them."""

import django.db.models.deletion
from django.db import migrations, models

from consult.migrations._stored_files import give_rows, size_of, take_rows


def _described(letter):
    return {
        "kind": "application/pdf",
        "size": size_of(str(letter.file)),
        "sha256": letter.sha256,
        "stored_at": letter.rendered_at or letter.issued_at,
    }


def give(apps, schema_editor):
    give_rows(apps, schema_editor, apps.get_model("consult", "Letter"), _described)


def take(apps, schema_editor):
    letters = apps.get_model("consult", "Letter")
    take_rows(apps, schema_editor, letters, lambda letter, stored: None)


class Migration(migrations.Migration):
    dependencies = [("consult", "0017_names_of_fields")]

    operations = [
        migrations.CreateModel(
            name="StoredFile",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("file", models.FileField(max_length=200, unique=True, upload_to="")),
                ("kind", models.CharField(max_length=80)),
                ("size", models.PositiveBigIntegerField()),
                ("sha256", models.CharField(blank=True, max_length=64)),
                ("stored_at", models.DateTimeField()),
            ],
        ),
        migrations.RemoveConstraint(model_name="letter", name="ready_letter_has_its_file"),
        migrations.AddField(
            model_name="letter",
            name="stored",
            field=models.OneToOneField(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="consult.storedfile",
            ),
        ),
        migrations.AlterField(
            model_name="letter",
            name="file",
            field=models.FileField(blank=True, default="", max_length=200, upload_to=""),
        ),
        migrations.RunPython(give, take),
        migrations.RemoveField(model_name="letter", name="file"),
        migrations.AddConstraint(
            model_name="letter",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("state", "ready"), _negated=True),
                    models.Q(
                        ("stored__isnull", False),
                        models.Q(("sha256", ""), _negated=True),
                        ("rendered_at__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="ready_letter_has_its_file",
            ),
        ),
    ]
