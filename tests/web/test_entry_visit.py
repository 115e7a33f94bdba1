"""Entering a visit: what is asked for, what is saved, what happens when it is sent twice or is wrong."""

from __future__ import annotations

import datetime as dt
import re
from html.parser import HTMLParser
from urllib.parse import urlencode

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inspections.models import Instrument, Load, Reading, Visit
from portfolio.models import Change, Section
from portfolio.vocabulary import Units
from tests.support.cast import Cast, client_of
from tests.web.houses import TODAY, Kiln, kiln_row

pytestmark = pytest.mark.django_db
WHEN = "2025-02-10T0930"
MOMENT = dt.datetime(2025, 2, 10, 9, 30, tzinfo=dt.UTC)


@pytest.fixture
def kiln(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> Kiln:
    noon = dt.datetime.combine(TODAY, dt.time(12), dt.UTC)
    monkeypatch.setattr("django.utils.timezone.now", lambda: noon)
    return kiln_row(cast.organisation)


@pytest.fixture
def client(cast: Cast) -> Client:
    return client_of(cast.inspector)


class Sent(HTMLParser):
    """What a browser would send of a page's main form: every field by its name."""

    def __init__(self, markup: str) -> None:
        super().__init__()
        self.fields: dict[str, str] = {}
        self._select = self._area = ""
        self._in_main = False
        self.feed(markup)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self._in_main = self._in_main or tag == "main"
        if not self._in_main:
            return
        if tag == "input" and given.get("name"):
            self.fields[given["name"]] = given.get("value", "")
        elif tag == "select":
            self._select = given["name"]
            self.fields.setdefault(self._select, "")
        elif tag == "option" and "selected" in given:
            self.fields[self._select] = given.get("value", "")
        elif tag == "textarea":
            self._area = given["name"]
            self.fields[self._area] = ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            self._area = ""

    def handle_data(self, data: str) -> None:
        if self._area:
            self.fields[self._area] += data

    def name_of(self, quantity: str, height: str = "") -> str:
        """The name of the value field of a place."""
        return next(
            f"{name.partition('-')[0]}-value"
            for name, value in self.fields.items()
            if name.endswith("-quantity")
            and value == quantity
            and height in ("", self.fields[name.replace("quantity", "height_mm")])
        )


def address(kiln: Kiln, section: Section | None, by: str = "GH") -> str:
    if section is None:
        return f"{reverse('visit-house', args=[kiln.building.pk, WHEN])}?{urlencode({'by': by})}"
    return f"{reverse('visit-section', args=[kiln.building.pk, WHEN, section.pk])}?{urlencode({'by': by})}"


def opened(client: Client, kiln: Kiln, section: Section | None, by: str = "GH") -> Sent:
    response = client.get(address(kiln, section, by))
    assert response.status_code == 200
    return Sent(response.content.decode())


def now_read(section: Section | None) -> list[tuple[str, str, str, str]]:
    found = Reading.objects.filter(section=section, taken_at=MOMENT).order_by("quantity", "height_mm")
    return [(one.quantity, one.qualifier, one.entered_value, one.unit) for one in found]


# Beginning --------------------------------------------------------------------------------------------------


def test_a_visit_begins_today_with_the_initials_of_last_time(client: Client, kiln: Kiln) -> None:
    start = reverse("visit", args=[kiln.building.pk])
    fields = Sent(client.get(start).content.decode()).fields
    assert (fields["day"], fields["time"], fields["inspector"]) == ("2025-02-10", "12:00", "")
    response = client.post(start, {"day": "2025-02-10", "time": "09:30", "inspector": "GH"})
    assert response.status_code == 302
    # The walls in the order of the drawing: north, east, south.
    assert response["Location"] == address(kiln, kiln.wet)
    assert Sent(client.get(start).content.decode()).fields["inspector"] == "GH"


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("inspector", "", "Write your initials"),
        ("day", "2025-02-11", "still to come"),
        ("day", "10 February", "is not a date; write year-month-day"),
        ("time", "half past nine", "is not a time"),
    ],
)
def test_what_is_wrong_at_the_beginning_is_said_and_kept(
    client: Client, kiln: Kiln, field: str, value: str, said: str
) -> None:
    sent = {"day": "2025-02-10", "time": "09:30", "inspector": "GH", field: value}
    response = client.post(reverse("visit", args=[kiln.building.pk]), sent)
    assert response.status_code == 200
    markup = response.content.decode()
    assert said in markup
    assert Sent(markup).fields[field] == value
    assert 'aria-invalid="true"' in markup


def test_the_day_is_the_houses_own(client: Client, kiln: Kiln, monkeypatch: pytest.MonkeyPatch) -> None:
    late = dt.datetime(2025, 2, 11, 3, tzinfo=dt.UTC)
    monkeypatch.setattr("django.utils.timezone.now", lambda: late)
    kiln.building.timezone = "America/New_York"
    kiln.building.save()
    fields = Sent(client.get(reverse("visit", args=[kiln.building.pk])).content.decode()).fields
    # New York is five hours behind UTC in winter.
    assert (fields["day"], fields["time"]) == ("2025-02-10", "22:00")
    sent = opened(client, kiln, kiln.quiet)
    client.post(address(kiln, kiln.quiet), sent.fields | {sent.name_of("surface_moisture"): "31"})
    assert Reading.objects.get(section=kiln.quiet, visit__day=TODAY).taken_at.hour == 14


# What is asked for ------------------------------------------------------------------------------------------


def test_a_section_is_asked_what_it_was_last_read_for_without_the_values(client: Client, kiln: Kiln) -> None:
    markup = client.get(address(kiln, kiln.wet)).content.decode()
    sent = Sent(markup)
    asked = {value for name, value in sent.fields.items() if name.endswith("-quantity")}
    assert asked == {
        "surface_moisture", "deep_moisture", "hollow_area", "spall_area",
        "air_temperature", "air_humidity", "surface_temperature",
    }  # fmt: skip
    assert {value for name, value in sent.fields.items() if name.endswith("-value")} == {""}
    face = sent.name_of("surface_moisture").partition("-")[0]
    assert sent.fields[f"{face}-height_mm"] == "300"
    assert sent.fields["instrument-surface_moisture"] == "M1"
    assert "instrument-hollow_area" not in sent.fields  # no instrument reads an area
    # July 2024: hollow 0.15 m² a year for seven years.
    assert "last 1.05, 15 July 2024" in markup
    assert 'inputmode="decimal"' in markup


def test_a_wall_that_nobody_read_is_asked_what_the_others_are(client: Client, kiln: Kiln) -> None:
    sent = opened(client, kiln, kiln.bare)
    assert sent.fields[sent.name_of("surface_moisture").replace("value", "height_mm")] == "300"
    assert sent.fields["instrument-surface_moisture"] == "M1"
    Reading.objects.all().delete()
    fresh = opened(client, kiln, kiln.bare)
    heights = [v for n, v in fresh.fields.items() if n.endswith("-height_mm") and v]
    assert heights == ["200", "900", "1500"]


def test_the_house_as_a_whole_comes_last(client: Client, kiln: Kiln) -> None:
    sent = opened(client, kiln, None)
    assert [v for n, v in sent.fields.items() if n.endswith("-quantity")] == ["radon"]
    response = client.post(address(kiln, None), sent.fields | {sent.name_of("radon"): "98"})
    assert response["Location"].startswith(reverse("visit-review", args=[kiln.building.pk, WHEN]))
    assert now_read(None) == [("radon", "", "98", "Bq_per_m3")]


def test_more_sections_take_no_more_queries(client: Client, kiln: Kiln, cast: Cast) -> None:
    review = f"{reverse('visit-review', args=[kiln.building.pk, WHEN])}?by=GH"

    def queries() -> list[int]:
        counts = []
        for one in (address(kiln, kiln.wet), review):
            with CaptureQueriesContext(connection) as asked:
                assert client.get(one).status_code == 200
            counts.append(len(asked))
        return counts

    few = queries()
    for number in range(3):
        Section.objects.create(building=kiln.building, code=f"X{number}", wall="W")
    assert queries() == few


# Saving -----------------------------------------------------------------------------------------------------


def test_values_are_saved_as_entered_and_lead_to_the_next_section(
    client: Client, kiln: Kiln, cast: Cast
) -> None:
    sent = opened(client, kiln, kiln.quiet)
    face, hollow = sent.name_of("surface_moisture"), sent.name_of("hollow_area")
    typed = {face: "97,5", face.replace("value", "qualifier"): ">", hollow: "1.30"}
    typed[hollow.replace("value", "note")] = "drummy by the door"
    response = client.post(address(kiln, kiln.quiet), sent.fields | typed)
    assert response["Location"] == address(kiln, kiln.bare)
    # A decimal comma becomes a point; the rest is as typed.
    assert now_read(kiln.quiet) == [
        ("hollow_area", "", "1.30", "m2"),
        ("surface_moisture", ">", "97.5", "relative"),
    ]
    saved = Reading.objects.get(section=kiln.quiet, taken_at=MOMENT, quantity="surface_moisture")
    assert saved.height_mm == 300.0
    assert saved.instrument == Instrument.objects.get(code="M1")
    assert (saved.visit.day, saved.visit.inspector) == (TODAY, "GH")
    assert saved.entered_by == cast.inspector
    assert Reading.objects.get(taken_at=MOMENT, quantity="hollow_area").note == "drummy by the door"
    assert Load.objects.get().source == "readings by a visit’s form"


def test_sent_twice_nothing_changes(client: Client, kiln: Kiln) -> None:
    sent = opened(client, kiln, kiln.quiet)
    typed = sent.fields | {sent.name_of("surface_moisture"): "31"}
    for _ in range(2):
        assert client.post(address(kiln, kiln.quiet), typed).status_code == 302
    assert now_read(kiln.quiet) == [("surface_moisture", "", "31", "relative")]
    assert Visit.objects.filter(day=TODAY).count() == 1
    assert not Change.objects.filter(model="reading").exists()
    # Opened anew it holds what was entered, and sent so it changes nothing either.
    again = opened(client, kiln, kiln.quiet)
    assert again.fields[again.name_of("surface_moisture")] == "31"
    client.post(address(kiln, kiln.quiet), again.fields)
    assert Reading.objects.filter(taken_at=MOMENT).count() == 1
    assert not Change.objects.filter(model="reading").exists()


def test_another_value_at_the_same_place_corrects_and_keeps_the_first(client: Client, kiln: Kiln) -> None:
    sent = opened(client, kiln, kiln.quiet)
    name = sent.name_of("surface_moisture")
    client.post(address(kiln, kiln.quiet), sent.fields | {name: "31"})
    client.post(address(kiln, kiln.quiet), sent.fields | {name: "37"})
    assert now_read(kiln.quiet) == [("surface_moisture", "", "37", "relative")]
    assert Change.objects.get(model="reading").fields["value"] == [31.0, 37.0]


def test_errors_name_field_and_mend_keep_all_and_save_nothing(client: Client, kiln: Kiln) -> None:
    sent = opened(client, kiln, kiln.quiet)
    face, hollow = sent.name_of("surface_moisture"), sent.name_of("hollow_area")
    typed = {face: "31", hollow: "about 1", face.replace("value", "note"): "after rain"}
    response = client.post(address(kiln, kiln.quiet), sent.fields | typed)
    assert response.status_code == 200
    markup = response.content.decode()
    said = "&#x27;about 1&#x27; is not a number; write digits with a decimal point, such as 3.5."
    assert re.search(rf'href="#r\d+">Hollow area</a>: {re.escape(said)}', markup)
    kept = Sent(markup).fields
    assert (kept[face], kept[hollow]) == ("31", "about 1")
    assert kept[face.replace("value", "note")].strip() == "after rain"
    assert now_read(kiln.quiet) == []
    assert not Visit.objects.filter(day=TODAY).exists()


def test_a_note_or_a_sign_without_a_value_is_asked_for_the_value(client: Client, kiln: Kiln) -> None:
    sent = opened(client, kiln, kiln.quiet)
    sign = sent.name_of("surface_moisture").replace("value", "qualifier")
    response = client.post(address(kiln, kiln.quiet), sent.fields | {sign: ">"})
    assert "write the number that was read" in response.content.decode()
    nothing = client.post(address(kiln, kiln.quiet), sent.fields)
    assert "Nothing was typed" in nothing.content.decode()


@pytest.mark.parametrize(
    ("name", "value"),
    [("rows", "9" * 5000), ("rows", "-1"), ("0-quantity", "warmth"), ("0-height_mm", "nan"), ("0-unit", "")],
)
def test_a_form_that_no_browser_sends_is_refused_in_words(
    client: Client, kiln: Kiln, name: str, value: str
) -> None:
    sent = opened(client, kiln, kiln.quiet)
    response = client.post(address(kiln, kiln.quiet), sent.fields | {"0-value": "31", name: value})
    assert response.status_code in (200, 302)
    assert ('role="alert"' in response.content.decode()) == (response.status_code == 200)
    assert len(now_read(kiln.quiet)) == (response.status_code == 302)


def test_thousands_are_not_taken_for_a_decimal_comma(client: Client, kiln: Kiln) -> None:
    sent = opened(client, kiln, None)
    response = client.post(address(kiln, None), sent.fields | {sent.name_of("radon"): "1,200"})
    assert "Decimal comma: write 1.200" in response.content.decode()
    assert now_read(None) == []


def test_feet_and_fahrenheit_are_said_and_sent_as_such(client: Client, kiln: Kiln, cast: Cast) -> None:
    cast.inspector.units = Units.US
    cast.inspector.save()
    markup = client.get(address(kiln, kiln.wet)).content.decode()
    sent = Sent(markup)
    assert '<span class="unit">ft²</span>' in markup
    # 1.05 m² and 14 °C by the definitions of foot (0.3048 m) and degree Fahrenheit.
    assert "last 11.3, 15 July 2024" in markup
    assert "last 57.2, 15 July 2024" in markup
    typed = {sent.name_of("hollow_area"): "12.5", sent.name_of("air_temperature"): "57"}
    client.post(address(kiln, kiln.wet), sent.fields | typed)
    assert now_read(kiln.wet) == [("air_temperature", "", "57", "degF"), ("hollow_area", "", "12.5", "ft2")]
    hollow = Reading.objects.get(taken_at=MOMENT, quantity="hollow_area")
    assert hollow.value == pytest.approx(12.5 * 0.3048**2)
    # In metres again, what was entered keeps the unit it was entered in.
    cast.inspector.units = Units.SI
    cast.inspector.save()
    again = opened(client, kiln, kiln.wet)
    client.post(address(kiln, kiln.wet), again.fields)
    assert not Change.objects.filter(model="reading").exists()


def test_something_else_is_entered_with_its_height_in_inches(client: Client, kiln: Kiln, cast: Cast) -> None:
    cast.inspector.units = Units.US
    cast.inspector.save()
    sent = opened(client, kiln, kiln.bare)
    free = next(name for name in sent.fields if name.endswith("-what")).partition("-")[0]
    typed = {
        f"{free}-what": "crack_width:in",
        f"{free}-value": "0.25",
        f"{free}-height_mm": "40",
        f"{free}-note": "by the window",
    }
    client.post(address(kiln, kiln.bare), sent.fields | typed)
    crack = Reading.objects.get(section=kiln.bare, taken_at=MOMENT)
    # The inch is 25.4 mm by definition.
    assert (crack.height_mm, crack.value, crack.unit) == (1016.0, pytest.approx(6.35), "in")
    wrong = client.post(address(kiln, kiln.bare), sent.fields | typed | {f"{free}-height_mm": "knee"})
    markup = wrong.content.decode()
    assert "Something else" not in re.findall(r'href="#r\d+">([^<]+)</a>', markup)
    assert "Height: &#x27;knee&#x27; is not a number" in markup
    assert Sent(markup).fields[f"{free}-height_mm"] == "knee"
    assert Sent(markup).fields[f"{free}-what"] == "crack_width:in"


def test_a_value_without_its_quantity_or_at_a_place_there_already_is_asked_about(
    client: Client, kiln: Kiln
) -> None:
    sent = opened(client, kiln, kiln.quiet)
    free = next(name for name in sent.fields if name.endswith("-what")).partition("-")[0]
    nameless = client.post(address(kiln, kiln.quiet), sent.fields | {f"{free}-value": "5"})
    assert "Choose what was read, and its unit." in nameless.content.decode()
    typed = {sent.name_of("hollow_area"): "1", f"{free}-value": "2", f"{free}-what": "hollow_area:m2"}
    twice = client.post(address(kiln, kiln.quiet), sent.fields | typed)
    assert "This place is there twice" in twice.content.decode()
    assert now_read(kiln.quiet) == []


def test_a_reading_is_taken_back_with_its_reason_and_never_entered_into_the_void(
    client: Client, kiln: Kiln, cast: Cast
) -> None:
    sent = opened(client, kiln, kiln.quiet)
    name = sent.name_of("hollow_area")
    client.post(address(kiln, kiln.quiet), sent.fields | {name: "1.3"})
    emptied = client.post(address(kiln, kiln.quiet), sent.fields | {name: ""}).content.decode()
    assert "1.3 was entered here and stays." in emptied
    reading = Reading.objects.get(taken_at=MOMENT)
    back = reverse("take-back", args=[reading.pk])
    review = f"{reverse('visit-review', args=[kiln.building.pk, WHEN])}?by=GH"
    assert back in client.get(review).content.decode()
    assert client_of(cast.analyst).post(back, {"reason": "no"}).status_code == 403
    assert client_of(cast.outsider).post(back, {"reason": "no"}).status_code == 404
    assert "Write why" in client.post(back, {"reason": ""}).content.decode()
    for _ in range(2):
        assert client.post(back, {"reason": "Read on the wrong wall."})["Location"] == review
    reading.refresh_from_db()
    assert (reading.void_reason, reading.entered_value) == ("Read on the wrong wall.", "1.3")
    assert back not in client.get(review).content.decode()
    again = client.post(address(kiln, kiln.quiet), sent.fields | {name: "1.4"}).content.decode()
    assert "was taken back; begin the visit at another minute" in again


def test_another_meter_is_read_on_its_own_scale(client: Client, kiln: Kiln, cast: Cast) -> None:
    Instrument.objects.create(
        organisation=cast.organisation, code="M9", kind="moisture_meter", scale="percent_wme"
    )
    sent = opened(client, kiln, kiln.quiet)
    typed = {sent.name_of("surface_moisture"): "18", "instrument-surface_moisture": "M9"}
    client.post(address(kiln, kiln.quiet), sent.fields | typed)
    assert now_read(kiln.quiet) == [("surface_moisture", "", "18", "percent_wme")]


def test_two_people_at_one_minute_do_not_overwrite_each_other(client: Client, kiln: Kiln) -> None:
    sent = opened(client, kiln, kiln.quiet)
    name = sent.name_of("surface_moisture")
    client.post(address(kiln, kiln.quiet), sent.fields | {name: "31"})
    theirs = opened(client, kiln, kiln.quiet, by="MB")
    assert theirs.fields[name] == ""
    response = client.post(address(kiln, kiln.quiet, by="MB"), theirs.fields | {name: "66"})
    assert "GH entered readings of this wall at this very minute" in response.content.decode()
    assert now_read(kiln.quiet) == [("surface_moisture", "", "31", "relative")]


def test_the_end_says_what_was_entered_and_what_is_missing(client: Client, kiln: Kiln) -> None:
    sent = opened(client, kiln, kiln.quiet)
    for row in sent.fields.copy():
        if row.endswith("-quantity") and sent.fields[row] != "deep_moisture":
            sent.fields[row.replace("quantity", "value")] = "12"
    client.post(address(kiln, kiln.quiet), sent.fields)
    markup = client.get(f"{reverse('visit-review', args=[kiln.building.pk, WHEN])}?by=GH").content.decode()
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", markup)).replace("\u00a0", " ")
    assert "14 Kiln Row, GH: 6 readings entered." in text
    assert "Face moisture, 300 mm up: 12" in text
    assert "Not read: deep moisture (80 mm deep)." in text
    assert "Read North wall now" in text
    assert "The house as a whole" in text
    assert "Not read: radon." in text


# Who --------------------------------------------------------------------------------------------------------


def test_the_doors_are_shown_to_who_may_write(cast: Cast, kiln: Kiln) -> None:
    house = reverse("building", args=[kiln.building.pk])
    for member in (cast.owner, cast.manager, cast.inspector):
        assert "Enter a visit" in client_of(member).get(house).content.decode()
    assert "Enter a visit" not in client_of(cast.analyst).get(house).content.decode()


def test_times_that_are_none_and_sections_of_other_houses_do_not_exist(
    client: Client, cast: Cast, kiln: Kiln
) -> None:
    other = kiln_row(cast.organisation, "K15", "15 Kiln Row")
    assert client.get(reverse("visit-review", args=[kiln.building.pk, "2025-13-40T9999"])).status_code == 404
    assert client.get(address(kiln, other.wet)).status_code == 404
