"""The table in which several web processes count log-ins together."""

from django.core.management import call_command
from django.db import migrations


def make_table(apps, schema_editor):
    call_command(
        "createcachetable", "shared_cache", database=schema_editor.connection.alias, verbosity=0
    )


class Migration(migrations.Migration):
    dependencies = [("consult", "0004_access_and_sending")]
    operations = [
        migrations.RunPython(make_table, migrations.RunPython.noop, elidable=False),
    ]
