"""No model without an endpoint and its tests."""

from __future__ import annotations

from functools import reduce

import pytest
from django.apps import apps
from django.db.models import Model

from inspections.api.urls import router
from inspections.api.viewsets import LogValueViewSet
from inspections.models import Photo, Policy, SharedCoatSheet, SharedSheet, TellingRules, Upload
from portfolio.api.base import Listed
from portfolio.models import Record, Scoped, Token
from tests.api import test_telling, test_what_follows, test_what_stands, test_what_was_seen
from tests.api.base import EndpointTests
from tests.api.writing import RecordEndpointTests, VoidableTests

EXEMPT = {
    SharedSheet: "links to a trial's sheet, made and taken back on its page; whoever has one reads it",
    SharedCoatSheet: "links to the sheet of a kind of coat, as those to a trial's",
    Policy: "one of each organisation, at an address of its own with its own tests (test_due)",
    TellingRules: "one of each organisation, at an address of its own with its own tests (test_telling)",
    Upload: "what somebody sends by the page, until it is loaded; what was loaded is told by the loads",
    Token: "a list of keys helps nobody but a thief; tokens are issued and revoked by their owner alone",
}
UPLOADED = {Photo: "what is known of a photo comes with its upload"}
MODELS = sorted(
    (model for model in apps.get_models() if issubclass(model, Scoped) and model not in EXEMPT),
    key=lambda model: model.__name__,
)
VIEWSETS: list[type[Listed]] = [*(viewset for _, viewset, _ in router.registry), LogValueViewSet]


def test_classes() -> list[type[EndpointTests]]:
    """Every test class of an endpoint."""
    modules = (test_telling, test_what_follows, test_what_stands, test_what_was_seen)
    found = [item for module in modules for item in vars(module).values() if isinstance(item, type)]
    return [item for item in found if issubclass(item, EndpointTests) and hasattr(item, "endpoint")]


test_classes.__test__ = False  # type: ignore[attr-defined]


@pytest.mark.parametrize("model", MODELS)
def test_a_model_has_one_endpoint_with_tests(model: type[Model]) -> None:
    endpoints = [prefix for prefix, viewset, _ in router.registry if viewset.queryset.model is model]
    assert len(endpoints) == 1, f"{model.__name__} has {len(endpoints)} endpoints"
    tests = [tests for tests in test_classes() if tests.model is model]
    assert [tests.endpoint for tests in tests] == endpoints
    assert issubclass(tests[0], VoidableTests) == issubclass(model, Record)
    assert issubclass(tests[0], RecordEndpointTests) == (issubclass(model, Record) and model not in UPLOADED)


def test_the_exempt_have_no_endpoint() -> None:
    assert not [viewset for viewset in VIEWSETS if viewset.queryset.model in EXEMPT]


@pytest.mark.parametrize("viewset", VIEWSETS)
def test_every_order_stands_on_fields_that_are_never_null(viewset: type[Listed]) -> None:
    """A page by cursor compares with the last row's values; what compares with null is lost."""
    for fields in viewset.orderings.values():
        for path in fields:
            *parents, name = path.lstrip("-").split("__")
            model = viewset.queryset.model
            for parent in parents:
                assert not model._meta.get_field(parent).null, path
                model = reduce(lambda at, step: at._meta.get_field(step).related_model, [parent], model)
            assert not model._meta.get_field(name).null, path


@pytest.mark.parametrize("viewset", VIEWSETS)
def test_every_view_asks_for_membership(viewset: type[Listed]) -> None:
    names = [permission.__name__ for permission in viewset.permission_classes]
    assert names == ["Members"]
