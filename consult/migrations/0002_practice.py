"""The one row of the practice, so that a letter has a sender from the first day."""

from typing import Any

from django.db import migrations


def add(apps: Any, schema_editor: Any) -> None:
    apps.get_model("consult", "Practice").objects.create(
        pk=1, name="Name of the practice (not yet entered)"
    )


class Migration(migrations.Migration):
    dependencies = [("consult", "0001_initial")]
    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
