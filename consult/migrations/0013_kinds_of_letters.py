"""The kinds of letters are registered by the apps; the table knows no list of them."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("consult", "0012_second_factor"),
    ]

    operations = [
        migrations.AlterField(
            model_name="letter",
            name="kind",
            field=models.CharField(max_length=16),
        ),
    ]
