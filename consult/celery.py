"""The Celery application. It carries job ids; the jobs themselves are rows."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "consult.settings")
app = Celery("ebbmark")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
