"""Numbers, units, names and dates as pages write them."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.vocabulary import UNITS, Unit
from inspections.web.present import dates, units, words
from portfolio.models import Section, Treatment

SI, US = "si", "us"

# NIST Special Publication 811 (2008), appendix B.8, to its printed digits (from memory).
NIST = [
    (units.METRES, 0.3048, 1.0, 1e-12),
    (Unit.M2, 0.09290304, 1.0, 1e-12),
    (Unit.MM, 25.4, 1.0, 1e-12),
    (Unit.L_PER_DAY, 3.785412, 1.0, 1e-6),
    (Unit.BQ_PER_M3, 37.0, 1.0, 1e-12),
    (Unit.DEG_C, 100.0, 212.0, 1e-12),
    (Unit.DEG_C, -40.0, -40.0, 1e-12),
]


@pytest.mark.parametrize(("unit", "stored", "american", "tolerance"), NIST)
def test_conversions_agree_with_published_factors(
    unit: str, stored: float, american: float, tolerance: float
) -> None:
    assert units.shown(unit, US).value(stored) == pytest.approx(american, rel=tolerance)


def test_a_temperature_difference_is_not_moved_by_32() -> None:
    assert units.shown(Unit.DEG_C, US).change(5.0) == pytest.approx(9.0)
    assert units.shown(units.KELVIN, US).value(5.0) == pytest.approx(9.0)


@pytest.mark.parametrize(
    ("american", "quantity"),
    [
        (Unit.FT2, "hollow_area"),
        (Unit.IN, "crack_width"),
        (Unit.PCI_PER_L, "radon"),
        (Unit.DEG_F, "air_temperature"),
    ],
)
@given(value=st.floats(-1e4, 1e4))
def test_what_was_entered_in_american_units_is_shown_as_entered(
    american: Unit, quantity: str, value: float
) -> None:
    conversion = UNITS[quantity][american]
    assert units.shown(conversion.canonical, US).value(conversion(value)) == pytest.approx(value, abs=1e-6)


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [(-0.04, 1, "0.0"), (-3.0, 1, "−3.0"), (1234.5, 0, "1\u202f234"), (0.0, 0, "0")],
)
def test_numbers_have_a_true_minus_and_no_negative_nought(value: float, decimals: int, text: str) -> None:
    assert units.number(value, decimals) == text


def test_a_rate_is_written_to_the_places_that_its_interval_allows() -> None:
    assert units.rate("relative", SI, 4.1234, 3.0321, 5.2111) == ("4.1", "3.0 to 5.2")
    assert units.rate("relative", SI, 41.234, 10.0, 80.0) == ("41", "10 to 80")
    assert units.rate("m2", US, 0.3, 0.2, 0.4) == ("3.2", "2.2 to 4.3")


def test_an_unknown_unit_is_shown_as_it_is() -> None:
    assert units.amount(2.0, "furlongs", SI) == "2.0\u00a0furlongs"


@pytest.mark.parametrize(
    ("written", "name", "compass"),
    [
        ("n", "North wall", "N"),
        ("North", "North wall", "N"),
        ("south wall", "South wall", "S"),
        ("chimney", "Chimney wall", ""),
        ("SE", "South-east wall", ""),
    ],
)
def test_walls_are_named_from_what_was_written_down(written: str, name: str, compass: str) -> None:
    assert words.wall_name(Section(code="S1", wall=written)) == name
    assert words.compass_point(written) == compass


def test_a_wall_without_a_name_goes_by_its_code() -> None:
    assert words.wall_name(Section(code="S1", wall=" ")) == "Section S1"


@pytest.mark.parametrize(
    ("kind", "binder", "name"),
    [
        ("parge_coat", "portland_cement", "2016 cement coat"),
        ("parge_coat", "unknown", "2016 coat"),
        ("paint", "acrylic", "2016 acrylic paint"),
        ("limewash", "CL 90", "2016 limewash"),
        ("vapour_retarder", "polyethylene", "2016 polyethylene vapour retarder"),
    ],
)
def test_coats_are_named_by_year_binder_and_kind(kind: str, binder: str, name: str) -> None:
    assert words.coat_name(Treatment(kind=kind, binder=binder, applied_on=dt.date(2016, 5, 1))) == name


def test_a_coat_of_unsure_date_carries_its_range() -> None:
    coat = Treatment(
        kind="paint", binder="alkyd", applied_on=dt.date(1993, 1, 1), applied_earliest=dt.date(1978, 1, 1)
    )
    assert words.coat_name(coat) == "1978–1993 alkyd paint"


@pytest.mark.parametrize(
    ("probability", "phrase", "count"),
    [
        (0.995, "almost certainly", "over 99 in 100"),
        (0.93, "very likely", "93 in 100"),
        (0.5, "more likely than not", "50 in 100"),
        (0.001, "very unlikely", "under 1 in 100"),
    ],
)
def test_probabilities_in_words(probability: float, phrase: str, count: str) -> None:
    assert (words.likelihood(probability), words.in_hundred(probability)) == (phrase, count)


@given(st.floats(0, 1), st.floats(0, 1))
def test_likelier_is_never_worded_as_less_likely(one: float, other: float) -> None:
    phrases = ["very unlikely", "unlikely", "less likely", "possibly", "more likely than not", "likely",
               "very likely", "almost certainly"]  # fmt: skip
    low, high = sorted((one, other))
    assert phrases.index(words.likelihood(low)) <= phrases.index(words.likelihood(high))


def test_lists_and_counts() -> None:
    assert words.listed(["a", "b", "c"]) == "a, b and c"
    assert words.listed(["a"]) == "a"
    assert words.listed([]) == ""
    assert words.counted(1, "reading") == "1 reading"
    assert words.counted(22, "reading") == "22 readings"


def test_a_date_of_this_year_needs_no_year() -> None:
    assert dates.day(dt.date(2025, 3, 3), dt.date(2025, 2, 1)) == "3 March"
    assert dates.day(dt.date(2026, 3, 3), dt.date(2025, 2, 1)) == "3 March 2026"


@given(st.dates(dt.date(1800, 1, 1), dt.date(2200, 1, 1)), st.floats(0, 0.999))
def test_days_of_the_analysis_go_there_and_back(date: dt.date, part: float) -> None:
    assert dates.from_days(dates.to_days(date) + part) == date


@pytest.mark.parametrize(
    ("days", "said"), [(1, "1 day"), (60, "60 days"), (61, "2 months"), (400, "13 months"), (1100, "3 years")]
)
def test_spans_are_told_as_people_say_them(days: int, said: str) -> None:
    assert dates.span(days) == said


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("split downpipe", "Split downpipe."),
        (" Done. ", "Done."),
        ("New. (Invented.)", "New. (Invented.)"),
        ("", ""),
    ],
)
def test_notes_become_sentences(written: str, said: str) -> None:
    assert words.sentence(written) == said
