"""What lasts: one function for each result, for the command, the API and the pages alike."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from inspections.analysis import costs, rates
from inspections.analysis.costs import GroupCost
from inspections.analysis.rates import FailureRates, GroupLoss
from inspections.queries.lives import CoatBook, coat_book
from inspections.queries.series import day_number
from inspections.vocabulary import USUAL_FIELDS
from portfolio.models import Organisation, Treatment


def failure_rates(
    organisation: Organisation,
    by: Sequence[str] = USUAL_FIELDS,
    as_of: dt.date | None = None,
    chosen: QuerySet[Treatment] | None = None,
) -> FailureRates:
    """How often and how soon coats fail, in groups ``by`` fields; of ``chosen`` innermost layers only."""
    return _rates(coat_book(organisation, by, as_of, chosen), by)


def deterioration_rates(
    organisation: Organisation,
    by: Sequence[str] = USUAL_FIELDS,
    as_of: dt.date | None = None,
    chosen: QuerySet[Treatment] | None = None,
) -> tuple[dt.date, tuple[GroupLoss, ...]]:
    """How fast coats lose area, and the day at the end of which that was known."""
    book = coat_book(organisation, by, as_of, chosen)
    return book.as_of, _losses(book, by)


def service_costs(
    organisation: Organisation,
    by: Sequence[str] = USUAL_FIELDS,
    as_of: dt.date | None = None,
    chosen: QuerySet[Treatment] | None = None,
    discount: float = 0.0,
) -> tuple[dt.date, tuple[GroupCost, ...]]:
    """What coats cost for each m² and year of service, and the day at the end of which that was known."""
    book = coat_book(organisation, by, as_of, chosen)
    return book.as_of, _costs(book, by, discount)


@dataclass(frozen=True, slots=True)
class WhatLasts:
    """Everything that is told of an organisation's coats, from one reading of the records."""

    rates: FailureRates
    losses: tuple[GroupLoss, ...]
    costs: tuple[GroupCost, ...]


def what_lasts(
    organisation: Organisation,
    by: Sequence[str] = USUAL_FIELDS,
    as_of: dt.date | None = None,
    discount: float = 0.0,
) -> WhatLasts:
    """Failures, loss of area and costs of all coats."""
    book = coat_book(organisation, by, as_of)
    return WhatLasts(_rates(book, by), _losses(book, by), _costs(book, by, discount))


def _rates(book: CoatBook, by: Sequence[str]) -> FailureRates:
    return rates.failure_rates(by, book.group, book.lives, book.house, book.as_of, book.threshold)


def _losses(book: CoatBook, by: Sequence[str]) -> tuple[GroupLoss, ...]:
    return rates.deterioration_rates(by, book.group, book.lives, book.house)


def _costs(book: CoatBook, by: Sequence[str], discount: float) -> tuple[GroupCost, ...]:
    last = day_number(book.as_of)
    return costs.service_costs(
        by, book.group, book.coats, book.lives, book.house, book.payments, last, discount
    )
