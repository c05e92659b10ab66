"""Take away e-mails by which people could still log in although the office had changed them."""

from typing import Any

from django.db import migrations, models


def forget_former_emails(apps: Any, _editor: Any) -> None:
    addresses = apps.get_model("account", "EmailAddress").objects
    addresses.exclude(email__iexact=models.F("user__email")).delete()


class Migration(migrations.Migration):
    dependencies = [
        ("consult", "0010_entry_keys"),
        ("account", "0009_emailaddress_unique_primary_email"),
    ]

    operations = [migrations.RunPython(forget_former_emails, migrations.RunPython.noop)]
