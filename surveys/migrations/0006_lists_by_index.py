"""The lists are read in the order of an index, page by page."""

from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('consult', '0009_lists_by_index'),
        ('surveys', '0005_names_and_their_history'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddIndex(
            model_name='visit',
            index=models.Index(fields=['-date', '-id'], name='visit_latest_first'),
        ),
        migrations.AddIndex(
            model_name='visit',
            index=models.Index(condition=models.Q(('sealed_at__isnull', True)), fields=['date', 'position', 'id'], name='visit_open_first'),
        ),
    ]
