"""Mails belong to a client, a log-in and a letter, and the link in one can be withdrawn."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


def whose(model):
    return models.ForeignKey(
        blank=True,
        null=True,
        on_delete=django.db.models.deletion.SET_NULL,
        related_name="mails",
        to=model,
    )


class Migration(migrations.Migration):
    dependencies = [("consult", "0014_one_line_texts")]
    operations = [
        migrations.AddField("outboundmail", "client", whose("consult.client")),
        migrations.AddField("outboundmail", "user", whose(settings.AUTH_USER_MODEL)),
        migrations.AddField("outboundmail", "letter", whose("consult.letter")),
        migrations.AddField(
            "outboundmail", "withdrawn_at", models.DateTimeField(blank=True, null=True)
        ),
    ]
