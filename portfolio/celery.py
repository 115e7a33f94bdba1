"""The Celery application, and the one schedule.

With a broker beat and workers keep it, any number of either: nothing is done twice, since whatever is done is
claimed in the database. Without one `manage.py run_due [--loop]` does the same tasks in its own process.
"""

import os
from typing import Any

from celery import Celery
from celery.schedules import crontab
from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portfolio.settings")
app = Celery("wythe")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


def every(seconds: int, task: str, **options: Any) -> dict[str, Any]:
    """A task every so often; where no worker had the time for it, the next one is as good."""
    entry = {"task": f"inspections.tasks.{task}", "schedule": seconds, "options": {"expires": seconds}}
    return {**entry, "kwargs": options} if options else entry


app.conf.beat_schedule = {
    "uploads": every(settings.LOOK_SECONDS, "run_uploads"),
    "assess": every(settings.LOOK_SECONDS, "reassess_waiting", lost_only=bool(settings.REDIS_URL)),
    "look back": every(settings.MAIL_SECONDS, "look_back", at_most=settings.HOUSES_A_ROUND),
    "raise": every(settings.RAISE_SECONDS, "raise_reminders"),
    "mails": every(settings.MAIL_SECONDS, "send_mails"),
    "webhooks": every(settings.LOOK_SECONDS, "call_webhooks"),
    "nightly": {"task": "inspections.tasks.ask_for_old_assessments", "schedule": crontab(hour=2, minute=30)},
}
