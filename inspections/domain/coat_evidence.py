"""What an evidence sheet says of a kind of coat over all of an organisation's walls.

A kind of coat is what a mason would call by one name: the kind of its innermost layer and that layer's
binder. It is set beside another, such as the one that the reader is used to. A coat on one wall would be an
anecdote; the numbers are those of :mod:`inspections.domain.lasting`.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from inspections.analysis.costs import GroupCost
from inspections.analysis.groups import TestResult
from inspections.analysis.rates import GroupLoss, GroupRates
from inspections.domain import lasting
from inspections.models import Photo
from inspections.queries.sheets import Watched, coats_of_kinds, houses_of, photos_of_coats
from portfolio.domain.refusals import Conflict, Invalid
from portfolio.models import Organisation
from portfolio.vocabulary import Binder, TreatmentKind

BY = ("kind", "binder")


@dataclass(frozen=True, slots=True, order=True)
class CoatKind:
    """Such as a parge coat of NHL 3.5."""

    kind: str
    binder: str

    def __str__(self) -> str:
        return f"{self.kind},{self.binder}"


@dataclass(frozen=True, slots=True)
class CoatQuestion:
    """A kind of coat, and one to set it beside."""

    coat: CoatKind
    beside: CoatKind | None = None

    @property
    def kinds(self) -> tuple[CoatKind, ...]:
        return (self.coat,) if self.beside is None else (self.coat, self.beside)


@dataclass(frozen=True, slots=True)
class OneKind:
    """What is known of one kind: how it fails, how fast it is lost, what it costs in each currency."""

    what: CoatKind
    rates: GroupRates
    loss: GroupLoss | None
    costs: tuple[GroupCost, ...]


@dataclass(frozen=True, slots=True)
class Before:
    """One wall before its coat and last seen with it; either may be missing."""

    what: CoatKind
    before: Photo | None
    after: Photo | None


@dataclass(frozen=True, slots=True)
class CoatEvidence:
    """All that the sheet rests on, as known at the end of ``as_of``."""

    as_of: dt.date
    threshold: float
    kinds: tuple[OneKind, ...]
    test: TestResult
    houses: int
    pictures: list[Before]


def coat_question(coat: str, beside: str = "") -> CoatQuestion:
    """The question of two texts, as an address and a lent link hold it.

    :class:`Invalid` names what is wrong.
    """
    errors = []
    found: list[CoatKind | None] = []
    for name, text in (("coat", coat), ("beside", beside)):
        kind, _, binder = text.partition(",")
        if text and (kind not in TreatmentKind.values or binder not in Binder.values):
            errors.append((name, "There is no such coat; choose one from the list."))
        found.append(CoatKind(kind, binder) if text else None)
    first, second = found
    if not coat:
        errors.append(("coat", "Choose a coat."))
    elif first == second:
        errors.append(("beside", "Choose another coat to set beside it, or none."))
    if errors or first is None:
        raise Invalid(errors)
    return CoatQuestion(first, second)


def coat_kinds(organisation: Organisation) -> list[tuple[CoatKind, int]]:
    """Every kind that stood or stands on the organisation's walls, with how many coats were watched."""
    groups = lasting.failure_rates(organisation, BY).groups
    found = [(_kind_of(one), one.coats) for one in groups]
    return sorted(found, key=lambda one: (-one[1], one[0]))


def coat_evidence(organisation: Organisation, question: CoatQuestion) -> CoatEvidence:
    """What is known of these kinds of coat. :class:`Conflict` where there is no coat of one of them."""
    chosen = coats_of_kinds(organisation, *((one.kind, one.binder) for one in question.kinds))
    rates = lasting.failure_rates(organisation, BY, chosen=chosen)
    _, losses = lasting.deterioration_rates(organisation, BY, chosen=chosen)
    _, costs = lasting.service_costs(organisation, BY, chosen=chosen)
    own = {_kind_of(one): one for one in rates.groups}
    if missing := [one for one in question.kinds if one not in own]:
        names = " and ".join(str(one) for one in missing)
        raise Conflict(f"No coat of this kind is on record: {names}. Choose another.")
    lost = {_kind_of(one): one for one in losses}
    return CoatEvidence(
        as_of=rates.as_of,
        threshold=rates.threshold,
        kinds=tuple(
            OneKind(one, own[one], lost.get(one), tuple(paid for paid in costs if _kind_of(paid) == one))
            for one in question.kinds
        ),
        test=rates.test,
        houses=houses_of(chosen),
        pictures=coat_pictures(organisation, question),
    )


def coat_pictures(organisation: Organisation, question: CoatQuestion) -> list[Before]:
    """One wall of each kind with its photos, the first that has both; kinds without any are left out."""
    found = []
    for one in question.kinds:
        watched = photos_of_coats(coats_of_kinds(organisation, (one.kind, one.binder)))
        pictures = [picture for coat in watched if (picture := _before(one, coat)) is not None]
        if pictures:
            found.append(max(pictures, key=lambda picture: bool(picture.before) + bool(picture.after)))
    return found


def _before(what: CoatKind, coat: Watched) -> Before | None:
    begun, ended, photos = coat
    zone = photos[0].building.zone
    days = [(photo.taken_at.astimezone(zone).date(), photo) for photo in photos]
    before = [photo for day, photo in days if day < begun]
    after = [photo for day, photo in days if day >= begun and (ended is None or day < ended)]
    if not after and not before:
        return None
    return Before(what, before[-1] if before else None, after[-1] if after else None)


def _kind_of(one: GroupRates | GroupLoss | GroupCost) -> CoatKind:
    return CoatKind(one.group["kind"] or "", one.group["binder"] or "")
