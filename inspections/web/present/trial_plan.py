"""A planned trial: the lots as drawn, and what difference they could come to show."""

from __future__ import annotations

from dataclasses import dataclass

from inspections.analysis.comparison import worth_having
from inspections.analysis.trial_walls import LOSS
from inspections.domain.planning import TrialPlan
from inspections.models import Trial
from inspections.web.present import cautions, units, words
from inspections.web.present.trial_figures import Drawn, could_show, drawn

__all__ = ["cautions", "present"]


@dataclass(frozen=True, slots=True)
class LotRow:
    """A wall with what it drew."""

    number: int
    name: str
    arm: str
    block: str


@dataclass(frozen=True, slots=True)
class Planned:
    """What the page shows of a plan."""

    rows: list[LotRow]
    left: list[str]
    told: str
    basis: str
    drawn: Drawn | None
    could_show: list[tuple[int, str]]
    blocks: int
    seed: int


def present(trial: Trial, plan: TrialPlan, system: str) -> Planned:
    """The plan for a reader of ``system``."""
    worth = worth_having(trial.outcome)

    def name(size: float) -> str:
        if trial.outcome == LOSS:
            return f"{units.number(100 * size, 1)} %"
        return units.number(size, 1)

    known = [(pairs, size) for pairs, size in plan.could_show if size is not None]
    own = next((size for pairs, size in known if pairs == plan.blocks), None)
    return Planned(
        rows=[
            LotRow(
                lot.sequence, _place(plan, lot.candidate.building, lot.candidate.section), lot.arm, lot.block
            )
            for lot in plan.lots
        ],
        left=[_place(plan, one.building, one.section) for one in plan.left],
        told=_told(plan, name(own) if own is not None else "", name(worth), trial.outcome == LOSS),
        basis=_basis(plan, name(plan.spread.size)),
        drawn=drawn(lambda paper: could_show(known, plan.blocks, worth, paper, name), "narrow"),
        could_show=[(pairs, name(size)) for pairs, size in known],
        blocks=plan.blocks,
        seed=plan.seed,
    )


def _place(plan: TrialPlan, building: str, section: str) -> str:
    one = plan.sections[building, section]
    return f"{words.house_name(one.building)}, {words.section_name(one, alone_on_wall=False)}"


def _told(plan: TrialPlan, own: str, worth: str, loss: bool) -> str:
    years = words.counted(plan.years, "year")
    what = "of the wall a year" if loss else "a year"
    if not plan.blocks:
        return "No two of these walls stand in one house, so none can be matched. Choose more walls."
    pairs = words.counted(plan.blocks, "pair" if len({lot.arm for lot in plan.lots}) == 2 else "block")
    if not own:
        return (
            f"{words.capital(pairs)} can’t show anything: even if every one pointed the same way, chance "
            "alone would explain it. It takes six."
        )
    return (
        f"{words.capital(pairs)} over {years} would show a difference of {own} {what} four times in five. "
        f"A difference worth having is {worth}."
    )


def _basis(plan: TrialPlan, spread: str) -> str:
    if plan.spread.freedom:
        return (
            "Reckoned from how unlike the walls of these houses have lost their coats so far: two of one "
            f"house differ by {spread} a year (standard deviation, {plan.spread.freedom} differences). The "
            "upper limit of that spread is taken; half of it stays, half averages out over the years."
        )
    return (
        "These houses’ own surveys don’t yet tell how unlike their walls are. It is assumed that two walls "
        f"of one house differ by {spread} a year (standard deviation)."
    )
