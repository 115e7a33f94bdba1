"""What a trial taught: worked by hand, and on invented trials of which the truth is known."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from inspections.analysis.comparison import compare
from inspections.analysis.records import YEAR, Happening
from inspections.analysis.results import CANNOT_TELL, DIFFERENCE, NONE_SHOWN
from inspections.analysis.trial_results import (
    Comparison,
    NotComparable,
    Question,
)
from tests.trials.books import AREA, END, EPOCH, QUESTION, START, Hand, build
from tests.trials.judge import KINDS, answers


def ask(walls: Sequence[Hand], question: Question = QUESTION) -> Comparison:
    places, houses = build(walls)
    return compare(question, places, houses, END)


def pairs(first: Sequence[float], second: Sequence[float], **common: object) -> list[Hand]:
    """Pairs of walls, one pair to a house, that lose so much a year under A and under B."""
    return [
        Hand(arm, rate, house=f"H{i}", damp=30.0 + i, **common)  # type: ignore[arg-type]
        for i, both in enumerate(zip(first, second, strict=True))
        for arm, rate in zip("AB", both, strict=True)
    ]


SLOW = [0.010, 0.012, 0.014, 0.016, 0.018, 0.020]
FAST = [0.030, 0.033, 0.034, 0.038, 0.040, 0.041]


# By hand --------------------------------------------------------------------------------------------------


def test_six_pairs_that_all_point_one_way() -> None:
    found = ask(pairs(SLOW, FAST))
    assert found.found is not None
    assert found.found.estimate == pytest.approx(0.021, abs=2e-4)
    assert found.p_value == found.smallest_p == 2 / 64
    assert (found.fair, found.leans, found.conclusion) == (True, None, DIFFERENCE)
    assert [(one.arm, one.sections) for one in found.arms] == [("A", 6), ("B", 6)]
    assert [one.mean for one in found.arms] == pytest.approx([0.015, 0.036], abs=2e-4)
    assert 0 < found.found.low < 0.021 < found.found.high
    assert found.statement.startswith("“B” fails faster than “A” on these walls.")
    assert "it is the coat" in found.statement


def test_the_arms_stand_in_the_order_of_their_codes() -> None:
    turned = [replace(wall, arm="ab"[wall.arm == "A"]) for wall in pairs(SLOW, FAST)]
    assert ask(turned).as_json()["estimate"] == pytest.approx(-0.021, abs=2e-4)


def test_six_pairs_alike_prove_nothing() -> None:
    found = ask(pairs(SLOW, [rate + 0.001 * (-1) ** i for i, rate in enumerate(SLOW)]))
    assert found.conclusion == NONE_SHOWN
    assert found.p_value == 1.0
    assert "no proof that they are alike" in found.statement
    assert found.needed.pairs is not None
    assert f"about {found.needed.pairs} pairs" in found.statement


def test_five_pairs_cannot_reach_one_in_twenty() -> None:
    found = ask(pairs(SLOW[:5], FAST[:5]))
    assert (found.p_value, found.conclusion, found.fair) == (2 / 32, CANNOT_TELL, True)
    assert "by chance once in 16 trials. It takes six pairs at least" in found.statement
    assert found.found is not None
    assert found.found.low > 0  # Student's: the lot gives none, and the method says so.
    assert "Student" in found.method


def test_one_pair_cannot_tell_the_coat_from_the_wall() -> None:
    found = ask([Hand("A", 0.01), Hand("B", 0.05)])
    answer = found.as_json()
    assert answer["estimate"] == pytest.approx(0.04, abs=5e-4)
    assert (answer["low"], answer["high"], answer["p_value"]) == (None, None, 1.0)
    assert answer["conclusion"] == CANNOT_TELL
    assert "One pair can't separate the coat from the wall" in answer["statement"]
    assert answer["needed"]["pairs"] >= 6
    assert answer["needed"]["years"] == 6
    assert "assuming" in answer["statement"]


def test_walls_without_any_loss_leave_room_for_what_no_survey_sees() -> None:
    found = ask(pairs([0.0] * 6, [0.0] * 6)).found
    assert found is not None
    assert (found.estimate, found.p_value) == (0.0, 1.0)
    assert found.low < 0 < found.high


# Fairness --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("by", ["judgement", "convenience"])
def test_chosen_walls_are_unfair_and_lean_to_the_drier(by: str) -> None:
    walls = [
        replace(wall, by=by, damp=30.0 + i + (8 - i % 5 if wall.arm == "A" else 0))
        for i, wall in enumerate(pairs(SLOW, FAST))
    ]
    found = ask(walls)
    assert (found.fair, found.leans, found.conclusion) == (False, "B", CANNOT_TELL)
    assert "can't tell" in found.statement
    assert "“B” was given the better walls" in found.statement


def test_walls_that_were_chosen_without_favour_lean_nowhere() -> None:
    walls = [replace(wall, by="convenience", damp=30.0 + i // 2) for i, wall in enumerate(pairs(SLOW, FAST))]
    found = ask(walls)
    assert (found.fair, found.leans, found.conclusion) == (False, None, CANNOT_TELL)


def test_a_lot_that_fell_unevenly_is_unfair_too() -> None:
    walls = [
        replace(wall, damp=30.0 + i + (12 - i % 3 if wall.arm == "B" else 0))
        for i, wall in enumerate(pairs(SLOW, FAST))
    ]
    found = ask(walls)
    plain = [one for one in found.before if one.is_plain]
    assert [one.quantity for one in plain] == ["deep_moisture"]
    assert plain[0].standardised_difference > 0
    assert (found.fair, found.leans, found.conclusion) == (False, "A", CANNOT_TELL)


def test_exposure_is_looked_at_beside_readings() -> None:
    walls = [
        replace(wall, below=1.0 + (0.5 + i / 100 if wall.arm == "A" else 0))
        for i, wall in enumerate(pairs(SLOW, FAST))
    ]
    found = ask(walls)
    assert [one.quantity for one in found.before if one.is_plain] == ["below_grade_m"]
    assert (found.fair, found.leans) == (False, "B")


def test_a_favour_in_one_pair_is_told_from_the_readings_error() -> None:
    found = ask([Hand("A", 0.01, damp=60.0, by="judgement"), Hand("B", 0.05, damp=20.0, by="judgement")])
    assert (found.fair, found.leans) == (False, "B")


def test_without_lots_the_bias_that_would_explain_it_is_told() -> None:
    found = ask([replace(wall, by="alternating") for wall in pairs([*SLOW, *SLOW], [*FAST, *FAST])])
    assert (found.fair, found.conclusion) == (True, DIFFERENCE)
    assert found.bias is not None
    assert found.bias > 1.5
    assert "not drawn by lot" in found.statement


# What goes wrong ------------------------------------------------------------------------------------------


def test_three_arms_get_a_test_and_no_estimate() -> None:
    walls = [
        Hand(arm, rate + i / 1000, house=f"H{i}", damp=30.0 + i)
        for i in range(4)
        for arm, rate in (("A", 0.01), ("B", 0.02), ("C", 0.06))
    ]
    answer = ask(walls).as_json()
    assert [one["arm"] for one in answer["arms"]] == ["A", "B", "C"]
    assert answer["estimate"] is None
    assert answer["p_value"] == pytest.approx(6 / 6**4)
    assert answer["conclusion"] == DIFFERENCE


def test_one_arm_alone_is_answered() -> None:
    answer = ask([Hand("A", 0.01), Hand("A", 0.02)]).as_json()
    assert (answer["estimate"], answer["p_value"], answer["conclusion"]) == (None, None, CANNOT_TELL)
    assert "only “A”" in answer["statement"]
    assert ask([]).as_json()["conclusion"] == CANNOT_TELL


def test_one_wall_against_many_is_compared_in_its_house() -> None:
    walls = [Hand("A", 0.01), *(Hand("B", 0.03 + i / 1000) for i in range(5))]
    found = ask(walls)
    assert (found.p_value, found.smallest_p, found.conclusion) == (1 / 6, 1 / 6, CANNOT_TELL)


def test_walls_without_a_coat_or_a_survey_are_left_out_and_named() -> None:
    walls = pairs([*SLOW, 0.02], [*FAST, 0.05])
    walls[-1] = replace(walls[-1], surveyed=False)
    walls[-3] = replace(walls[-3], treated=False)
    found = ask(walls)
    assert [one.sections for one in found.arms] == [7, 5]
    assert found.found is not None
    assert found.found.blocks == 5
    assert "One wall has not been surveyed since its coat." in found.statement
    assert "One wall has no coat of the trial yet." in found.statement


def test_an_arm_that_is_left_bare_begins_with_the_trial() -> None:
    walls = [replace(wall, treated=wall.arm == "A") for wall in pairs(SLOW, FAST)]
    found = ask(walls)
    assert [one.sections for one in found.arms] == [6, 6]
    assert found.conclusion == DIFFERENCE


def test_a_coat_taken_off_as_failed_has_lost_its_tenth() -> None:
    walls = pairs(SLOW, FAST)
    removed = START + 2.5 * YEAR
    walls[1] = replace(walls[1], removed=removed, reason="failed")
    failed = ask(walls).walls[1]
    assert failed.years == pytest.approx(2.5, abs=0.01)
    assert failed.outcome >= 0.10 / 2.5 - 1e-6
    walls[1] = replace(walls[1], removed=removed, reason="planned")
    planned = ask(walls).walls[1]
    assert planned.years == pytest.approx(2.0, abs=0.01)
    assert planned.outcome == pytest.approx(FAST[0], rel=0.05)


def test_mended_area_stays_in_the_loss() -> None:
    day = START + 3.2 * YEAR
    event = Happening(day, "repair", layer=1.0, area_m2=0.3)
    whole = Hand("A", 0.04)
    mended = replace(whole, events=(event,), mended=0.3, mended_at=day)
    unsaid = replace(mended, events=(Happening(day, "repair", layer=1.0),))
    rates = [ask([wall, Hand("B")]).walls[0].outcome for wall in (whole, mended, unsaid)]
    assert rates[1] == pytest.approx(rates[0], rel=1e-6)
    # Where nobody wrote down how much was mended, what grew since the last survey is lost to sight.
    assert rates[0] * 0.7 < rates[2] < rates[0]


def test_whole_houses_are_compared_where_houses_were_allotted() -> None:
    walls = [
        Hand("AB"[house % 2], (0.05 if house % 2 else 0.01) + house / 1000 + i / 1000, house=f"H{house}")
        for house in range(8)
        for i in range(3)
    ]
    found = ask(walls)
    assert found.plan.by_house
    assert found.p_value == 2 / 70
    assert "difference of houses" in found.method


def test_blocks_named_alike_in_several_houses_stay_apart() -> None:
    walls = [replace(wall, block="front") for wall in pairs(SLOW, FAST)]
    assert ask(walls).p_value == 2 / 64


def test_a_face_meter_is_refused_between_different_coats() -> None:
    question = replace(QUESTION, outcome="surface_moisture")
    walls = [Hand("A", binder="NHL 2"), Hand("B", binder="portland_cement")]
    with pytest.raises(NotComparable, match="face meter can't judge between different coats"):
        ask(walls, question)
    assert ask([Hand("A"), Hand("B")], question).conclusion == CANNOT_TELL


def test_what_was_never_asked_is_refused() -> None:
    with pytest.raises(NotComparable, match="started_on"):
        ask([Hand("A"), Hand("B")], replace(QUESTION, started=np.nan))
    with pytest.raises(NotComparable, match="no outcome"):
        ask([Hand("A"), Hand("B")], replace(QUESTION, outcome="colour"))


def test_nothing_later_is_known() -> None:
    places, houses = build(pairs(SLOW, FAST))
    early = compare(QUESTION, places, houses, END.replace(year=END.year - 6))
    assert all(wall.missing for wall in early.walls)
    assert early.conclusion == CANNOT_TELL


def test_a_quantity_is_followed_by_its_own_rate() -> None:
    """Area readings as a plain quantity: 0.05 to 0.20 m² a year."""
    found = ask(pairs(SLOW, FAST), replace(QUESTION, outcome="hollow_area"))
    assert found.found is not None
    assert found.found.estimate == pytest.approx(0.021 * AREA, rel=0.01)
    assert found.unit == "m2"


def test_whatever_the_records_hold_there_is_an_answer_without_a_nan() -> None:
    """Any arms, blocks, gaps, removals and days: an answer that is JSON, in words, or a refusal."""
    rng = np.random.default_rng(5)
    for _ in range(40):
        walls = [_any_wall(rng) for _ in range(int(rng.integers(0, 14)))]
        places, houses = build(walls)
        outcome = str(rng.choice(["affected_area_rate", "hollow_area", "deep_moisture", "radon"]))
        day = EPOCH + dt.timedelta(days=int(START) + int(rng.integers(-200, 2200)))
        found = compare(replace(QUESTION, outcome=outcome), places, houses, day)
        json.dumps(found.as_json(), allow_nan=False)
        assert found.statement
        assert found.method


def _any_wall(rng: np.random.Generator) -> Hand:
    taken_off = rng.random() < 0.2
    return Hand(
        arm=str(rng.choice(["A", "B", "C"], p=[0.45, 0.45, 0.1])),
        rate=float(rng.choice([0.0, 0.01, 0.05, 0.3])),
        damp=None if rng.random() < 0.3 else float(rng.normal(30, 5)),
        house=f"H{rng.integers(1, 4)}",
        block=str(rng.choice(["", "a", "b"])),
        by=str(rng.choice(["random", "alternating", "judgement"])),
        begun=START + float(rng.integers(-100, 400)),
        removed=START + float(rng.integers(400, 1500)) if taken_off else np.inf,
        reason=str(rng.choice(["failed", "planned"])) if taken_off else "",
        surveyed=bool(rng.random() < 0.85),
        below=float(rng.choice([np.nan, 0.0, 1.0])),
        adjoins=str(rng.choice(["soil", "interior"])),
        treated=bool(rng.random() < 0.85),
    )


# Invented trials ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS[:4], ids=lambda kind: kind.name)
def test_each_kind_is_called_what_it_is(kind: object) -> None:
    """A small run; ``python -m tests.trials.judge`` makes the figures of DEVELOPERS.md."""
    made = list(answers(kind, 4))  # type: ignore[arg-type]
    called = [found.conclusion for _, found in made]
    assert called.count(kind.called) >= 3, called  # type: ignore[attr-defined]
    if kind.favoured:  # type: ignore[attr-defined]
        assert [found.leans for _, found in made] == [trial.favoured for trial, _ in made]
