"""Where each page is."""

from __future__ import annotations

from django.contrib.auth.views import LogoutView
from django.urls import include, path

from inspections.web.signing_in import SignIn
from portfolio.later import later

WEB = "inspections.web"

urlpatterns = [
    path("", later(f"{WEB}.views.portfolio"), name="portfolio"),
    path("sign-in/", SignIn.as_view(), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("api/", later(f"{WEB}.programs.api"), name="api"),
    path("units/", later(f"{WEB}.views.choose_units"), name="units"),
    path("houses/<uuid:pk>/", later(f"{WEB}.views.building"), name="building"),
    path("sections/<uuid:pk>/", later(f"{WEB}.views.section"), name="section"),
    path("sections/<uuid:pk>/dew-and-mould/", later(f"{WEB}.room_air.page"), name="section-room-air"),
    path(
        "sections/<uuid:pk>/dew-and-mould/<slug:name>.<slug:form>",
        later(f"{WEB}.room_air.figure"),
        name="section-room-air-figure",
    ),
    path("how-a-verdict-is-made/", later(f"{WEB}.views.how_verdicts_are_made"), name="how-verdicts-are-made"),
    path("sections/<uuid:pk>/photos/", later(f"{WEB}.photos.add_photo"), name="add-photo"),
    path("photos/<uuid:pk>/", later(f"{WEB}.photos.picture"), name="photo"),
    path("photos/<uuid:pk>/small/", later(f"{WEB}.photos.thumbnail"), name="photo-thumbnail"),
    path("what-lasts/", later(f"{WEB}.lasting.what_lasts"), name="what-lasts"),
    path("what-lasts/sheets/", later(f"{WEB}.coat_sheets.choose"), name="coat-sheets"),
    path("what-lasts/sheet/", later(f"{WEB}.coat_sheets.sheet"), name="coat-sheet"),
    path("what-lasts/sheet.pdf", later(f"{WEB}.coat_sheets.sheet_file"), name="coat-sheet-file"),
    path("what-lasts/sheet/lend/", later(f"{WEB}.coat_sheets.lend"), name="lend-coat-sheet"),
    path("what-lasts/<slug:name>.<slug:form>", later(f"{WEB}.lasting.figure"), name="what-lasts-figure"),
    path(
        "trials/<uuid:pk>/figures/<slug:name>.<slug:form>",
        later(f"{WEB}.trial_figures.figure"),
        name="trial-figure",
    ),
    path("trials/<uuid:pk>/together/", later(f"{WEB}.trial_figures.together"), name="trials-together"),
    path("trials/<uuid:pk>/sheet/", later(f"{WEB}.sheets.sheet"), name="trial-sheet"),
    path("trials/<uuid:pk>/sheet.pdf", later(f"{WEB}.sheets.sheet_file"), name="trial-sheet-file"),
    path("trials/<uuid:pk>/sheet/lend/", later(f"{WEB}.sheets.lend"), name="lend-sheet"),
    path("sheets/<uuid:pk>/take-back/", later(f"{WEB}.sheets.take_back"), name="take-back-sheet"),
    path("evidence/<str:key>/", later(f"{WEB}.lent_sheets.page"), name="lent-sheet"),
    path("evidence/<str:key>/sheet.pdf", later(f"{WEB}.lent_sheets.file"), name="lent-sheet-file"),
    path("evidence/<str:key>/photos/<uuid:pk>/", later(f"{WEB}.lent_sheets.photo"), name="lent-photo"),
    path("records/", later(f"{WEB}.folders.records"), name="records"),
    path("records/export/", later(f"{WEB}.folders.export"), name="export"),
    path("records/<uuid:pk>/", later(f"{WEB}.folders.upload"), name="upload"),
    path("", include("inspections.web.entry.urls")),
    path("", include("inspections.web.telling.urls")),
]
