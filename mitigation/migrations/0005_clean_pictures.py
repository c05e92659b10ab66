"""Pictures are handed out once a worker has written them anew; those that are there go first."""

from django.db import migrations, models
from django.utils import timezone


def give_digests(apps, schema_editor):
    """What was attached before is known by its digest; its pictures wait for their job."""
    Attachment = apps.get_model("mitigation", "Attachment")
    Job = apps.get_model("consult", "Job")
    for row in Attachment.objects.iterator(chunk_size=500):
        row.given_sha256 = row.sha256
        if row.kind in ("image/png", "image/jpeg"):
            row.state, row.sha256 = "cleaning", ""
            Job.objects.get_or_create(
                key=f"clean-picture:{row.pk}",
                defaults={
                    "kind": "clean-picture",
                    "arguments": {"attachment": row.pk},
                    "run_after": timezone.now(),
                },
            )
        row.save()


class Migration(migrations.Migration):
    dependencies = [
        ("mitigation", "0004_uploads_as_jobs"),
        ("consult", "0005_shared_cache"),
    ]

    operations = [
        migrations.RemoveConstraint(model_name="attachment", name="file_is_attached_once"),
        migrations.AddField(
            model_name="attachment",
            name="given_sha256",
            field=models.CharField(default="", max_length=64),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name="attachment",
            name="height",
            field=models.PositiveIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="attachment",
            name="refusal",
            field=models.CharField(blank=True, max_length=200),
        ),
        migrations.AddField(
            model_name="attachment",
            name="small",
            field=models.BinaryField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="attachment",
            name="state",
            field=models.CharField(
                choices=[
                    ("cleaning", "being cleaned"),
                    ("ready", "ready"),
                    ("refused", "refused"),
                ],
                default="ready",
                max_length=8,
            ),
        ),
        migrations.AddField(
            model_name="attachment",
            name="width",
            field=models.PositiveIntegerField(blank=True, null=True),
        ),
        migrations.AlterField(
            model_name="attachment",
            name="sha256",
            field=models.CharField(blank=True, max_length=64),
        ),
        migrations.RunPython(give_digests, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name="attachment",
            constraint=models.UniqueConstraint(
                fields=("case", "given_sha256"), name="file_is_attached_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="attachment",
            constraint=models.CheckConstraint(
                condition=models.Q(("state__in", ["cleaning", "ready", "refused"])),
                name="attachment_state_is_known",
            ),
        ),
        migrations.AddConstraint(
            model_name="attachment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("state", "ready"), _negated=True),
                    models.Q(("sha256", ""), _negated=True),
                    _connector="OR",
                ),
                name="ready_attachment_has_its_digest",
            ),
        ),
    ]
