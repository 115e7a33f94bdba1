"""Reads that only the API makes."""

from __future__ import annotations

from django.db.models import Q, QuerySet

from inspections.models import LIVE_FLAG_STATES, LogSeries, LogValue
from inspections.vocabulary import UNITS, Qualifier, Quantity, Unit
from portfolio import queries
from portfolio.models import Organisation

#: A flag in one of these states waits for somebody.
LIVE = Q(state__in=list(LIVE_FLAG_STATES))
#: A reading at which the instrument's scale had ended.
CENSORED = ~Q(qualifier=Qualifier.EXACT)


def canonical_unit(quantity: str, unit: str) -> str:
    """The unit that a value read in ``unit`` is kept in."""
    return UNITS[Quantity(quantity)][Unit(unit)].canonical.value


def log_series(organisation: Organisation, key: str) -> LogSeries | None:
    """The organisation's logger series with this id, with its building; None if there is no such series."""
    found: LogSeries | None = queries.by_key(
        LogSeries.objects.of(organisation).select_related("building"), key
    )
    return found


def log_values(series: LogSeries) -> QuerySet[LogValue]:
    """All that was logged in a series."""
    return LogValue.objects.filter(series=series)
