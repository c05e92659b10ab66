"""The keys of forms go down to consult: the same table under its name there, with all its rows."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [
        ("surveys", "0006_lists_by_index"),
        ("consult", "0010_entry_keys"),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            database_operations=[migrations.AlterModelTable("EntryKey", "consult_entrykey")],
            state_operations=[migrations.DeleteModel("EntryKey")],
        ),
    ]
