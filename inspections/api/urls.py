"""The addresses under the API's root."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path, re_path
from django.views.generic import RedirectView

from inspections.api import built, due, lasting, papers, photos, telling
from inspections.api import viewsets as seen
from inspections.api.alike import pooled_rates
from inspections.api.comparing import ComparisonView
from inspections.api.openings import OpeningLedgerView
from inspections.api.pooling import PooledTrialsView
from inspections.api.room_air import DewAndMouldView
from inspections.api.sheets import CoatSheetView, TrialSheetView
from portfolio.api import viewsets as stands
from portfolio.api.base import Nowhere, Root, Router
from portfolio.api.description import DescriptionView

router = Router()
router.register("organisations", stands.OrganisationViewSet)
router.register("memberships", stands.MembershipViewSet)
router.register("buildings", built.BuildingViewSet)
router.register("sections", built.SectionViewSet)
router.register("treatments", built.TreatmentViewSet)
router.register("events", built.EventViewSet)
router.register("instruments", seen.InstrumentViewSet)
router.register("calibration-checks", seen.CalibrationCheckViewSet)
router.register("visits", seen.VisitViewSet)
router.register("readings", seen.ReadingViewSet)
router.register("log-series", seen.LogSeriesViewSet)
router.register("photos", photos.PhotoViewSet)
router.register("trials", seen.TrialViewSet)
router.register("allocations", seen.AllocationViewSet)
router.register("assessments", seen.AssessmentViewSet)
router.register("replays", seen.ReplayViewSet)
router.register("flags", seen.FlagViewSet)
router.register("actions", seen.ActionViewSet)
router.register("due", due.DueViewSet)
router.register("papers", papers.PaperViewSet)
router.register("reminders", telling.ReminderViewSet)
router.register("webhooks", telling.WebhookViewSet)
router.register("webhook-calls", telling.WebhookCallViewSet)
router.register("changes", stands.ChangeViewSet)
router.register("loads", seen.LoadViewSet)

log_values = seen.LogValueViewSet.as_view({"get": "list", "post": "create"})

OVER_COATS = {
    "failure-rates": lasting.FailureRatesView,
    "survival": lasting.SurvivalView,
    "deterioration-rates": lasting.DeteriorationRatesView,
    "service-costs": lasting.ServiceCostsView,
    "age-rates": lasting.AgeRatesView,
    "like-ages": lasting.LikeAgesView,
    "like-walls": lasting.LikeWallsView,
    "coat-fates": lasting.CoatFatesView,
    "life-checks": lasting.LifeChecksView,
}
ADDRESSES = {
    **router.addresses(),
    **{name: f"{name}-list" for name in OVER_COATS},
    "pooled-rates": "pooled-rates-list",
    "pooled-trials": "pooled-trials",
    "opening-ledger": "opening-ledger",
    "policy": "policy",
    "telling-rules": "api-telling-rules",
    "my-mails": "api-my-mails",
    "schema": "api-schema",
}

urlpatterns: list[URLPattern | URLResolver] = [
    path("", Root.as_view(names=ADDRESSES), name="api-root"),
    path("schema/", DescriptionView.as_view(), name="api-schema"),
    path("opening-ledger/", OpeningLedgerView.as_view(), name="opening-ledger"),
    path("policy/", due.PolicyView.as_view(), name="policy"),
    path("telling-rules/", telling.TellingRulesView.as_view(), name="api-telling-rules"),
    path("my-mails/", telling.MyMailsView.as_view(), name="api-my-mails"),
    path("log-series/<str:series>/values/", log_values, name="logvalue-list"),
    path("pooled-rates/", pooled_rates, name="pooled-rates-list"),
    path("pooled-trials/", PooledTrialsView.as_view(), name="pooled-trials"),
    path("sections/<str:id>/dew-and-mould/", DewAndMouldView.as_view(), name="section-dew-and-mould"),
    path("trials/<str:code>/sheet/", TrialSheetView.as_view(), name="api-trial-sheet"),
    path("coat-sheet/", CoatSheetView.as_view(), name="api-coat-sheet"),
    path("trials/<str:code>/comparison/", ComparisonView.as_view(), name="trial-comparison"),
    *(path(f"{name}/", view.as_view(), name=f"{name}-list") for name, view in OVER_COATS.items()),
    *router.urls,
    # Plans, by the name of what they are.
    path("plans/", RedirectView.as_view(pattern_name="plan-list", query_string=True)),
    path("plans/<uuid:pk>/", RedirectView.as_view(pattern_name="plan-detail", query_string=True)),
    # Only what ends in a slash, so that an address without one is sent to the one with it.
    re_path(r"^(?:.*/)$", Nowhere.as_view()),
]
