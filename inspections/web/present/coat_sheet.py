"""The evidence sheet of a kind of coat, set beside the one that its reader is used to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import takewhile

from inspections.analysis.comparison_words import quoted
from inspections.analysis.costs import GroupCost
from inspections.analysis.lifetimes import Interval
from inspections.analysis.rates import Survival
from inspections.domain.coat_evidence import Before, CoatEvidence, CoatKind, OneKind
from inspections.models import Photo
from inspections.web.present import dates, units, words
from inspections.web.present.figures import Figure
from inspections.web.present.lasting import DIFFERENT, area_unit, per_area, times
from inspections.web.present.lasting_figures import TELLING
from inspections.web.present.sheet import Headings, Picture, Sheet, SheetFigure
from inspections.web.present.svg import nice_ticks
from inspections.web.present.trial_figures import ABOVE, BELOW, LEFT, STYLES, Paper, scale
from portfolio.vocabulary import Binder, TreatmentKind

#: Under so many failures the end of the lives is hardly seen. Ours.
FEW_FAILURES = 5
_NAMELESS = {Binder.UNKNOWN, Binder.OTHER}
_NOTE = (
    "Thick: of 100 such coats, how many are still good at each age. Thin: between these the true number "
    "lies, allowing for chance. Dashed level line: half of them. A line ends where too little is known."
)


def name_of(coat: CoatKind) -> str:
    """Such as "NHL 3.5 lime parge coat"."""
    kind = str(TreatmentKind(coat.kind).label)
    if coat.binder in _NAMELESS:
        return f"{kind} of a binder that is not known"
    if coat.binder == Binder.NONE:
        return f"{kind} without a binder"
    return f"{Binder(coat.binder).label} {kind}"


def present(evidence: CoatEvidence, address: Callable[[Photo], str], system: str) -> Sheet:
    """The sheet; ``address`` says where a photo is fetched by who reads it."""
    names = [name_of(one.what) for one in evidence.kinds]
    return Sheet(
        title=title(*names),
        answer=_answer(evidence, names),
        where=_where(evidence),
        figure=_figure(evidence.kinds, names),
        legend=names,
        figure_note=_NOTE,
        pace=[_pace(one, evidence.threshold, system) for one in evidence.kinds],
        open=_open(evidence),
        pictures=[(quoted(name_of(one.what)), _pictures(one, address)) for one in evidence.pictures],
        source=f"all walls on record, as known on {dates.day(evidence.as_of)}",
        headings=Headings(figure="How many are still good"),
    )


def title(name: str, beside: str = "") -> str:
    """What stands over the sheet."""
    if not beside:
        return f"{words.capital(name)}: how long it lasts, and what a year of it costs"
    return f"{words.capital(name)} beside {beside}: how long each lasts, and what a year of it costs"


def _where(evidence: CoatEvidence) -> str:
    coats = sum(one.rates.coats for one in evidence.kinds)
    years = sum(one.rates.section_years for one in evidence.kinds)
    where = f"{words.counted(coats, 'coat')} on the walls of {words.counted(evidence.houses, 'house')}"
    return f"{where}, watched for {words.counted(round(years), 'year')} in all."


# The answer ------------------------------------------------------------------------------------------------


def _answer(evidence: CoatEvidence, names: Sequence[str]) -> str:
    few = [one for one in evidence.kinds if one.rates.rate.per_100_section_years is None]
    if few:
        names = [quoted(name_of(one.what)) for one in few]
        return f"Too few coats were watched to say how long they last: {words.listed(names)}."
    if len(evidence.kinds) == 1:
        return f"{_serves(evidence.kinds[0])}."
    p_value = evidence.test.p_value
    if p_value is None or p_value >= DIFFERENT:
        return "It is not shown that one of the two lasts longer."
    rates = [one.rates.rate.per_100_section_years or 0.0 for one in evidence.kinds]
    longer, shorter = (0, 1) if rates[0] < rates[1] else (1, 0)
    return f"{quoted(names[longer])} has lasted longer than {quoted(names[shorter])} on these walls."


def _serves(one: OneKind) -> str:
    """How long half of the coats serve, as far as that was seen."""
    life = one.rates.median_life
    if life.years is not None and _seen(one) >= life.years:
        return f"Half of these coats serve {_years(life.years)} or longer{_between(life.low, life.high)}"
    if not one.rates.failures:
        return "None of these coats has failed so far"
    last = _telling(one.rates.survival)
    if not last:
        return "How long half of these coats serve can’t be told yet"
    share = units.number(100 * last[-1].survival, 0)
    return f"After {_years(last[-1].years)} about {share} in 100 of these coats are still good"


def _between(low: float | None, high: float | None) -> str:
    if low is None and high is None:
        return ""
    if high is None:
        return f" ({_years(low or 0.0)} at the least, allowing for chance)"
    if low is None:
        return f" ({_years(high)} at the most, allowing for chance)"
    return f" (between {units.number(low, 0)} and {_years(high)}, allowing for chance)"


def _seen(one: OneKind) -> float:
    """The age up to which the curve tells anything."""
    points = _telling(one.rates.survival)
    return points[-1].years if points else 0.0


def _telling(points: Sequence[Survival]) -> list[Survival]:
    def tells(point: Survival) -> bool:
        return point.low is not None and point.high is not None and point.high - point.low < TELLING

    return list(takewhile(tells, points))


# How fast, how long, at what cost --------------------------------------------------------------------------


def _pace(one: OneKind, threshold: float, system: str) -> str:
    rates, name = one.rates, quoted(name_of(one.what))
    failed = "none" if not rates.failures else words.spelt(rates.failures)
    share = "a tenth" if round(threshold, 3) == 0.1 else f"{units.number(100 * threshold, 0)} %"
    text = (
        f"{name}: of {words.counted(rates.coats, 'coat')}, watched for "
        f"{words.counted(round(rates.section_years), 'year')} in all, {failed} failed ({share} of it loose "
        "or fallen, or taken off as failed)."
    )
    if one.loss is not None and one.loss.rate_per_year.estimate is not None:
        text += f" In a year {_lost(one.loss.rate_per_year)}."
    if rates.rate.per_100_section_years is not None:
        text += f" {_serves(one)}."
    return " ".join([text, *(said for paid in one.costs if (said := _cost(paid, system)))])


def _lost(share: Interval) -> str:
    ends = times(share, 100)
    assert ends.estimate is not None
    said = units.alike(*(end for end in (ends.estimate, ends.low, ends.high) if end is not None))
    text = f"{said[0]}{units.NO_BREAK}% of such a coat comes loose or falls"
    if ends.low is not None and ends.high is not None:
        text += f" (between {said[1]}{units.NO_BREAK}% and {said[2]}{units.NO_BREAK}%, allowing for chance)"
    return text


def _cost(paid: GroupCost, system: str) -> str:
    """What a year of service costs or, where that is not known, what putting on did; "" without either."""
    per, area = per_area(system), area_unit(system)
    money = paid.currency or "(no currency given)"
    ends, put_on = times(paid.per_year, per), times(paid.installed, per).estimate
    if ends.estimate is None:
        return f"It cost {units.alike(put_on)[0]} {money} a {area} to put on." if put_on is not None else ""
    said = units.alike(*(end for end in (ends.estimate, ends.low, ends.high) if end is not None))
    text = f"A year of service costs {said[0]} {money} a {area}"
    if ends.low is not None and ends.high is not None:
        text += f" (between {said[1]} and {said[2]})"
    return f"{text}, putting on and keeping up together."


def _years(value: float) -> str:
    return words.counted(max(round(value), 1), "year")


# What is not known -----------------------------------------------------------------------------------------


def _open(evidence: CoatEvidence) -> list[str]:
    parts = [
        "Nobody drew lots for which wall got which coat: one that was given the drier walls looks better "
        "than it is. A trial side by side tells more."
    ]
    tested = len(evidence.kinds) > 1 and evidence.test.p_value is not None
    if tested and (evidence.test.p_value or 0.0) >= DIFFERENT:
        parts.append("That no difference is shown is no proof that they last alike.")
    for one in evidence.kinds:
        parts += _open_of(one)
    houses = "this house" if evidence.houses == 1 else f"these {words.spelt(evidence.houses)} houses"
    return [
        *parts,
        f"All of it was seen in {houses}. Another wall, another mason or another mix may do otherwise.",
    ]


def _open_of(one: OneKind) -> list[str]:
    name, failures, seen = quoted(name_of(one.what)), one.rates.failures, _seen(one)
    parts = []
    if failures < FEW_FAILURES:
        failed = f"only {words.spelt(failures)} failed so far" if failures else "none failed so far"
        parts.append(f"{name}: {failed}, so how such coats end is hardly seen yet.")
    elif seen:
        parts.append(f"{name}: beyond {_years(seen)} too few were watched to say.")
    if not any(paid.per_year.estimate is not None for paid in one.costs):
        parts.append(f"{name}: what a year of it costs is not known.")
    return parts


def _pictures(one: Before, address: Callable[[Photo], str]) -> list[Picture]:
    shown = []
    for when, photo in (("Before", one.before), ("Last seen", one.after)):
        if photo is not None and photo.section is not None:
            house = photo.section.building
            day = dates.day(photo.taken_at.astimezone(house.zone).date())
            place = f"{words.house_name(house)}, {words.section_name(photo.section, alone_on_wall=False)}"
            shown.append(Picture(photo, address(photo), f"{when}, {day}: {place}"))
    return shown


# Figure ----------------------------------------------------------------------------------------------------


def _figure(kinds: Sequence[OneKind], names: Sequence[str]) -> SheetFigure | None:
    """Each kind's curve with its limits, in one field."""
    curves = [_telling(one.rates.survival) for one in kinds]
    if not any(curves):
        return None
    told = " ".join(
        f"{words.capital(name)}: {units.number(100 * curve[-1].survival, 0)} in 100 are still good after "
        f"{_years(curve[-1].years)}."
        for name, curve in zip(names, curves, strict=True)
        if curve
    )
    last = max(curve[-1].years for curve in curves if curve)
    return lambda paper, field: _drawn(curves, last, told, paper, field)


def _drawn(
    curves: Sequence[Sequence[Survival]], last: float, told: str, paper: Paper, field: float
) -> Figure:
    high = ABOVE / 2 + field + BELOW
    figure = Figure("Of 100 such coats, how many are still good, by years", told, paper.width, high)
    base = ABOVE / 2 + field
    x, y = scale((0.0, last * 1.02), (LEFT, paper.width - 6)), scale((0.0, 1.0), (base, ABOVE / 2))
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        figure.line("half" if share == 0.5 else "grid", (x(0.0), y(share)), (paper.width - 6, y(share)))
        figure.text("tick", x(0.0) - 6, y(share) + 4, f"{100 * share:.0f}", "end")
    figure.line("axis", (x(0.0), y(1.0)), (x(0.0), base), (paper.width - 6, base))
    ticks = [tick for tick in nice_ticks(0.0, last, 6) if tick > 0]
    for tick in ticks:
        figure.line("axis", (x(tick), base), (x(tick), base + 4))
        unit = " years" if tick == ticks[-1] else ""
        figure.text("tick", x(tick), base + 18, f"{units.number(tick, 0)}{unit}", "end" if unit else "middle")
    for number, curve in enumerate(curves):
        style = number % STYLES
        for ends in ([point.low for point in curve], [point.high for point in curve]):
            limits = [(x(point.years), y(end or 0.0)) for point, end in zip(curve, ends, strict=True)]
            figure.line(f"faint-{style}", (x(0.0), y(1.0)), *limits)
        middle = [(x(point.years), y(point.survival)) for point in curve]
        figure.line(f"course-{style}", (x(0.0), y(1.0)), *middle)
    return figure
