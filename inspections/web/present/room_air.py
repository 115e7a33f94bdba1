"""Dew between a section's layers and the risk of mould, in pictures and sentences, and as numbers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from inspections.analysis.layers_dew import BOARD_MM, Dew, Missing, Plane
from inspections.analysis.mould import ACCEPTED
from inspections.analysis.mould_risk import CLASSES, LEAST_DAYS, MouldRisk
from inspections.analysis.records import Coat, FloatArray
from inspections.domain.room_air import RoomAir
from inspections.web.present import dates, units, words
from inspections.web.present.figures import Figure
from inspections.web.present.svg import nice_ticks
from inspections.web.present.trial_figures import Drawn, Paper, drawn
from portfolio.models import Treatment
from portfolio.vocabulary import Units

MONTHS: Final = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
#: Px: height of a panel's field, of what stands above and below it, and room at the left.
_FIELD, _ABOVE, _BELOW, _LEFT, _RIGHT = 150.0, 52.0, 34.0, 54.0, 96.0
#: Px: height of a line of the legend, which stands below on a phone.
_ROW = 20.0
#: The line of each class of materials, and what such materials are.
_LINES: Final = {"resistant": "course-2", "medium resistant": "line", "sensitive": "course-1"}
_WHAT: Final = {
    "resistant": "glass, metal",
    "medium resistant": "lime, cement",
    "sensitive": "paper, dust",
}
#: The index as it is seen.
GRADES: Final = ((1.0, "under a microscope"), (ACCEPTED, "by eye"))
#: Index under which nothing grows that anybody would call growth.
FIRST_GROWTH: Final = 1.0
NAMES: Final = ("dew", "mould-behind", "mould-face")

Drawing = Callable[[Paper], Figure]


@dataclass(frozen=True, slots=True)
class Part:
    """A picture with what it says; without a picture the sentences say why, and what would do it."""

    name: str
    heading: str
    drawn: Drawn | None
    sentences: list[str]
    assumed: list[str]


def parts(found: RoomAir, system: str) -> list[Part]:
    """Dew, then mould, in the order of the page."""
    return [_dew_part(found.dew, system), *_mould_parts(found)]


def figure_of(name: str, found: RoomAir) -> Drawing | None:
    """One of :data:`NAMES`, to be drawn on any paper; None where there is nothing to draw."""
    if name == "dew":
        return _dew_drawing(found.dew) if isinstance(found.dew, Dew) else None
    risk = _risk(name, found)
    return _mould_drawing(risk) if risk else None


def numbers_of(name: str, found: RoomAir) -> Iterator[Sequence[object]]:
    """The same as a table, its head first."""
    if name == "dew":
        yield ("month", "held_g_per_m2", "least", "most", "from_wall_to_room_g_per_m2")
        if isinstance(found.dew, Dew):
            columns = (found.dew.held, found.dew.least, found.dew.most, found.dew.passing)
            yield from zip(MONTHS, *(column.tolist() for column in columns), strict=True)
        return
    risk = _risk(name, found)
    yield ("day", *(one.replace(" ", "_") for one in CLASSES))
    if risk:
        classes = [risk.index[one].tolist() for one in CLASSES]
        for day, *values in zip(risk.day.tolist(), *classes, strict=True):
            yield (dates.from_days(day).isoformat(), *values)


def _risk(name: str, found: RoomAir) -> MouldRisk | None:
    return next((one for one in found.mould if one.behind == (name == "mould-behind")), None)


# Dew -------------------------------------------------------------------------------------------------------


def _dew_part(dew: Dew | Missing, system: str) -> Part:
    heading = "Dew between the layers, month by month"
    if isinstance(dew, Missing):
        return Part("dew", heading, None, [_why_no_dew(dew)], [])
    return Part("dew", heading, drawn(_dew_drawing(dew)), _dew_sentences(dew), _dew_assumed(dew, system))


def _why_no_dew(missing: Missing) -> str:
    if missing.no_coats:
        return "No coat is entered, so there are no layers for dew to form between: nothing is reckoned here."
    lacking = []
    for quantity, quarters in missing.lacking:
        when = f"none in {words.listed(list(quarters))}" if quarters else "too few"
        lacking.append(f"{words.quantity_name(quantity)} ({when})")
    return (
        "Too little was read to reckon this: it takes room air and the temperature within the wall in each "
        f"quarter of the year, on six days at least. Missing: {words.listed(lacking)}. A visit with "
        "hygrometer and probe in those months would do, or a logger left there for a year."
    )


def _grams(value: float) -> str:
    return f"{units.number(value, 0)}{units.NO_BREAK}g/m²"


def _dew_sentences(dew: Dew) -> list[str]:
    told = [_held_sentence(dew), *(_plane_sentence(plane) for plane in dew.planes)]
    inward = [MONTHS[i] for i in np.flatnonzero(dew.passing < 0)]
    if inward:
        taken = -float(dew.passing[dew.passing < 0].sum())
        told.append(
            f"Vapour goes from the room into the wall in {_months(inward)}, {_grams(taken)} over a year; in "
            f"the other months the wall gives off {_grams(float(dew.passing[dew.passing > 0].sum()))}."
        )
    else:
        told.append(
            f"Vapour goes from the wall to the room all year, {_grams(float(dew.passing.sum()))}: the "
            "room’s air does not wet this wall."
        )
    return told


def _held_sentence(dew: Dew) -> str:
    if dew.is_dry:
        return "No dew forms between these layers in any month, whichever materials of the kind they are."
    worst = float(dew.held.max())
    span = f"{units.number(float(dew.least.max()), 0)} to {units.number(float(dew.most.max()), 0)}"
    if worst < 1:
        text = f"With typical materials no dew forms; with others of the kind up to {_grams(dew.most.max())}."
    else:
        month = MONTHS[int(np.argmax(dew.held))]
        text = f"At most {_grams(worst)} of dew are held, at {month}’s end ({span} with other materials)."
    if dew.dries == dew.cases:
        return f"{text} By the year’s end it has dried out in every case."
    if dew.dries == 0:
        return f"{text} It does not dry out: {_grams(max(dew.left, 0.0))} a year are left behind."
    return (
        f"{text} Whether it dries out within the year depends on the materials: it does in {dew.dries} of "
        f"{dew.cases} cases."
    )


def _plane_sentence(plane: Plane) -> str:
    wet = [MONTHS[i] for i in np.flatnonzero(plane.flow > 0)]
    if plane.behind is plane.before:
        where = f"within the {_name(plane.behind)}"
    else:
        where = f"between the {_name(plane.behind)} and the {_name(plane.before)}"
    return f"It forms {where}, in {_months(wet)}; most there is {_grams(float(plane.stock.max()))}."


def _name(coat: Coat | None) -> str:
    if coat is None:
        return "masonry"
    applied = dates.from_days(coat.applied)
    return words.coat_name(Treatment(kind=coat.kind, binder=coat.binder, applied_on=applied))


def _months(names: Sequence[str]) -> str:
    """Such as "May to September", runs over the year's end too."""
    numbers = [MONTHS.index(name) for name in names]
    if len(numbers) == len(MONTHS):
        return "every month"
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    if len(runs) > 1 and runs[0][0] == 0 and runs[-1][-1] == len(MONTHS) - 1:
        runs[0] = runs.pop() + runs[0]
    return words.listed(
        [MONTHS[run[0]] if len(run) == 1 else f"{MONTHS[run[0]]} to {MONTHS[run[-1]]}" for run in runs]
    )


def _length(millimetres: float, system: str) -> str:
    return units.amount(millimetres, "mm", system, decimals=0 if system == Units.SI else 1)


def _dew_assumed(dew: Dew, system: str) -> list[str]:
    read = [
        f"{words.quantity_name(name)} on {words.counted(year.days, 'day')}"
        for name, year in (*dew.room.items(), *dew.wall.items())
        if year.days
    ]
    depth, masonry = (_length(value, system) for value in (dew.depth_mm, dew.masonry_m * 1000))
    told = [
        f"A usual year of the last five, from {words.listed(read)}; months without ten days of values follow "
        "an annual curve through all.",
        f"The probe {'sits' if dew.depth_read else 'is taken to sit'} {depth} deep, so that "
        f"{masonry} of masonry lie before the coats.",
        "Vapour resistances are those of the coats as entered, else of their kind; the whiskers reach from "
        "the least to the greatest of them"
        + (" and over what a humidity beyond the scale may be." if dew.wall_humidity_read else "."),
        "Steady heat and vapour by months (ISO 13788). Vapour that passes is told as if no dew caught it. "
        "Liquid water, what the wall stores and air that leaks "
        "behind a coat are not in it: a wall in wet ground is wetter than this says.",
    ]
    if not dew.wall_humidity_read:
        told.insert(
            1, "Humidity within the wall was not read in each quarter: 100 % is taken, as in wet masonry."
        )
    if any(coat.kind == "lining" and not coat.thickness_mm > 0 for coat in dew.coats):
        told.append(f"A lining is taken as a board of {_length(BOARD_MM, system)}.")
    return told


def _dew_drawing(dew: Dew) -> Drawing:
    described = " ".join(
        f"{month}: {held:.0f} held, {passing:+.0f} to the room."
        for month, held, passing in zip(MONTHS, dew.held, dew.passing, strict=True)
    )

    def draw(paper: Paper) -> Figure:
        high = 2 * (_ABOVE + _FIELD + _BELOW)
        figure = Figure("Dew held, and vapour to the room, by month, g/m²", described, paper.width, high)
        top = float(max(dew.most.max(), 1.0))
        bars(figure, paper, 0.0, dew.held, (0.0, top), ("Dew held at the month’s end", "g/m²"))
        _whiskers(figure, paper, 0.0, dew, (0.0, top))
        ends = min(float(dew.passing.min()), 0.0), max(float(dew.passing.max()), 0.0)
        names = ("Vapour from the wall to the room", "g/m² a month; below nought: into the wall")
        bars(figure, paper, high / 2, dew.passing, ends, names)
        return figure

    return draw


def bars(
    figure: Figure,
    paper: Paper,
    down: float,
    values: FloatArray,
    ends: tuple[float, float],
    names: tuple[str, str],
) -> None:
    """A panel of twelve bars from nought, ``down`` px from the top."""
    x, y = _scales(paper, down, ends)
    figure.text("strip-name", 0, down + 16, names[0])
    figure.text("tick", 0, down + 34, names[1])
    for tick in nice_ticks(*ends, 3):
        figure.line("grid", (x(0), y(tick)), (x(12), y(tick)))
        figure.text(
            "tick", _LEFT - 6, y(tick) + 4, units.number(tick, 0 if ends[1] - ends[0] > 4 else 1), "end"
        )
    for month, value in enumerate(values.tolist()):
        left, right = x(month + 0.15), x(month + 0.85)
        corners = [(left, y(0)), (left, y(value)), (right, y(value)), (right, y(0))]
        figure.area("band", corners)
        figure.line("axis", *corners)
        name = MONTHS[month][: 3 if paper.columns > 1 else 1]
        figure.text("tick", x(month + 0.5), down + _ABOVE + _FIELD + 18, name, "middle")
    figure.line("axis", (x(0), y(0)), (x(12), y(0)))


def _whiskers(figure: Figure, paper: Paper, down: float, dew: Dew, ends: tuple[float, float]) -> None:
    x, y = _scales(paper, down, ends)
    for month, (low, high) in enumerate(zip(dew.least.tolist(), dew.most.tolist(), strict=True)):
        if high > low:
            figure.line("whisker", (x(month + 0.5), y(low)), (x(month + 0.5), y(high)))


def _scales(
    paper: Paper, down: float, ends: tuple[float, float]
) -> tuple[Callable[[float], float], Callable[[float], float]]:
    low, high = ends if ends[1] > ends[0] else (ends[0], ends[0] + 1)
    width = paper.width - _LEFT - 12
    bottom = down + _ABOVE + _FIELD
    return (
        lambda month: _LEFT + month / 12 * width,
        lambda value: bottom - (value - low) / (high - low) * _FIELD,
    )


# Mould -----------------------------------------------------------------------------------------------------

_PLACES: Final = {True: "Mould behind the coat", False: "Mould on the face"}


def _mould_parts(found: RoomAir) -> list[Part]:
    if not found.mould:
        why = (
            "Nothing was logged here for long enough to tell: it takes a logger for temperature and humidity "
            "behind the coat, or one for the face’s temperature beside the room’s air, left for "
            f"{LEAST_DAYS:.0f} days at least."
        )
        return [Part("mould", "Mould", None, [why], [])]
    return [
        Part(
            "mould-behind" if risk.behind else "mould-face",
            _PLACES[risk.behind],
            drawn(_mould_drawing(risk)),
            _mould_sentences(risk),
            [
                "The index of Hukka and Viitanen (1999) with the classes of Ojanen and others (2010), hour "
                "by hour, of a surface clean at first. It tells of risk, not of what is there: look.",
                f"Of the hours {words.in_hundred(risk.known)} were logged; in the others it stands still. "
                "What a face is made of and what dust lies on it is seldom known: hence three classes.",
            ],
        )
        for risk in found.mould
    ]


def _mould_sentences(risk: MouldRisk) -> list[str]:
    first, last = dates.from_days(float(risk.day[0])), dates.from_days(float(risk.day[-1]))
    highest = {name: float(values.max()) for name, values in risk.index.items()}
    usual, worst = highest["medium resistant"], highest["sensitive"]
    hours = words.in_hundred(risk.humid)
    text = (
        f"From {dates.day(first)} to {dates.day(last)} the air there was at 80 % or more in "
        f"{hours} hours. On lime or cement the index came to {units.number(usual, 1)}, "
        f"on paper or dust to {units.number(worst, 1)}, on glass or metal to "
        f"{units.number(highest['resistant'], 1)}."
    )
    if worst < FIRST_GROWTH:
        return [f"{text} Nothing grows at under 1."]
    seen = "can be seen by eye" if worst >= ACCEPTED else "shows under a microscope"
    begins = "Even on lime or cement it begins to grow" if usual >= FIRST_GROWTH else "It begins to grow"
    return [f"{text} {begins}; on paper or dust it {seen}."]


def _mould_drawing(risk: MouldRisk) -> Drawing:
    described = ", ".join(
        f"{name} {units.number(float(values[-1]), 1)}" for name, values in risk.index.items()
    )

    def draw(paper: Paper) -> Figure:
        wide = paper.columns > 1
        high = _ABOVE + _FIELD + _BELOW + (0 if wide else _ROW * len(CLASSES))
        title = f"{_PLACES[risk.behind]}: the index, 0 to 6"
        figure = Figure(title, f"At the end: {described}.", paper.width, high)
        first, last = float(risk.day[0]), float(risk.day[-1])
        most = max(float(values.max()) for values in risk.index.values())
        top = max(float(np.ceil(most)), ACCEPTED + 0.5)
        right = paper.width - (_RIGHT if wide else 12)

        def x(day: float) -> float:
            return _LEFT + (day - first) / max(last - first, 1.0) * (right - _LEFT)

        def y(value: float) -> float:
            return _ABOVE + _FIELD - value / top * _FIELD

        figure.text("strip-name", 0, 16, title)
        for grade, seen in GRADES:
            figure.line("half", (_LEFT, y(grade)), (right, y(grade)))
            figure.text("half-name", _LEFT + 4, y(grade) - 5, f"seen {seen}")
        for tick in range(int(top) + 1):
            figure.text("tick", _LEFT - 6, y(tick) + 4, str(tick), "end")
        months = np.arange(first, last).astype("datetime64[D]").astype("datetime64[M]")
        starts = np.flatnonzero(np.diff(months.astype(int))) + 1
        every = max(1, round(len(starts) / (12 if wide else 4)))
        for place in starts[::every].tolist():
            date = dates.from_days(first + place)
            figure.text("tick", x(first + place), _ABOVE + _FIELD + 18, f"{date:%b %Y}"[:8], "middle")
        for number, (name, values) in enumerate(risk.index.items(), start=1):
            points = list(zip(map(x, risk.day.tolist()), map(y, values.tolist()), strict=True))
            figure.line(_LINES[name], *points)
            if wide:
                figure.text("said", right + 6, points[-1][1] + 4, _WHAT[name])
            else:
                row = _ABOVE + _FIELD + _BELOW + _ROW * number - 10
                figure.line(_LINES[name], (_LEFT, row - 4), (_LEFT + 40, row - 4))
                figure.text("said", _LEFT + 48, row, _WHAT[name])
        figure.line("axis", (x(first), y(0)), (x(last), y(0)))
        return figure

    return draw
