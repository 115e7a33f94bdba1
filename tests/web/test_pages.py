"""Pages: who sees them, what they say, and how often they ask the database."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from html.parser import HTMLParser

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inspections.models import Assessment, Flag, Reading
from portfolio.models import Building, Event, Membership, Section, Treatment, User
from portfolio.vocabulary import EventKind
from tests.support.cast import PASSWORD, Cast, client_of
from tests.web.houses import TODAY, Kiln, kiln_row, trial

pytestmark = pytest.mark.django_db


@pytest.fixture
def kiln(cast: Cast, frozen_today: None) -> Kiln:
    return kiln_row(cast.organisation)


@pytest.fixture
def frozen_today(monkeypatch: pytest.MonkeyPatch) -> None:
    noon = dt.datetime.combine(TODAY, dt.time(12), dt.UTC)
    monkeypatch.setattr("django.utils.timezone.now", lambda: noon)


class _Text(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.parts: list[str] = []

    def handle_data(self, data: str) -> None:
        self.parts.append(data)


def text_of(client: Client, address: str) -> str:
    """The page's text with its white space evened out."""
    response = client.get(address)
    assert response.status_code == 200, response.status_code
    reader = _Text()
    reader.feed(response.content.decode())
    return re.sub(r"\s+", " ", "".join(reader.parts)).replace("\u00a0", " ")


def addresses(kiln: Kiln) -> list[str]:
    return [
        reverse("portfolio"),
        reverse("building", args=[kiln.building.pk]),
        *(reverse("section", args=[section.pk]) for section in (kiln.wet, kiln.quiet, kiln.bare)),
        reverse("how-verdicts-are-made"),
    ]


# Who sees what ----------------------------------------------------------------------------------------------


def test_every_member_sees_every_page(cast: Cast, kiln: Kiln) -> None:
    for member in cast.members:
        client = client_of(member)
        assert [client.get(address).status_code for address in addresses(kiln)] == [200] * 6


def test_without_signing_in_every_page_leads_to_the_way_in(kiln: Kiln, client: Client) -> None:
    for address in addresses(kiln):
        response = client.get(address)
        assert response.status_code == 302
        assert response["Location"] == f"{reverse('sign-in')}?next={address}"


def test_another_organisations_house_does_not_exist(cast: Cast, kiln: Kiln) -> None:
    client = client_of(cast.outsider)
    for address in addresses(kiln)[1:5]:
        missing = re.sub(r"[0-9a-f-]{36}", str(uuid.uuid4()), address)
        assert client.get(address).status_code == client.get(missing).status_code == 404
    assert "14 Kiln Row" not in text_of(client, "/")
    assert client.get("/", {"organisation": cast.organisation.slug}).status_code == 404


def test_a_voided_house_or_section_does_not_exist(cast: Cast, kiln: Kiln) -> None:
    Section.objects.filter(pk=kiln.quiet.pk).update(voided_at=dt.datetime(2025, 1, 1, tzinfo=dt.UTC))
    client = client_of(cast.owner)
    assert client.get(reverse("section", args=[kiln.quiet.pk])).status_code == 404
    assert "E1" not in text_of(client, reverse("building", args=[kiln.building.pk]))
    Building.objects.filter(pk=kiln.building.pk).update(voided_at=dt.datetime(2025, 1, 1, tzinfo=dt.UTC))
    assert client.get(reverse("building", args=[kiln.building.pk])).status_code == 404
    assert client.get(reverse("section", args=[kiln.wet.pk])).status_code == 404


def test_who_has_several_organisations_chooses_and_reaches_both(cast: Cast, kiln: Kiln) -> None:
    Membership.objects.create(user=cast.outsider, organisation=cast.organisation, role="analyst")
    client = client_of(cast.outsider)
    said = text_of(client, "/")
    assert "Whose houses?" in said
    assert cast.organisation.name in said
    assert cast.other_organisation.name in said
    assert "14 Kiln Row" in text_of(client, f"/?organisation={cast.organisation.slug}")
    assert client.get(reverse("section", args=[kiln.wet.pk])).status_code == 200


def test_who_has_no_organisation_is_told_so(db: None) -> None:
    client = client_of(User.objects.create(username="stray"))
    assert "you belong to no organisation" in text_of(client, "/")


def test_only_reading_is_possible(cast: Cast, kiln: Kiln) -> None:
    client = client_of(cast.owner)
    assert {client.post(address).status_code for address in addresses(kiln)} == {405}


def test_pages_are_kept_by_no_cache_and_allow_nothing_inline(cast: Cast, kiln: Kiln) -> None:
    for address in addresses(kiln):
        response = client_of(cast.owner).get(address)
        assert "no-store" in response["Cache-Control"]
        assert "default-src 'self'" in response["Content-Security-Policy"]
        markup = response.content.decode()
        assert not re.search(r"<script|<style|\sstyle=|\son\w+=", markup)


# Signing in and out -----------------------------------------------------------------------------------------


def test_signing_in_leads_on_and_signing_out_back(cast: Cast, kiln: Kiln, client: Client) -> None:
    address = reverse("section", args=[kiln.wet.pk])
    data = {"username": "owner", "password": PASSWORD, "next": address}
    assert client.post(reverse("sign-in"), data)["Location"] == address
    assert client.get(reverse("sign-in"))["Location"] == "/"
    assert client.get(reverse("sign-out")).status_code == 405
    assert client.post(reverse("sign-out"))["Location"] == reverse("sign-in")
    assert client.get("/").status_code == 302


def test_a_wrong_password_is_said_without_telling_which_was_wrong(cast: Cast, client: Client) -> None:
    answers = []
    for name in ("owner", "nobody"):
        response = client.post(reverse("sign-in"), {"username": name, "password": "wrong"})
        assert response.status_code == 200
        answers.append(re.findall(r'role="alert">(.*?)</div>', response.content.decode()))
    assert answers[0] == answers[1]
    assert "don’t belong together" in answers[0][0]


def test_an_empty_form_names_each_field(client: Client, db: None) -> None:
    markup = client.post(reverse("sign-in"), {}).content.decode()
    assert "Write your name here." in markup
    assert "Write your password here." in markup


def test_signing_in_leads_to_no_other_host(cast: Cast, client: Client) -> None:
    data = {"username": "owner", "password": PASSWORD, "next": "https://elsewhere.example/"}
    assert client.post(reverse("sign-in"), data)["Location"] == "/"


# Units ------------------------------------------------------------------------------------------------------


def test_units_are_switched_kept_and_shown(cast: Cast, kiln: Kiln) -> None:
    client = client_of(cast.analyst)
    address = reverse("section", args=[kiln.wet.pk])
    assert "4.0 × 2.0 m, 1.4 m of it below ground" in text_of(client, address)
    assert client.post(reverse("units"), {"units": "us", "next": address})["Location"] == address
    said = text_of(client, address)
    assert "13.1 × 6.6 ft, 4.6 ft of it below ground" in said
    assert "Hollow area grew to 13 ft²." in said
    assert not re.search(r"\d (m²|mm|m|K|°C)\b", said)
    assert "°F" in said
    assert User.objects.get(pk=cast.analyst.pk).units == "us"


@pytest.mark.parametrize("data", [{"units": "furlongs"}, {"units": "us", "next": "//elsewhere.example"}])
def test_nonsense_changes_nothing_and_leads_home(cast: Cast, data: dict[str, str]) -> None:
    assert client_of(cast.owner).post(reverse("units"), data)["Location"] == "/"
    if data["units"] == "furlongs":
        assert User.objects.get(pk=cast.owner.pk).units == "si"


# What is said -----------------------------------------------------------------------------------------------


def test_the_portfolio_says_what_needs_a_person_in_a_sentence(cast: Cast, kiln: Kiln) -> None:
    said = text_of(client_of(cast.owner), "/")
    assert (
        "North wall, 14 Kiln Row: water held behind the 2016 cement coat. Hollow area 1.05 m², growing 0.30 "
        "a year (0.20 to 0.40, 22 readings). Due 3 March. Flag opened 4 May 2024, not yet answered." in said
    )
    assert "East wall, 14 Kiln Row: due 31 January, 10 days late (the usual interval)." in said
    assert "One section holding water, one stable and one with too few readings." in said


def test_a_level_from_before_the_coat_is_not_told_of_it(cast: Cast, kiln: Kiln) -> None:
    Treatment.objects.filter(section=kiln.wet).update(applied_on=dt.date(2024, 12, 1))
    said = text_of(client_of(cast.owner), "/")
    assert "water held behind the 2024 cement coat. Hollow area growing 0.30 m² a year" in said


def test_flags_come_strongest_first_and_the_rest_is_worth_a_look(cast: Cast, kiln: Kiln) -> None:
    other = kiln_row(cast.other_organisation, "B1", "Outside")
    assert other
    second = kiln_row(cast.organisation, "K15", "15 Kiln Row")
    Flag.objects.filter(section=second.wet).delete()
    said = text_of(client_of(cast.owner), "/")
    needs, worth, houses = (said.index(head) for head in ("Needs a person", "Worth a look", "House by house"))
    assert (
        needs < said.index("North wall, 14 Kiln Row") < worth < said.index("North wall, 15 Kiln Row") < houses
    )
    assert "Outside" not in said


def test_a_flag_whose_verdict_has_moved_on_says_both(cast: Cast, kiln: Kiln) -> None:
    Flag.objects.create(section=kiln.quiet, verdict="water_entry", opened_on=dt.date(2024, 6, 1))
    said = text_of(client_of(cast.owner), "/")
    assert "East wall, 14 Kiln Row: stable." in said
    assert "It was opened for water entry." in said


def test_a_trial_allotted_by_judgement_is_seen_to_be_unfair(cast: Cast, kiln: Kiln) -> None:
    trial(cast.organisation, (kiln.wet, kiln.quiet), "judgement", "T1")
    trial(cast.organisation, (kiln.wet, kiln.quiet), "random", "T2")
    said = text_of(client_of(cast.owner), "/")
    assert "cement on 1 section and lime on 1 section; allotted by judgement; since 1 April 2018." in said
    assert said.count("has been favoured") == 1
    assert "allotted at random" in said


def test_an_empty_portfolio_says_how_records_come_in(cast: Cast) -> None:
    said = text_of(client_of(cast.owner), "/")
    assert "No houses are entered yet." in said
    assert "No flag is open." in said


def test_a_house_draws_its_walls_and_says_the_same_in_a_table(cast: Cast, kiln: Kiln) -> None:
    client = client_of(cast.owner)
    address = reverse("building", args=[kiln.building.pk])
    markup = client.get(address).content.decode()
    for section in (kiln.wet, kiln.quiet, kiln.bare):
        assert markup.count(f'href="{reverse("section", args=[section.pk])}"') >= 3  # desk, phone, table
    said = text_of(client, address)
    assert "trapped water, 93 in 100 flag open" in said
    assert "Rubble stone in lime, against soil" in said
    assert "cement: close cross-hatch" in said
    assert "Radon 111 Bq/m³ on 15 July 2024, the only reading. At or above the WHO’s" in said
    assert "9 September 2020: flood. <b>Sump</b>." in said
    assert "<b>Sump" not in markup


def test_a_section_argues_its_verdict(cast: Cast, kiln: Kiln) -> None:
    said = text_of(client_of(cast.owner), reverse("section", args=[kiln.wet.pk]))
    assert "Very likely (93 in 100): water held behind the 2016 cement coat." in said
    assert "Estimated to have begun about April 2019." in said
    assert "Why this, and not water entry" in said
    strongest, weakest = said.index("Deep moisture rose"), said.index("The face was damp")
    assert strongest < weakest < said.index("Before any reading")
    assert "That would tell held water from a dry wall." in said
    assert "Calibrated on simulated walls" in said
    assert "Judged as of 20 January 2025; the last reading is of 15 July 2024." in said
    assert "0.20 to 0.40" in said
    assert "isotonic regression" in said
    assert "Read too seldom for a rate: face moisture (3 readings)." in said


def test_an_opened_wall_is_not_asked_to_be_opened(cast: Cast, kiln: Kiln) -> None:
    client, address = client_of(cast.owner), reverse("section", args=[kiln.wet.pk])
    assert "Then open a small place" in text_of(client, address)
    opening = Event(building=kiln.wet.building, section=kiln.wet, kind=EventKind.OPENING)
    opening.happened_on = TODAY - dt.timedelta(days=800)
    opening.save()
    assert "Then open a small place" in text_of(client, address)
    Event.objects.filter(pk=opening.pk).update(happened_on=TODAY - dt.timedelta(days=40))
    said = text_of(client, address)
    assert "Then open a small place" not in said
    assert "It was opened on 1 January 2025. Go by what was found there" in said


HAZARDS = (
    "Lime and cement", "Silica dust", "Lead paint", "Asbestos", "Shock near water",
    "Undermined or moving walls", "Mould", "Radon",
)  # fmt: skip


def test_where_work_is_advised_every_caution_stands(cast: Cast, kiln: Kiln) -> None:
    client = client_of(cast.owner)
    said = text_of(client, reverse("section", args=[kiln.wet.pk]))
    assert [hazard for hazard in HAZARDS if hazard not in said] == []
    assert "The local code and licensed practice decide" in said
    assert "Water first." in said
    assert "last checked on 1 June 2018" in said
    quiet = text_of(client, reverse("section", args=[kiln.quiet.pk]))
    assert [hazard for hazard in HAZARDS if hazard in quiet] == []


def test_a_section_draws_its_strips_twice_and_tells_them_apart(cast: Cast, kiln: Kiln) -> None:
    markup = client_of(cast.owner).get(reverse("section", args=[kiln.wet.pk])).content.decode()
    assert markup.count('class="strips desk"') == markup.count('class="strips phone"') == 1
    for name in ("Face moisture", "Deep moisture", "Hollow area", "Fallen area", "Dew-point margin"):
        assert name in markup
    assert 'class="threshold"' in markup
    assert 'class="fan"' in markup


def test_too_few_readings_still_give_a_risk_and_a_next_step(cast: Cast, kiln: Kiln) -> None:
    said = text_of(client_of(cast.owner), reverse("section", args=[kiln.bare.pk]))
    assert "Not enough readings to judge." in said
    assert "the likeliest of the six" in said
    assert "Make a first full round" in said


def test_a_section_that_was_never_assessed_says_so(cast: Cast, kiln: Kiln) -> None:
    Assessment.objects.all().delete()
    for address in addresses(kiln):
        assert client_of(cast.owner).get(address).status_code == 200
    assert "Not assessed yet" in text_of(client_of(cast.owner), reverse("section", args=[kiln.wet.pk]))


def test_every_reading_can_be_paged_to(cast: Cast, kiln: Kiln) -> None:
    client = client_of(cast.owner)
    address = reverse("section", args=[kiln.wet.pk])
    count = Reading.objects.filter(section=kiln.wet).count()
    assert f"{count} readings, page 1 of 2" in text_of(client, address)
    assert "page 2 of 2" in text_of(client, f"{address}?readings=2")
    assert "15 January 2017, 10:00" in text_of(client, f"{address}?readings=2")


def test_invented_data_says_so_on_every_page(cast: Cast, kiln: Kiln) -> None:
    client = client_of(cast.owner)
    assert not any("Invented demonstration data" in text_of(client, address) for address in addresses(kiln))
    cast.organisation.is_invented = True
    cast.organisation.save()
    assert all("Invented demonstration data" in text_of(client, address) for address in addresses(kiln))


def test_the_foot_tells_organisation_date_and_model(cast: Cast, kiln: Kiln) -> None:
    for address in addresses(kiln)[:5]:
        said = text_of(client_of(cast.owner), address)
        assert f"{cast.organisation.name}, 10 February 2025. Verdicts by model 2026.1" in said


# Errors -----------------------------------------------------------------------------------------------------


def test_an_unknown_address_has_a_page_of_its_own(cast: Cast) -> None:
    response = client_of(cast.owner).get("/nothing/here/")
    assert response.status_code == 404
    assert "There is nothing at this address" in response.content.decode()


def test_a_fault_has_a_page_of_its_own(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError

    monkeypatch.setattr("inspections.queries.pages.houses", fail)
    client = client_of(cast.owner)
    client.raise_request_exception = False
    response = client.get("/")
    assert response.status_code == 500
    assert "Something failed on our side" in response.content.decode()


def test_an_expired_form_has_a_page_of_its_own(db: None) -> None:
    response = Client(enforce_csrf_checks=True).post(reverse("sign-in"), {})
    assert response.status_code == 403
    assert "This form is too old" in response.content.decode()


# Queries ----------------------------------------------------------------------------------------------------


def test_more_houses_ask_no_more_of_the_database(cast: Cast, kiln: Kiln) -> None:
    client = client_of(cast.owner)
    trial(cast.organisation, (kiln.wet, kiln.quiet), "random", "T")
    few = [_queries(client, address) for address in addresses(kiln)[:3]]
    for i in range(3):
        more = kiln_row(cast.organisation, f"L{i}", f"{i} Lime Row")
        trial(cast.organisation, (more.wet, more.quiet), "random", f"T{i}")
    assert [_queries(client, address) for address in addresses(kiln)[:3]] == few
    assert max(few) <= 28  # on a section: its photos, its past, and the rates of its like (two)


def _queries(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as queries:
        assert client.get(address).status_code == 200
    return len(queries)
