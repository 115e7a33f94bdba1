"""Planning a trial: like walls matched, lots that anybody can draw again, and what they could show."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from urllib.parse import urlencode

import numpy as np
import pytest
from django.core.management import call_command
from django.urls import reverse

from inspections.analysis.sizing import detectable, upper_spread
from inspections.analysis.trial_plan import Candidate, Spread, draw_lots, own_spread, shown
from inspections.analysis.trial_walls import LOSS
from inspections.models import Allocation, Trial
from portfolio.models import Section
from tests.support.cast import Cast, client_of
from tests.trials.books import END, EPOCH, QUESTION, Hand, build, write_folder
from tests.trials.test_comparison import FAST, SLOW, pairs
from tests.web.test_pages import text_of

WALLS = [
    Candidate(f"H{house}", f"S{house}{i}", damp=20.0 + 10 * i, below_grade_m=1.0)
    for house in range(4)
    for i in range(5)
]
ARMS = ["lime", "clay"]


def test_the_same_seed_draws_the_same_lots_and_another_others() -> None:
    first = draw_lots(WALLS, ARMS, 7)
    assert draw_lots(WALLS, ARMS, 7) == first
    assert draw_lots(list(WALLS), ARMS, 8)[0] != first[0]


def test_walls_are_matched_with_the_likest_of_their_house() -> None:
    lots, left = draw_lots(WALLS, ARMS, 7)
    blocks: dict[str, list[Candidate]] = {}
    for lot in lots:
        blocks.setdefault(lot.block, []).append(lot.candidate)
    assert len(blocks) == 8
    for own in blocks.values():
        assert len({one.building for one in own}) == 1
        assert abs(own[0].damp - own[1].damp) == 10.0
    assert [one.damp for one in left] == [60.0] * 4
    assert sorted(lot.sequence for lot in lots) == list(range(1, 17))
    assert all({lot.arm for lot in lots if lot.block == name} == set(ARMS) for name in blocks)


def test_every_wall_gets_every_arm_equally_often() -> None:
    drawn = Counter(
        (lot.candidate.section, lot.arm) for seed in range(400) for lot in draw_lots(WALLS[:4], ARMS, seed)[0]
    )
    # Binomial(400, 1/2): five standard deviations.
    assert all(abs(count - 200) < 50 for count in drawn.values())
    assert len(drawn) == 8


def test_three_arms_are_drawn_in_threes() -> None:
    lots, left = draw_lots(WALLS[:5], ["A", "B", "C"], 1, blocks_before=2)
    assert {lot.block for lot in lots} == {"block 3"}
    assert sorted(lot.arm for lot in lots) == ["A", "B", "C"]
    assert len(left) == 2
    for arms in (["A"], ["A", "A"]):
        with pytest.raises(ValueError, match="two arms"):
            draw_lots(WALLS, arms, 1)


def test_what_could_show_shrinks_with_pairs_and_years() -> None:
    spread = Spread(0.02, 5.0, 0)
    sizes = [size for _, size in shown(9, 6, spread, LOSS) if size]
    assert sizes == sorted(sizes, reverse=True)
    assert dict(shown(9, 6, spread, LOSS))[9] == detectable(9, spread.after(6, LOSS))
    assert spread.after(12, LOSS) < spread.after(6, LOSS) < spread.after(1, LOSS)
    assert spread.after(1000, "deep_moisture") == pytest.approx(0.02 * np.sqrt(0.5), rel=0.01)
    assert Spread(0.02, 5.0, 6).after(5, "deep_moisture") == pytest.approx(upper_spread(0.02, 6))


def test_the_spread_is_that_of_walls_of_one_house() -> None:
    """Rates 0.010 and 0.030 (and so on) in each of six houses: √2 times the mean within-house deviation."""
    _, houses = build(pairs(SLOW, FAST))
    day = float((END - EPOCH).days)
    found = own_spread(list(houses.values()), day, 0.5)
    within = [(b - a) ** 2 / 2 for a, b in zip(SLOW, FAST, strict=True)]
    assert found.size == pytest.approx(np.sqrt(2 * np.mean(within)), rel=0.02)
    assert (found.freedom, found.years) == (6, pytest.approx(5.0, abs=0.01))
    assert own_spread(list(houses.values())[:2], day, 0.5) == Spread(0.5, 5.0, 0)


# The page -------------------------------------------------------------------------------------------------


@pytest.fixture
def trial(cast: Cast, tmp_path: Path) -> Trial:
    """A new trial in a portfolio of six houses of four walls."""
    walls = [Hand("old", 0.01 + i / 100, house=f"H{house}") for house in range(6) for i in range(4)]
    write_folder(tmp_path / "book", QUESTION, *build(walls))
    (tmp_path / "book" / "allocations.csv").unlink()
    call_command("load_records", str(tmp_path / "book"), organisation=cast.organisation.slug, verbosity=0)
    return Trial.objects.get()


def address(trial: Trial, **changes: object) -> str:
    asked = {"sections": [str(one.pk) for one in Section.objects.all()], "arms": "lime\nclay", "seed": "7"}
    return f"{reverse('trial-plan', args=[trial.pk])}?" + urlencode(
        {**asked, "years": "6", **changes}, doseq=True
    )


@pytest.mark.django_db
def test_the_page_shows_what_a_seed_draws_and_enters_it_once(cast: Cast, trial: Trial) -> None:
    manager = client_of(cast.manager)
    said = text_of(manager, address(trial))
    assert "12 pairs over 6 years would show a difference of" in said
    assert "What seed 7 draws" in said
    assert "Before anyone works on this wall" in said
    assert not Allocation.objects.exists()
    for _ in range(2):
        assert manager.post(address(trial)).status_code == 302
    rows = list(Allocation.objects.order_by("sequence"))
    assert [row.sequence for row in rows] == list(range(1, 25))
    assert Counter(row.arm for row in rows) == {"lime": 12, "clay": 12}
    assert {row.allocated_by for row in rows} == {"random"}
    assert {row.note for row in rows} == {"Drawn by lot, seed 7"}
    assert "24 walls are in the trial" in text_of(manager, reverse("trial", args=[trial.pk]))


@pytest.mark.django_db
def test_the_page_says_what_is_wrong(cast: Cast, trial: Trial) -> None:
    manager = client_of(cast.manager)
    assert "Choose the walls" in text_of(manager, reverse("trial-plan", args=[trial.pk]))
    for changes, text in (
        ({"arms": "lime"}, "two arms or more"),
        ({"seed": "seven"}, "a whole number from 0"),
        ({"years": "0"}, "a whole number from 1 to 50"),
        ({"sections": []}, "Choose the walls."),
        ({"sections": ["nothing"]}, "can’t be chosen"),
    ):
        assert text in text_of(manager, address(trial, **changes)), changes
    few = [str(one.pk) for one in Section.objects.filter(building__code="H1")]
    assert "2 pairs can’t show anything" in text_of(manager, address(trial, sections=few))
    assert "Without a match" in text_of(manager, address(trial, sections=few[:3]))


@pytest.mark.django_db
def test_only_who_writes_plans(cast: Cast, trial: Trial) -> None:
    assert client_of(cast.analyst).get(address(trial)).status_code == 403
    assert client_of(cast.outsider).get(address(trial)).status_code == 404
    assert client_of(cast.analyst).post(address(trial)).status_code == 403
    assert not Allocation.objects.exists()
