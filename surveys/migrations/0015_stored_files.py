"""Case folders that came in stand on kept files with rows of their own."""

import django.db.models.deletion
from django.db import migrations, models

from consult.migrations._stored_files import digest_of, give_rows, size_of, take_rows


def _described(source):
    key = str(source.file)
    return {
        "kind": "application/zip",
        "size": size_of(key),
        "sha256": digest_of(key),  # the source's own is of what is packed in it
        "stored_at": source.received_at,
    }


def give(apps, schema_editor):
    give_rows(apps, schema_editor, apps.get_model("surveys", "SourceFile"), _described)


def take(apps, schema_editor):
    sources = apps.get_model("surveys", "SourceFile")
    take_rows(apps, schema_editor, sources, lambda source, stored: None)


def _stored(**blank):
    return models.OneToOneField(
        on_delete=django.db.models.deletion.PROTECT,
        related_name="+",
        to="consult.storedfile",
        **blank,
    )


class Migration(migrations.Migration):
    dependencies = [
        ("consult", "0018_stored_files"),
        ("surveys", "0014_names_of_fields"),
    ]

    operations = [
        migrations.AddField(
            model_name="sourcefile", name="stored", field=_stored(null=True, blank=True)
        ),
        migrations.AlterField(
            model_name="sourcefile",
            name="file",
            field=models.FileField(default="", max_length=200, upload_to=""),
        ),
        migrations.RunPython(give, take),
        migrations.AlterField(model_name="sourcefile", name="stored", field=_stored()),
        migrations.RemoveField(model_name="sourcefile", name="file"),
    ]
