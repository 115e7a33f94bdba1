"""Where each form is."""

from __future__ import annotations

from django.urls import path

from portfolio.later import later

ENTRY = "inspections.web.entry"

urlpatterns = [
    path("houses/<uuid:pk>/visit/", later(f"{ENTRY}.visits.start"), name="visit"),
    path("houses/<uuid:pk>/visit/<str:when>/", later(f"{ENTRY}.visits.review"), name="visit-review"),
    path("houses/<uuid:pk>/visit/<str:when>/house/", later(f"{ENTRY}.visits.section"), name="visit-house"),
    path(
        "houses/<uuid:pk>/visit/<str:when>/<uuid:section_pk>/",
        later(f"{ENTRY}.visits.section"),
        name="visit-section",
    ),
    path("readings/<uuid:pk>/take-back/", later(f"{ENTRY}.visits.take_back"), name="take-back"),
    path("houses/<uuid:pk>/events/new/", later(f"{ENTRY}.works.new_house_event"), name="new-house-event"),
    path("sections/<uuid:pk>/treatments/new/", later(f"{ENTRY}.works.new_treatment"), name="new-treatment"),
    path("sections/<uuid:pk>/events/new/", later(f"{ENTRY}.works.new_event"), name="new-event"),
    path("treatments/<uuid:pk>/remove/", later(f"{ENTRY}.works.remove_treatment"), name="remove-treatment"),
    path("flags/<uuid:pk>/", later(f"{ENTRY}.flags.flag"), name="flag"),
    path("trials/new/", later(f"{ENTRY}.trials.new_trial"), name="new-trial"),
    path("trials/<uuid:pk>/", later(f"{ENTRY}.trials.trial"), name="trial"),
    path("trials/<uuid:pk>/plan/", later(f"{ENTRY}.trial_plan.plan"), name="trial-plan"),
    path("due/", later(f"{ENTRY}.due.due_list"), name="due"),
    path("due/month/", later(f"{ENTRY}.due.month"), name="due-month"),
    path("due/policy/", later(f"{ENTRY}.due.policy"), name="policy-page"),
    path("due/<uuid:pk>/", later(f"{ENTRY}.due.item"), name="due-item"),
    path("houses/<uuid:pk>/round/", later(f"{ENTRY}.round_sheet.round_sheet"), name="round"),
    path("houses/<uuid:pk>/papers/new/", later(f"{ENTRY}.papers.new_paper"), name="new-paper"),
    path("papers/<uuid:pk>/", later(f"{ENTRY}.papers.paper"), name="paper"),
    path("papers/<uuid:pk>/document/", later(f"{ENTRY}.papers.document"), name="document"),
    path("people/", later(f"{ENTRY}.people.people"), name="people"),
]
