"""The further lists over coats by name, as plain rows: for the API and the command alike."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

from django.db.models import QuerySet

from inspections.analysis.rates import Group
from inspections.domain import lasting
from inspections.vocabulary import USUAL_FIELDS
from portfolio.models import Organisation, Treatment

Listed = tuple[dt.date, list[dict[str, Any]]]


class Asked(NamedTuple):
    """What is asked: whose coats, grouped how, as of which day (None: today), and which (None: all)."""

    organisation: Organisation
    by: Sequence[str] = USUAL_FIELDS
    as_of: dt.date | None = None
    chosen: QuerySet[Treatment] | None = None


def _age_rates(asked: Asked) -> Listed:
    found = lasting.age_rates(*asked)
    return found.as_of, [one.as_json() for one in found.bands]


def _like_ages(asked: Asked) -> Listed:
    found = lasting.age_rates(*asked)
    return found.as_of, [one.as_json() for one in found.alike]


def _like_walls(asked: Asked) -> Listed:
    day, found = lasting.like_walls(*asked)
    return day, found.rows(asked.by, plain_name) if found else []


def _coat_fates(asked: Asked) -> Listed:
    day, found = lasting.coat_fates(*asked)
    return day, [one.as_json() for one in found]


def _life_checks(asked: Asked) -> Listed:
    day, found = lasting.life_checks(*asked)
    return day, [one.as_json() for one in found]


def plain_name(group: Group) -> str:
    """A group by its own values, such as "NHL 2, brick"."""
    return ", ".join(value or "not given" for value in group) or "all coats"


LISTS: Mapping[str, Callable[[Asked], Listed]] = {
    "age-rates": _age_rates,
    "like-ages": _like_ages,
    "like-walls": _like_walls,
    "coat-fates": _coat_fates,
    "life-checks": _life_checks,
}
