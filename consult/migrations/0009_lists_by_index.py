"""The lists are read in the order of an index, page by page."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('consult', '0008_letterhead'),
    ]

    operations = [
        migrations.AddIndex(
            model_name='client',
            index=models.Index(fields=['name', 'id'], name='client_by_name'),
        ),
        migrations.AddIndex(
            model_name='letter',
            index=models.Index(fields=['-issued_at', '-id'], name='letter_newest_first'),
        ),
    ]
