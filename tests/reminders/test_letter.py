"""What a mail says: as HTML and as text the same, with a picture inside, and a link that ends it."""

from __future__ import annotations

import datetime as dt
import email
import email.policy
import io
from email.message import EmailMessage
from typing import Any

import pytest
from PIL import Image

from inspections.domain.telling.raising import raise_all
from inspections.domain.telling.sending import send_due
from inspections.models import Reading
from inspections.web.mails import picture
from portfolio.models import Organisation
from portfolio.vocabulary import Units
from tests.api import factories
from tests.reminders.houses import DAY, NOW, TODAY, due, person_of
from tests.reminders.test_raising import flag_of, read
from tests.support.cast import Cast

SEVEN = dt.datetime(2026, 3, 6, 7, 0, tzinfo=dt.UTC)


def parsed(mail: Any) -> EmailMessage:
    """A mail as a program for mail reads it."""
    whole = email.message_from_bytes(mail.message().as_bytes(), policy=email.policy.default)
    assert isinstance(whole, EmailMessage)
    return whole


def sent_to(name: str, mailoutbox: list[Any]) -> EmailMessage:
    raise_all(NOW)
    send_due(lambda: SEVEN)
    (mail,) = [one for one in mailoutbox if one.to == [f"{name}@example.org"]]
    return parsed(mail)


def part(mail: EmailMessage, kind: str) -> str:
    body = mail.get_body((kind,))
    assert body is not None
    return str(body.get_content())


@pytest.fixture
def wall(people: Cast) -> Any:
    """A wall with an assessment, readings that rise, and an inspection that is overdue."""
    found = factories.assessment(people.organisation, trapped=0.93)
    for year in range(2015, 2026):
        when = dt.datetime(year, 6, 1, 10, tzinfo=dt.UTC)
        reading = factories.reading(
            people.organisation, section=found.section, quantity="deep_moisture", unit="relative",
            value=40 + 4.0 * (year - 2015), taken_at=when, height_mm=300,
        )  # fmt: skip
        visit = factories.visit(people.organisation, building=found.section.building, day=when.date())
        Reading.objects.filter(pk=reading.pk).update(visit=visit)
    plan = due(people.organisation, -40)
    plan.building, plan.section, plan.detail = found.section.building, found.section, "a look after the frost"
    plan.save(update_fields=["building", "section", "detail"])
    return found.section


def test_it_says_why_and_shows_the_trend(wall: Any, mailoutbox: list[Any]) -> None:
    mail = sent_to("inspector", mailoutbox)
    assert mail["Subject"].strip() == "1 inspection overdue · Larch Row Houses (invented)"
    for kind in ("html", "plain"):
        text = part(mail, kind)
        assert "Overdue since 24 January, 41 days ago: a look after the frost." in text
        assert "Water held in the wall." in text
        assert "Deep moisture rising 4.1" in text
        assert "3.0 to 5.2, 22 readings" in text
        assert f"https://walls.example.org/sections/{wall.pk}/" in text
    images = [one for one in mail.walk() if one.get_content_type() == "image/png"]
    (image,) = images
    assert f"cid:{image['Content-ID'].strip('<>')}" in part(mail, "html")
    drawn = Image.open(io.BytesIO(image.get_content()))
    assert drawn.size == (picture.WIDTH * picture.SCALE, picture.HEIGHT * picture.SCALE)
    assert len(image.get_content()) < 20_000
    kinds = [one.get_content_type() for one in mail.walk()]
    assert kinds == ["multipart/related", "multipart/alternative", "text/plain", "text/html", "image/png"]


def test_one_press_ends_it_as_rfc_8058_says(wall: Any, mailoutbox: list[Any], client: Any) -> None:
    """RFC 8058, section 3.1: a List-Unsubscribe with an https URI, and List-Unsubscribe-Post as it stands."""
    mail = sent_to("inspector", mailoutbox)
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    uri = mail["List-Unsubscribe"].replace("\n", "").replace(" ", "").strip("<>")
    assert uri.startswith("https://walls.example.org/mails/")
    assert uri in part(mail, "plain").replace("\n", "")
    assert mail["Auto-Submitted"] == "auto-generated"


def test_what_changed_is_said(wall: Any, mailoutbox: list[Any]) -> None:
    factories.assessment(
        wall.building.organisation, where=wall, as_of=TODAY - 90 * DAY, verdict="stable", current=False
    )
    assert "Changed: until 5 December 2025 it was stable." in part(sent_to("owner", mailoutbox), "plain")


def test_numbers_are_in_the_readers_units(people: Cast, mailoutbox: list[Any]) -> None:
    people.owner.units = Units.US
    people.owner.save()
    read(people, "radon", 222.0)
    mail = sent_to("owner", mailoutbox)
    assert (
        "Radon 6.0\u00a0pCi/L on 5 March: at or above the US EPA’s action level of 4.0\u00a0pCi/L."
        in part(mail, "plain")
    )
    assert mail["Subject"].strip().startswith("At once: much radon, ")
    assert "licensed" in part(mail, "html")


def test_a_still_sump_warns_of_shock(people: Cast, mailoutbox: list[Any]) -> None:
    house = factories.building(people.organisation)
    for hours, level in ((5, 100), (1, 150)):
        read(people, "water_level", level, hours=hours, building=house)
    read(people, "sump_starts", 0, building=house)
    text = part(sent_to("owner", mailoutbox), "plain")
    assert "the water rose by 50.0\u00a0mm" in text
    assert "Don’t step into standing water" in text


def test_text_that_people_entered_is_no_html(people: Cast, mailoutbox: list[Any]) -> None:
    house = factories.building(people.organisation, name="<b>Kiln</b> & Co\r\nBcc: all@example.org")
    factories.plan(people.organisation, building=house, section=None, due_on=TODAY)
    mail = sent_to("inspector", mailoutbox)
    assert "&lt;b&gt;Kiln&lt;/b&gt; &amp; Co" in part(mail, "html")
    assert "<b>Kiln</b> & Co" in part(mail, "plain")
    assert mail["Bcc"] is None


def test_a_long_list_is_told_in_full(people: Cast, mailoutbox: list[Any]) -> None:
    names = [f"Kiln {number} house" for number in range(25)]
    for name in names:
        house = factories.building(people.organisation, name=name)
        factories.plan(people.organisation, building=house, section=None, due_on=TODAY)
    mail = sent_to("inspector", mailoutbox)
    assert mail["Subject"].strip().startswith("25 inspections due")
    for kind in ("html", "plain"):
        assert not [name for name in names if part(mail, kind).count(name) < 1]


def test_a_wall_told_of_twice_is_described_once(people: Cast, mailoutbox: list[Any]) -> None:
    flag = flag_of(people, 0)
    plan = due(people.organisation, 0)
    plan.building, plan.section = flag.section.building, flag.section
    plan.save(update_fields=["building", "section"])
    text = part(sent_to("inspector", mailoutbox), "plain")
    assert (text.count("in 100"), text.count("Flag opened"), text.count("Due yesterday")) == (1, 1, 0)
    assert text.count(f"({flag.section.code})") == 2


def test_one_mail_for_all_of_a_persons_organisations(people: Cast, mailoutbox: list[Any]) -> None:
    from portfolio.models import Membership

    other = Organisation.objects.create(slug="osier", name="Osier Houses (invented)")
    person_of(other, "manager")
    Membership.objects.create(user=people.inspector, organisation=other, role="inspector")
    due(people.organisation, 0)
    due(other, 0)
    mail = sent_to("inspector", mailoutbox)
    assert "Larch Row Houses (invented) and Osier Houses (invented)" in part(mail, "plain")


@pytest.mark.parametrize("points", [1, 2, 300])
@pytest.mark.parametrize("value", [0.0, 7.5, -3.0, 1e6, 1e-9])
def test_any_readings_can_be_drawn(points: int, value: float) -> None:
    days = [(dt.date(2020, 1, 1) + nth * DAY * 7, value * (1 + nth % 3)) for nth in range(points)]
    trend = picture.Trend(value, None, None, days[0][0], days[-1][0])
    for drawn in (picture.draw(days), picture.draw(days, trend=trend, threshold=value)):
        assert Image.open(io.BytesIO(drawn)).format == "PNG"


@pytest.mark.parametrize(
    ("values", "marks"),
    [
        ([0.0, 6.2], [0, 5, 10]),
        ([40.0, 80.0], [40, 60, 80]),
        ([0.0, 0.0], [0.0, 0.0000005]),
        ([21.0, 37.0], [20, 30, 40]),
        ([-3.0, 4.0], [-5, 0, 5]),
    ],
)
def test_the_axis_has_few_round_numbers_around_all_values(values: list[float], marks: list[float]) -> None:
    found, _ = picture._scale(values)
    assert found[0] <= min(values)
    assert found[-1] >= max(values)
    assert 2 <= len(found) <= 5
    if max(values) > 0:
        assert found == marks
