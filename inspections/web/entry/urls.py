"""Where each form is."""

from __future__ import annotations

from django.urls import path

from inspections.web.entry import flags, people, trials, visits, works

urlpatterns = [
    path("houses/<uuid:pk>/visit/", visits.start, name="visit"),
    path("houses/<uuid:pk>/visit/<str:when>/", visits.review, name="visit-review"),
    path("houses/<uuid:pk>/visit/<str:when>/house/", visits.section, name="visit-house"),
    path("houses/<uuid:pk>/visit/<str:when>/<uuid:section_pk>/", visits.section, name="visit-section"),
    path("readings/<uuid:pk>/take-back/", visits.take_back, name="take-back"),
    path("houses/<uuid:pk>/events/new/", works.new_house_event, name="new-house-event"),
    path("sections/<uuid:pk>/treatments/new/", works.new_treatment, name="new-treatment"),
    path("sections/<uuid:pk>/events/new/", works.new_event, name="new-event"),
    path("treatments/<uuid:pk>/remove/", works.remove_treatment, name="remove-treatment"),
    path("flags/<uuid:pk>/", flags.flag, name="flag"),
    path("trials/new/", trials.new_trial, name="new-trial"),
    path("trials/<uuid:pk>/", trials.trial, name="trial"),
    path("people/", people.people, name="people"),
]
