"""What lasts: one function for each result, for the command, the API and the pages alike.

An answer is kept in the cache and given again as long as no record changes that it rests on.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

import numpy as np
from django.core.cache import cache
from django.core.exceptions import EmptyResultSet
from django.db.models import QuerySet

from inspections.analysis import agerates, costs, fates, lifechecks, rates
from inspections.analysis.adjusted import LikeForLike, like_for_like
from inspections.analysis.agerates import AgeRates
from inspections.analysis.costs import GroupCost
from inspections.analysis.fates import Fate
from inspections.analysis.lifechecks import LifeCheck
from inspections.analysis.rates import FailureRates, GroupLoss
from inspections.queries.coat_walls import dampness
from inspections.queries.lives import CoatBook, coat_book, moisture_state, state_of, today_of
from inspections.queries.series import day_number
from inspections.vocabulary import USUAL_FIELDS
from portfolio import __version__
from portfolio.models import Organisation, Treatment

#: How long an answer is kept that nobody asks for again.
KEPT_SECONDS = 24 * 3600

Answer = TypeVar("Answer")


#: Of more coats than this, a page gives what takes long only when asked for.
MANY_COATS = 2000


@dataclass(frozen=True, slots=True)
class WhatLasts:
    """Everything that is told of an organisation's coats, from one reading of the records.

    ``thorough``: with the comparison on like walls, the fates and the checks; without it they are empty.
    """

    rates: FailureRates
    ages: AgeRates
    losses: tuple[GroupLoss, ...]
    costs: tuple[GroupCost, ...]
    thorough: bool
    alike: LikeForLike | None
    fates: tuple[Fate, ...]
    checks: tuple[LifeCheck, ...]


def failure_rates(
    organisation: Organisation,
    by: Sequence[str] = USUAL_FIELDS,
    as_of: dt.date | None = None,
    chosen: QuerySet[Treatment] | None = None,
) -> FailureRates:
    """How often and how soon coats fail, in groups ``by`` fields; of ``chosen`` innermost layers only."""
    return _answer(organisation, by, as_of, chosen, _rates, "rates")


def deterioration_rates(
    organisation: Organisation,
    by: Sequence[str] = USUAL_FIELDS,
    as_of: dt.date | None = None,
    chosen: QuerySet[Treatment] | None = None,
) -> tuple[dt.date, tuple[GroupLoss, ...]]:
    """How fast coats lose area, and the day at the end of which that was known."""
    return _answer(organisation, by, as_of, chosen, _dated_losses, "losses")


def service_costs(
    organisation: Organisation,
    by: Sequence[str] = USUAL_FIELDS,
    as_of: dt.date | None = None,
    chosen: QuerySet[Treatment] | None = None,
    discount: float = 0.0,
) -> tuple[dt.date, tuple[GroupCost, ...]]:
    """What coats cost for each m² and year of service, and the day at the end of which that was known."""
    found = partial(_dated_costs, discount=discount)
    return _answer(organisation, by, as_of, chosen, found, f"costs at {discount!r}")


def age_rates(
    organisation: Organisation,
    by: Sequence[str] = USUAL_FIELDS,
    as_of: dt.date | None = None,
    chosen: QuerySet[Treatment] | None = None,
) -> AgeRates:
    """How often coats fail at each age, and the groups beside each other at like ages."""
    return _answer(organisation, by, as_of, chosen, _ages, "ages")


def like_walls(
    organisation: Organisation,
    by: Sequence[str] = USUAL_FIELDS,
    as_of: dt.date | None = None,
    chosen: QuerySet[Treatment] | None = None,
) -> tuple[dt.date, LikeForLike | None]:
    """How long groups last beside each other on like walls; None where too little is known for it."""
    found = partial(_dated_walls, organisation=organisation)
    return _answer(organisation, by, as_of, chosen, found, f"walls {moisture_state(organisation)}")


def coat_fates(
    organisation: Organisation,
    by: Sequence[str] = USUAL_FIELDS,
    as_of: dt.date | None = None,
    chosen: QuerySet[Treatment] | None = None,
) -> tuple[dt.date, tuple[Fate, ...]]:
    """Which shares of coats have failed, or were taken off sound, at each age."""
    return _answer(organisation, by, as_of, chosen, _dated_fates, "fates")


def life_checks(
    organisation: Organisation,
    by: Sequence[str] = USUAL_FIELDS,
    as_of: dt.date | None = None,
    chosen: QuerySet[Treatment] | None = None,
) -> tuple[dt.date, tuple[LifeCheck, ...]]:
    """Lives as recorded, with planned removals failed, and from planned visits alone."""
    return _answer(organisation, by, as_of, chosen, _dated_checks, "checks")


def what_lasts(
    organisation: Organisation,
    by: Sequence[str] = USUAL_FIELDS,
    as_of: dt.date | None = None,
    discount: float = 0.0,
    thorough: bool = False,
) -> WhatLasts:
    """Failures, loss of area and costs of all coats; the rest too where it is quick or ``thorough``."""
    thorough = thorough or Treatment.objects.of(organisation).count() <= MANY_COATS
    found = partial(_everything, discount=discount, thorough=thorough, organisation=organisation)
    what = f"everything at {discount!r} {moisture_state(organisation) if thorough else 'in short'}"
    return _answer(organisation, by, as_of, None, found, what)


def _answer(
    organisation: Organisation,
    by: Sequence[str],
    as_of: dt.date | None,
    chosen: QuerySet[Treatment] | None,
    found: Callable[[CoatBook, Sequence[str]], Answer],
    what: str,
) -> Answer:
    """What ``found`` makes of the coats, or what it made of them before; ``what`` tells results apart."""
    day = as_of or today_of(organisation)
    asked = [__version__, state_of(organisation), what, *by, day, _written(chosen)]
    key = "lasting:" + hashlib.sha256("\n".join(map(str, asked)).encode()).hexdigest()
    kept: Answer | None = cache.get(key)
    if kept is None:
        kept = found(coat_book(organisation, by, day, chosen), by)
        cache.set(key, kept, KEPT_SECONDS)
    return kept


def _written(chosen: QuerySet[Treatment] | None) -> str:
    """What tells one choice of coats from another."""
    if chosen is None:
        return "all"
    try:
        return str(chosen.query.sql_with_params())
    except EmptyResultSet:
        return "none"


def _rates(book: CoatBook, by: Sequence[str]) -> FailureRates:
    return rates.failure_rates(by, book.group, book.lives, book.house, book.as_of, book.threshold)


def _dated_losses(book: CoatBook, by: Sequence[str]) -> tuple[dt.date, tuple[GroupLoss, ...]]:
    return book.as_of, rates.deterioration_rates(by, book.group, book.lives, book.house)


def _dated_costs(book: CoatBook, by: Sequence[str], discount: float) -> tuple[dt.date, tuple[GroupCost, ...]]:
    last = day_number(book.as_of)
    found = costs.service_costs(
        by, book.group, book.coats, book.lives, book.house, book.payments, last, discount
    )
    return book.as_of, found


def _ages(book: CoatBook, by: Sequence[str]) -> AgeRates:
    return agerates.age_rates(by, book.group, book.lives, book.house, book.as_of)


def _walls(book: CoatBook, by: Sequence[str], organisation: Organisation) -> LikeForLike | None:
    exposure = {name: words for name, words in book.exposure.items() if name not in by}
    # A unit of thickness changes nothing: only ratios of thicknesses tell.
    thickness = np.log(np.where(book.thickness > 0, book.thickness, np.nan))
    measures = {"dampness": dampness(organisation, book), "thickness": thickness}
    return like_for_like(book.group, book.lives, book.house, exposure, measures)


def _dated_walls(
    book: CoatBook, by: Sequence[str], organisation: Organisation
) -> tuple[dt.date, LikeForLike | None]:
    return book.as_of, _walls(book, by, organisation)


def _dated_fates(book: CoatBook, by: Sequence[str]) -> tuple[dt.date, tuple[Fate, ...]]:
    last = day_number(book.as_of)
    return book.as_of, fates.fates(by, book.group, book.coats, book.lives, book.house, last)


def _dated_checks(book: CoatBook, by: Sequence[str]) -> tuple[dt.date, tuple[LifeCheck, ...]]:
    told = lifechecks.Book(
        book.coats, book.areas, book.mended, book.threshold, book.lives, book.group, book.house
    )
    rounds = lifechecks.on_rounds(*book.whole, book.areas)
    return book.as_of, lifechecks.life_checks(by, told, rounds, book.as_of)


def _everything(
    book: CoatBook, by: Sequence[str], discount: float, thorough: bool, organisation: Organisation
) -> WhatLasts:
    return WhatLasts(
        _rates(book, by),
        _ages(book, by),
        _dated_losses(book, by)[1],
        _dated_costs(book, by, discount)[1],
        thorough,
        _walls(book, by, organisation) if thorough else None,
        _dated_fates(book, by)[1] if thorough else (),
        _dated_checks(book, by)[1] if thorough else (),
    )
