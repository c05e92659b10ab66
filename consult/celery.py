"""The Celery application. It carries job ids; the jobs themselves are rows.

One machine: `manage.py serve` starts a worker of its own. Several machines, each with DATABASE_URL,
REDIS_URL, SECRET_KEY, ALLOWED_HOSTS and the same file storage:

    gunicorn consult.wsgi -k gthread --threads 8      # any number
    celery -A consult worker -n one@%h                # any number, each under its own name

Workers take no remote control, so they need no gossip and no mingling either.

Every worker sweeps and beats by its own timer (consult/tasks.py), so there is no beat process.
"""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "consult.settings")
app = Celery("ebbmark")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
