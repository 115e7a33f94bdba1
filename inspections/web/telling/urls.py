"""Where each page about telling is."""

from __future__ import annotations

from django.urls import path
from django.views.decorators.csrf import csrf_exempt

from portfolio.later import later

TELLING = "inspections.web.telling"

urlpatterns = [
    path("mails/", later(f"{TELLING}.mine.my_mails"), name="my-mails"),
    # The signed address is all the authority there is; programs for mail press it without a cookie.
    path("mails/<str:signed>/", csrf_exempt(later(f"{TELLING}.links.answer")), name="mail-link"),
    path("calendar/<str:secret>.ics", later(f"{TELLING}.mine.calendar"), name="calendar"),
    path("reminders/", later(f"{TELLING}.organisation.reminders"), name="reminders"),
    path("reminders/rules/", later(f"{TELLING}.organisation.rules"), name="telling-rules"),
    path("webhooks/", later(f"{TELLING}.webhooks.webhooks"), name="webhooks"),
    path("webhooks/<uuid:pk>/", later(f"{TELLING}.webhooks.webhook"), name="webhook"),
]
