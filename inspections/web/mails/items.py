"""What a mail says of each thing that it tells: how it stands, what has changed, and why it matters."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Final

from django.urls import reverse

from inspections.domain.telling import links
from inspections.domain.telling.dangers import RADON_ACTION
from inspections.models import Reminder, WebhookCall
from inspections.queries.letters import Told
from inspections.queries.pages import Areas
from inspections.vocabulary import PlanReason, Quantity, Stage, Subject, Unit, Verdict
from inspections.web.mails.picture import Trend
from inspections.web.present import coats, dates, sentences, units, verdict, words

#: Why a verdict is worth the walk. The words are ours; what they rest on is said on the pages.
WHY: Final = {
    Verdict.TRAPPED_WATER: "Water held behind a coat softens the mortar while the face stays dry. Found "
    "early the coat alone is lost; found late the wall has lost its bedding too.",
    Verdict.WATER_ENTRY: "Water that comes in goes on coming until its source is mended. Look at gutter, "
    "downpipe, paving, pipes and window well first.",
    Verdict.CONDENSATION: "Summer air wets a cold wall. Airing at the wrong hour makes it worse, and mould "
    "follows.",
    Verdict.SURFACE_WEAR: "Loose pointing and coats are cheap to mend now and dear once stones move.",
    Verdict.DRYING_OUT: "A wall that is drying must not be covered before it is dry; the readings tell when.",
    Verdict.STABLE: "A quiet wall stays known only as long as somebody looks: a trend needs each season.",
    Verdict.INSUFFICIENT_DATA: "Two or three more visits let the readings speak.",
}
RADON_NEXT: Final = (
    "Repeat the test before you spend money, and act on the average of the two; where the local rule names "
    "a level, that one holds. Keep the sump covered airtight. Lowering radon is work for a licensed firm."
)
SUMP_NEXT: Final = (
    "Somebody should look today: power, float, check valve, discharge pipe. Don’t step into standing water "
    "near a pump or a socket before an electrician has made it dead."
)
#: In the order in which a mail tells them.
ORDER: Final = (
    Stage.DANGER,
    Stage.UNANSWERED,
    Stage.WORSE,
    Stage.OPENED,
    Stage.LATER,
    Stage.AFTER,
    Stage.ON,
    Stage.HANDED,
    Stage.AGAIN,
    Stage.BEFORE,
)


@dataclass(slots=True)
class Item:
    """One thing as the mail tells it; empty texts are left out."""

    name: str
    href: str
    standing: str
    #: What it is in a few words, for a subject line.
    short: str = ""
    claim: str = ""
    course: str = ""
    changed: str = ""
    why: str = ""
    again: str = ""
    later: str = ""
    hand_over: str = ""
    needs_person: bool = False
    #: What the picture shows: quantity and unit, the rate, a threshold; None where nothing can be drawn.
    shows: Shows | None = None
    cid: str = ""
    caption: str = ""
    told: Told | None = field(default=None, repr=False)


@dataclass(frozen=True, slots=True)
class Shows:
    """What is drawn of an item, in the reader's units."""

    quantity: str
    unit: str
    trend: Trend | None
    threshold: float | None = None


def item(told: Told, areas: Areas, today: dt.date, system: str) -> Item:
    """What is said of one thing to a reader in ``system``'s units."""
    row = told.reminder
    made = Item(
        name=named(row),
        href=_href(told),
        standing=words.typeset(_standing(told, today, system)),
        needs_person=row.stage not in (Stage.BEFORE, Stage.AGAIN),
        later=links.to_answer(links.Do.LATER, row),
        hand_over=links.to_answer(links.Do.HAND_OVER, row),
        told=told,
    )
    if row.again:
        made.again = "A mail with this may have reached you already; the server was lost while it took it."
    if told.stretch and "paper" not in row.detail:
        _of_the_wall(made, told, areas, today, system)
    elif row.subject == Subject.READING and told.reading:
        _of_the_house(made, told, system)
    if row.subject == Subject.READING:
        is_radon = row.detail.get("danger") == "radon"
        made.why = RADON_NEXT if is_radon else SUMP_NEXT
        made.short = f"{'much radon' if is_radon else 'the sump stands still'}, {made.name}"
        made.later = ""
    return made


def named(row: Reminder | WebhookCall) -> str:
    """Of what a row tells: the wall and the house, or the house as a whole."""
    house = words.house_name(row.building)
    if "paper" in row.detail:
        return f"{row.detail['paper']}, {house}"
    if row.section is None:
        return house if row.subject == Subject.READING else f"{house}, the whole house"
    return f"{words.section_name(row.section, alone_on_wall=False)}, {house}"


def _href(told: Told) -> str:
    row = told.reminder
    if told.flag is not None:
        return links.absolute(reverse("flag", args=[told.flag.pk]))
    if row.section_id is not None and "paper" not in row.detail:
        return links.absolute(reverse("section", args=[row.section_id]))
    return links.absolute(reverse("building", args=[row.building_id]))


def _standing(told: Told, today: dt.date, system: str) -> str:
    row = told.reminder
    if row.subject == Subject.READING:
        said = _danger(told, today, system)
    elif row.subject == Subject.FLAG and told.flag:
        said = _flag(told, today)
    else:
        said = _due(told, today)
    handed = f" {row.detail['from']} has handed it to you." if row.stage == Stage.HANDED else ""
    asked = " You asked to be told again." if row.stage == Stage.AGAIN else ""
    return f"{said}{handed}{asked}"


def _due(told: Told, today: dt.date) -> str:
    row, plan = told.reminder, told.plan
    due = plan.falls_on if plan else row.day
    parts = [sentences.due_sentence(due, today).removesuffix(".")]
    if due < today:
        parts[0] += f", {dates.span((today - due).days)} ago"
    if plan:
        parts.append(plan.detail or why_due(plan.reason))
    return f"{': '.join(part for part in parts if part)}."


def why_due(reason: str) -> str:
    """Why a plan is due then."""
    if reason == PlanReason.FORECAST:
        return "half the time to the forecast’s early end has passed"
    return str(PlanReason(reason).label)


def _flag(told: Told, today: dt.date) -> str:
    row, flag = told.reminder, told.flag
    assert flag is not None
    stands = sentences.flag_sentence(flag.state, flag.opened_on, today)
    if row.stage == Stage.UNANSWERED:
        return f"{stands} Nobody has answered it for {dates.span((today - flag.opened_on).days)}."
    if row.stage == Stage.WORSE:
        chance = row.detail.get("probability")
        now = f" (now {words.in_hundred(chance)})" if chance is not None else ""
        return f"It has got worse{now}. {stands}"
    return stands


def _danger(told: Told, today: dt.date, system: str) -> str:
    row, on = told.reminder, dates.day(told.reminder.day, today)
    if row.detail.get("danger") == "radon" and "value" in row.detail:
        bound = "over " if told.reading and told.reading.qualifier == ">" else ""
        read = units.amount(row.detail["value"], Unit.BQ_PER_M3, system)
        level = units.amount(RADON_ACTION, Unit.BQ_PER_M3, system)
        return f"Radon {bound}{read} on {on}: at or above the US EPA’s action level of {level}."
    rise = row.detail.get("rise_mm", 0.0)
    return f"On {on} the sump had not started, while the water rose by {units.amount(rise, Unit.MM, system)}."


def _of_the_wall(made: Item, told: Told, areas: Areas, today: dt.date, system: str) -> None:
    stretch = told.stretch
    assert stretch is not None
    if stretch.assessment is None:
        made.claim = "Not assessed yet."
        return
    result = stretch.assessment.result
    coat = coats.tightest(stretch.treatments, today)
    made.claim = f"{words.capital(verdict.claim(result, coat))}."
    levels = coats.levels_since(coat, areas.get(stretch.section.pk, {}))
    made.course = sentences.course_sentence(result, levels, system)
    made.why = WHY[Verdict(stretch.assessment.verdict)]
    if told.before:
        name, day = told.before
        made.changed = f"Changed: until {dates.day(day, today)} it was {words.verdict_name(name)}."
    found = sentences.telling_trend(result)
    if found:
        quantity, trend = found
        made.shows = Shows(quantity, trend["unit"], _trend(trend, system))


def _of_the_house(made: Item, told: Told, system: str) -> None:
    reading = told.reading
    assert reading is not None
    if reading.quantity == Quantity.RADON:
        level = units.shown(Unit.BQ_PER_M3, system).value(RADON_ACTION)
        made.shows = Shows(reading.quantity, Unit.BQ_PER_M3, None, level)


def _trend(trend: dict[str, object], system: str) -> Trend | None:
    rate, low, high = trend["rate_per_year"], trend["low"], trend["high"]
    if rate is None:
        return None
    form = units.shown(str(trend["unit"]), system)
    ends = [None if end is None else form.change(float(str(end))) for end in (low, high)]
    first, last = dates.parse(str(trend["first"])), dates.parse(str(trend["last"]))
    assert first is not None
    assert last is not None
    return Trend(form.change(float(str(rate))), ends[0], ends[1], first, last)
