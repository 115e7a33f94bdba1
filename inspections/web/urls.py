"""Where each page is."""

from __future__ import annotations

from django.contrib.auth.views import LogoutView
from django.urls import include, path

from inspections.web import folders, photos, views

urlpatterns = [
    path("", views.portfolio, name="portfolio"),
    path("sign-in/", views.SignIn.as_view(), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("units/", views.choose_units, name="units"),
    path("houses/<uuid:pk>/", views.building, name="building"),
    path("sections/<uuid:pk>/", views.section, name="section"),
    path("how-a-verdict-is-made/", views.how_verdicts_are_made, name="how-verdicts-are-made"),
    path("sections/<uuid:pk>/photos/", photos.add_photo, name="add-photo"),
    path("photos/<uuid:pk>/", photos.picture, name="photo"),
    path("photos/<uuid:pk>/small/", photos.thumbnail, name="photo-thumbnail"),
    path("records/", folders.records, name="records"),
    path("records/export/", folders.export, name="export"),
    path("records/<uuid:pk>/", folders.upload, name="upload"),
    path("", include("inspections.web.entry.urls")),
]
