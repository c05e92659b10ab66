"""Attachments stand on kept files with rows of their own; a refused one has none."""

import django.db.models.deletion
from django.db import migrations, models

from consult.migrations._stored_files import give_rows, take_rows


def _described(attachment):
    return {
        "kind": attachment.kind,
        "size": attachment.size,
        "sha256": attachment.sha256 or attachment.given_sha256,
        "stored_at": attachment.added_at,
    }


def give(apps, schema_editor):
    Attachment = apps.get_model("mitigation", "Attachment")
    Attachment.objects.filter(state="refused").update(file="")
    give_rows(apps, schema_editor, Attachment, _described)


def _returned(attachment, stored):
    attachment.kind, attachment.size = stored.kind, stored.size
    attachment.sha256 = stored.sha256 if attachment.state == "ready" else ""


def take(apps, schema_editor):
    Attachment = apps.get_model("mitigation", "Attachment")
    for refused in Attachment.objects.filter(state="refused"):
        refused.file = f"attachments/{refused.case_id}/{refused.given_sha256}"
        refused.save()
    take_rows(apps, schema_editor, Attachment, _returned)


class Migration(migrations.Migration):
    dependencies = [
        ("consult", "0018_stored_files"),
        ("mitigation", "0013_certificates_confirmed"),
        ("surveys", "0015_stored_files"),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name="attachment", name="ready_attachment_has_its_digest"
        ),
        migrations.AddField(
            model_name="attachment",
            name="stored",
            field=models.OneToOneField(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="consult.storedfile",
            ),
        ),
        # What the way back fills in again.
        migrations.AlterField(
            model_name="attachment",
            name="file",
            field=models.FileField(default="", max_length=200, upload_to=""),
        ),
        migrations.AlterField(
            model_name="attachment", name="kind", field=models.CharField(default="", max_length=80)
        ),
        migrations.AlterField(
            model_name="attachment", name="size", field=models.PositiveBigIntegerField(default=0)
        ),
        migrations.RunPython(give, take),
        migrations.RemoveField(model_name="attachment", name="file"),
        migrations.RemoveField(model_name="attachment", name="kind"),
        migrations.RemoveField(model_name="attachment", name="sha256"),
        migrations.RemoveField(model_name="attachment", name="size"),
        migrations.AddConstraint(
            model_name="attachment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("state", "refused"), ("stored__isnull", False), _connector="XOR"
                ),
                name="attachment_has_its_file_unless_refused",
            ),
        ),
    ]
