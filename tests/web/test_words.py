"""Numbers, units, names and dates as pages write them."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.vocabulary import UNITS, Unit
from inspections.web.present import dates, radon, units, words
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


@pytest.mark.parametrize(
    ("written", "american"),
    [
        ("Hollow area is 0.48 m² (12 % of the coat).", "Hollow area is 5.2 ft² (12 % of the coat)."),
        ("Soft to 12 mm deep (3 visits).", "Soft to 0.47 in deep (3 visits)."),
        ("9.0 K above, within 1.5 K of it.", "16 °F above, within 2.7 °F of it."),
        ("The face was at 18 °C, the air at -40 °C.", "The face was at 64 °F, the air at −40 °F."),
        ("It warmed 0.5 °C a year.", "It warmed 0.90 °F a year."),
        ("0.05 to 0.20 m² a year, 2 m up", "0.5 to 2.2 ft² a year, 6.6 ft up"),
        ("none: 0 m²", "none: 0 ft²"),
    ],
)
def test_sentences_written_in_si_are_told_in_the_readers_units(written: str, american: str) -> None:
    assert units.in_units(written, US).replace(units.NO_BREAK, " ") == american
    assert units.in_units(written, SI).replace(units.NO_BREAK, " ") == written.replace("-", "−")


@pytest.mark.parametrize(
    "text",
    [
        "rose 4.1 a year (3.0 to 5.2, 22 visits)",
        "75 % RH",
        "15 % WME",
        "12 months",
        "section N1",
        "148 Bq/m³",
        "2 kg/m²",
        "7 Kiln Row",
        "1:3",
    ],
)
def test_other_numbers_are_left_alone(text: str) -> None:
    assert units.in_units(text, US) == units.in_units(text, SI) == text


@given(st.floats(0.01, 500).map(lambda value: float(f"{value:.3g}")))
def test_an_area_told_in_feet_is_the_area_to_its_digits(area: float) -> None:
    told = units.in_units(f"{area:g} m²", US).split(units.NO_BREAK)[0].replace("\u202f", "")
    assert float(told) == pytest.approx(area / 0.3048**2, rel=0.051)


# EPA, A Citizen's Guide to Radon (EPA 402/K-12/002): mend from 4 pCi/L on; WHO Handbook on Indoor Radon
# (2009): 100 Bq/m³, which it also prints as 2.7 pCi/L.
@pytest.mark.parametrize(
    ("value", "qualifier", "said"),
    [
        (
            148.0,
            "",
            "At or above the US EPA’s action level (4.0 pCi/L) and the WHO’s reference level (2.7 pCi/L)",
        ),
        (111.0, "", "At or above the WHO’s reference level (2.7 pCi/L), below the US EPA’s"),
        (99.0, "", "Below the WHO’s reference level"),
        (50.0, "<", "Below the WHO’s reference level"),
        (120.0, "<", ""),
        (120.0, ">", ""),
        (200.0, ">", "At or above the US EPA’s"),
    ],
)
def test_radon_is_told_beside_the_levels_of_public_bodies(value: float, qualifier: str, said: str) -> None:
    told = radon.comparison(value, qualifier, US).replace(units.NO_BREAK, " ")
    assert told.startswith(said)
    assert ("local rule" in told) == bool(said)


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
