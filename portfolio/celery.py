"""The Celery application. Without ``REDIS_URL`` tasks run in the process that starts them."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portfolio.settings")
app = Celery("wythe")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
