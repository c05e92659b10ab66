"""Have PostgreSQL count the 500 commonest words of cases, and so the names of clients and towns.

Of the 100 that it counts by itself most are rooms and spots. By what it counts it chooses how the
words of a search are put together.
"""

from django.db import migrations

COMMONEST_KNOWN = 500
BY_DEFAULT = -1


def know_commonest(apps, schema_editor):
    _set_statistics(schema_editor, COMMONEST_KNOWN)


def know_as_many_as_by_default(apps, schema_editor):
    _set_statistics(schema_editor, BY_DEFAULT)


def _set_statistics(schema_editor, n):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(
            f'ALTER TABLE "mitigation_caseword" ALTER COLUMN "word" SET STATISTICS {n}'
        )


class Migration(migrations.Migration):
    dependencies = [("mitigation", "0029_calendar_feeds")]

    operations = [migrations.RunPython(know_commonest, know_as_many_as_by_default)]
