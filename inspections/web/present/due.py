"""What is due in sentences: rounds of a house rather than scattered looks, papers, and who is to go."""

from __future__ import annotations

import calendar
import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final
from uuid import UUID

from django.urls import reverse
from django.utils.safestring import SafeString

from inspections.models import Plan
from inspections.vocabulary import PlanReason
from inspections.web.present import agenda_svg, dates, words
from portfolio.models import Building

#: What falls due in so many days is told as soon.
SOON: Final = 30
#: How the page may be ordered: by when, by house, by who is to go.
BY: Final = {"day": "By day", "house": "By house", "person": "By person"}
#: Who went last, by house and day: the initials.
Looked = Mapping[tuple[UUID, dt.date], str]

_WHY: Final = {
    PlanReason.FIRST: "never looked at",
    PlanReason.POLICY: "the usual interval",
    PlanReason.SEASON: "the end of winter or summer",
    PlanReason.FLAG: "a flag was opened",
    PlanReason.EVENT: "after what happened there",
    PlanReason.TRIAL: "the trial’s turn",
    PlanReason.FORECAST: "half the time to the forecast’s early end has passed",
    PlanReason.NEW_COAT: "the turn of a new coat",
    PlanReason.FOLLOW_UP: "to see whether the work helped",
    PlanReason.PAPER: "its date",
}


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that is due: its name is a link, the rest follows it."""

    href: str
    name: str
    why: str
    due: str
    overdue: bool
    put_off: str


@dataclass(slots=True)
class Errand:
    """Looks of one house that are made in one go."""

    house: str
    href: str
    when: str
    late: str
    overdue: bool
    minutes: str
    who: str
    items: list[Item] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Group:
    """Errands and papers under a heading."""

    key: str
    heading: str
    errands: list[Errand]
    papers: list[Item]
    folded: bool = False


@dataclass(frozen=True, slots=True)
class DuePage:
    """Everything the page says."""

    summary: str
    drawing: SafeString
    groups: list[Group]


@dataclass(frozen=True, slots=True)
class Cell:
    """One day of a month's table; ``label`` names it where the table is a list."""

    number: int
    label: str
    is_today: bool
    entries: list[tuple[str, str, bool]]


@dataclass(frozen=True, slots=True)
class Week:
    """Seven days from Monday on, those of other months left out; ``busy``: anything falls due in it."""

    days: list[Cell | None]

    @property
    def busy(self) -> bool:
        return any(day is not None and day.entries for day in self.days)


@dataclass(frozen=True, slots=True)
class Month:
    """A month's weeks, and its neighbours as they stand in an address."""

    name: str
    before: str
    after: str
    weeks: list[Week]
    summary: str


@dataclass(frozen=True, slots=True)
class _Told:
    """What sentences need besides the plans."""

    today: Callable[[Building], dt.date]
    looked: Looked
    alone: set[tuple[UUID, str]]


def present(plans: Sequence[Plan], today: Callable[[Building], dt.date], looked: Looked, by: str) -> DuePage:
    """The page. ``today``: of a house; ``looked``: who went last."""
    walls = Counter((p.building_id, p.section.wall.strip()) for p in plans if p.section and not p.paper_id)
    told = _Told(today, looked, {wall for wall, count in walls.items() if count == 1})
    looks = [plan for plan in plans if not plan.paper_id]
    papers = [plan for plan in plans if plan.paper_id]
    groups = {"day": _by_day, "house": _by_house, "person": _by_person}[by](looks, papers, told)
    summary = _summary(plans, today)
    return DuePage(
        summary, _drawing(plans, today, summary), [one for one in groups if one.errands or one.papers]
    )


def why(plan: Plan) -> str:
    """Why a plan is due then, for somebody who does not know how it was reckoned."""
    return _WHY[PlanReason(plan.reason)]


def name_of(plan: Plan, *, alone: bool = False) -> str:
    """The section, the house as a whole, or the paper."""
    if plan.paper:
        return plan.paper.title
    return words.section_name(plan.section, alone) if plan.section else "The house as a whole"


def put_off(plan: Plan) -> str:
    """That it was postponed, and why."""
    if plan.postponed_to is None:
        return ""
    return f"Put off from {dates.day(plan.due_on)}: {words.sentence(plan.postponed_reason)}"


def taking(minutes: int) -> str:
    """Such as "about 40 minutes", "about 2 h 20 min"."""
    if not minutes:
        return "minutes not reckoned yet"
    if minutes < 90:
        return f"about {minutes} minutes"
    hours, rest = divmod(round(minutes, -1), 60)
    return f"about {hours} h {rest} min" if rest else f"about {hours} h"


# Groups ----------------------------------------------------------------------------------------------------


def _days_off(plan: Plan, told: _Told) -> int:
    return (plan.falls_on - told.today(plan.building)).days


def _by_day(looks: list[Plan], papers: list[Plan], told: _Told) -> list[Group]:
    spans = (
        ("overdue", "Overdue", lambda days: days < 0, False),
        ("soon", f"In the next {SOON} days", lambda days: 0 <= days <= SOON, False),
        ("later", "Later", lambda days: days > SOON, True),
    )
    return [
        Group(
            key,
            heading,
            _errands([one for one in looks if within(_days_off(one, told))], told),
            [_item(one, told) for one in papers if within(_days_off(one, told))],
            folded,
        )
        for key, heading, within, folded in spans
    ]


def _by_house(looks: list[Plan], papers: list[Plan], told: _Told) -> list[Group]:
    houses = {plan.building_id: plan.building for plan in [*looks, *papers]}
    return [
        Group(
            house.code,
            words.house_name(house),
            _errands([one for one in looks if one.building_id == house.pk], told),
            [_item(one, told) for one in papers if one.building_id == house.pk],
        )
        for house in sorted(houses.values(), key=words.house_name)
    ]


def _by_person(looks: list[Plan], papers: list[Plan], told: _Told) -> list[Group]:
    everybody: dict[str, list[Plan]] = defaultdict(list)
    for plan in looks:
        everybody[_who(plan, told)].append(plan)
    named = sorted(name for name in everybody if name)
    groups = [Group(f"p{i}", name, _errands(everybody[name], told), []) for i, name in enumerate(named)]
    nobody = [_item(one, told) for one in papers]
    return [*groups, Group("nobody", "Nobody yet", _errands(everybody.get("", []), told), nobody)]


def _who(plan: Plan, told: _Told) -> str:
    if plan.person:
        return plan.person.get_full_name() or plan.person.username
    initials = told.looked.get((plan.building_id, plan.last_on), "") if plan.last_on else ""
    return f"{initials}, who went last" if initials else ""


def _goes(plan: Plan, told: _Told) -> str:
    """Who is to go, or else who went last, as a sentence."""
    who = _who(plan, told)
    return f"For {who}." if plan.person else f"{who.replace(', who went', ' went')}." if who else ""


def _errands(plans: Iterable[Plan], told: _Told) -> list[Errand]:
    """Rounds in time; what is overdue in one house is made in one go, whenever it fell due."""
    rounds: dict[tuple[UUID, dt.date | None], list[Plan]] = defaultdict(list)
    for plan in plans:
        late = plan.falls_on < told.today(plan.building)
        rounds[plan.building_id, None if late else plan.falls_on].append(plan)
    in_time = sorted(rounds.values(), key=lambda own: (own[0].falls_on, own[0].building.code))
    return [_errand(own, told) for own in in_time]


def _errand(plans: list[Plan], told: _Told) -> Errand:
    house = plans[0].building
    today, first = told.today(house), min(plan.falls_on for plan in plans)
    overdue = first < today
    people = sorted({_goes(plan, told) for plan in plans} - {""})
    return Errand(
        house=words.house_name(house),
        href=f"{reverse('round', args=[house.pk])}?on={max(first, today)}",
        when=f"since {dates.day(first, today)}" if overdue else dates.day(first, today),
        late=f"{dates.span((today - first).days)} late" if overdue else "",
        overdue=overdue,
        minutes=taking(sum(plan.minutes or 0 for plan in plans)),
        who=" ".join(people),
        items=[_item(plan, told) for plan in plans],
    )


def _item(plan: Plan, told: _Told) -> Item:
    today = told.today(plan.building)
    alone = plan.section is not None and (plan.building_id, plan.section.wall.strip()) in told.alone
    name = name_of(plan, alone=alone)
    if plan.paper:
        name = f"{words.capital(plan.paper.get_kind_display())}, {words.house_name(plan.building)}: {name}"
    overdue = plan.falls_on < today
    late = f", {dates.span((today - plan.falls_on).days)} late" if overdue else ""
    address = reverse("paper", args=[plan.paper_id]) if plan.paper_id else reverse("due-item", args=[plan.pk])
    return Item(address, name, why(plan), f"{dates.day(plan.falls_on, today)}{late}", overdue, put_off(plan))


# Summary and drawing ---------------------------------------------------------------------------------------


def _summary(plans: Sequence[Plan], today: Callable[[Building], dt.date]) -> str:
    days = [(plan, (plan.falls_on - today(plan.building)).days) for plan in plans]
    late = [plan for plan, off in days if off < 0]
    soon = [plan for plan, off in days if 0 <= off <= SOON]
    return f"{_tell(late, 'overdue')} {_tell(soon, f'due in the next {SOON} days')}"


def _tell(plans: Sequence[Plan], what: str) -> str:
    """Such as "5 looks in 2 houses and 1 paper are overdue, about 40 minutes of work on site."."""
    looks = [plan for plan in plans if not plan.paper_id]
    parts = []
    if looks:
        houses = len({plan.building_id for plan in looks})
        parts.append(f"{words.counted(len(looks), 'look')} in {words.counted(houses, 'house')}")
    if len(plans) > len(looks):
        parts.append(words.counted(len(plans) - len(looks), "paper"))
    if not parts:
        return f"Nothing is {what}."
    be = "is" if len(plans) == 1 else "are"
    work = sum(plan.minutes or 0 for plan in looks)
    return f"{words.listed(parts)} {be} {what}{f', {taking(work)} on site' if work else ''}."


def _drawing(plans: Sequence[Plan], today: Callable[[Building], dt.date], summary: str) -> SafeString:
    lines = []
    houses: dict[UUID, list[Plan]] = defaultdict(list)
    for plan in plans:
        houses[plan.building_id].append(plan)
    for own in sorted(houses.values(), key=lambda own: min(plan.falls_on for plan in own)):
        counts = Counter((plan.falls_on, bool(plan.paper_id)) for plan in own)
        marks = [agenda_svg.Mark(day, count, paper) for (day, paper), count in sorted(counts.items())]
        lines.append(agenda_svg.Line(words.house_name(own[0].building), marks))
    if not lines:
        return SafeString("")
    latest = max(today(plan.building) for plan in plans)
    return agenda_svg.draw(lines, latest, summary)


# A month ---------------------------------------------------------------------------------------------------


def month(plans: Iterable[Plan], year: int, number: int, today: dt.date) -> Month:
    """A month as weeks of days from Monday on, with each day's rounds and papers."""
    by_day: dict[dt.date, list[Plan]] = defaultdict(list)
    for plan in plans:
        by_day[plan.falls_on].append(plan)
    weeks = [
        Week([_cell(day, by_day.get(day, []), today) if day.month == number else None for day in week])
        for week in calendar.Calendar().monthdatescalendar(year, number)
    ]
    first = dt.date(year, number, 1)
    before, after = first - dt.timedelta(days=1), first + dt.timedelta(days=32)
    here = [plan for plan in plans if (plan.falls_on.year, plan.falls_on.month) == (year, number)]
    return Month(
        name=f"{first:%B %Y}",
        before=f"{before:%Y-%m}",
        after=f"{after:%Y-%m}",
        weeks=weeks,
        summary=_tell(here, f"due in {first:%B}"),
    )


def _cell(day: dt.date, plans: list[Plan], today: dt.date) -> Cell:
    entries = []
    rounds: dict[UUID, list[Plan]] = defaultdict(list)
    for plan in plans:
        if plan.paper:
            name = f"{words.house_name(plan.building)}: {plan.paper.title}"
            entries.append((reverse("paper", args=[plan.paper_id]), name, day < today))
        else:
            rounds[plan.building_id].append(plan)
    for own in rounds.values():
        house = own[0].building
        text = f"{words.house_name(house)}: {words.counted(len(own), 'look')}"
        entries.append((f"{reverse('round', args=[house.pk])}?on={max(day, today)}", text, day < today))
    return Cell(day.day, f"{day:%A} {day.day}", day == today, sorted(entries, key=lambda entry: entry[1]))
