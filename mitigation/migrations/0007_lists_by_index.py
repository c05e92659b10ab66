"""The lists are read in the order of an index, page by page."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('consult', '0009_lists_by_index'),
        ('mitigation', '0006_find_cases_fast'),
        ('surveys', '0006_lists_by_index'),
    ]

    operations = [
        migrations.AddIndex(
            model_name='case',
            index=models.Index(fields=['stage', '-opened_at', '-id'], name='case_stage_newest'),
        ),
    ]
