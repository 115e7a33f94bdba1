"""Pages of what is due, of papers and of the policy: who sees them, what they say, what they change."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inspections.models import Plan, Policy
from inspections.web.present import agenda_svg, due
from portfolio.models import Building, Change, Paper, Section
from tests.api import factories
from tests.papers.test_documents import PDF
from tests.support.cast import Cast, client_of
from tests.web.test_pages import text_of

TODAY = dt.date(2024, 6, 20)


@pytest.fixture(autouse=True)
def _noon(monkeypatch: pytest.MonkeyPatch, settings: object, tmp_path: object) -> None:
    noon = dt.datetime(2024, 6, 20, 12, tzinfo=dt.UTC)
    monkeypatch.setattr("django.utils.timezone.now", lambda: noon)
    settings.MEDIA_ROOT = tmp_path  # type: ignore[attr-defined]


@pytest.fixture
def house(cast: Cast) -> Building:
    return factories.building(cast.organisation, code="H1", name="14 Kiln Row (invented)")


@pytest.fixture
def walls(cast: Cast, house: Building) -> list[Section]:
    return [
        factories.section(cast.organisation, building=house, code=code, wall=wall)
        for code, wall in (("N1", "North"), ("E1", "East"), ("E2", "East"))
    ]


@pytest.fixture
def plans(cast: Cast, house: Building, walls: list[Section]) -> list[Plan]:
    days = (
        (walls[0], "2024-06-01", "flag"),
        (walls[1], "2024-06-10", "season"),
        (walls[2], "2024-07-01", "trial"),
    )
    return [
        factories.plan(cast.organisation, building=house, section=wall, due_on=day, reason=why, minutes=20)
        for wall, day, why in days
    ]


@pytest.fixture
def paper(cast: Cast, house: Building) -> Paper:
    own = factories.paper(cast.organisation, building=house, due_on="2024-06-18", title="Loose coping")
    detail = {"reason": "paper", "due_on": own.due_on, "detail": "violation: Loose coping"}
    factories.plan(cast.organisation, building=house, section=None, paper=own, **detail)
    return own


def addresses(house: Building, plan: Plan, paper: Paper) -> list[str]:
    return [
        reverse("due"),
        reverse("due-month"),
        reverse("policy-page"),
        reverse("due-item", args=[plan.pk]),
        reverse("round", args=[house.pk]),
        reverse("paper", args=[paper.pk]),
    ]


def test_every_member_sees_them_and_nobody_else(
    cast: Cast, house: Building, plans: list[Plan], paper: Paper, client: Client
) -> None:
    every = addresses(house, plans[0], paper)
    for member in cast.members:
        assert [client_of(member).get(address).status_code for address in every] == [200] * 6
    for address in every:
        assert client.get(address)["Location"].startswith(reverse("sign-in"))
    outsider = client_of(cast.outsider)
    assert [outsider.get(address).status_code for address in every[3:]] == [404] * 3
    assert "Kiln Row" not in text_of(outsider, reverse("due"))
    slug = cast.organisation.slug
    assert [outsider.get(f"{address}?organisation={slug}").status_code for address in every[:3]] == [404] * 3


def test_an_analyst_changes_nothing(cast: Cast, house: Building, plans: list[Plan], paper: Paper) -> None:
    client = client_of(cast.analyst)
    for address in addresses(house, plans[0], paper)[2:]:
        assert client.post(address, {"do": "postpone", "title": "x"}).status_code in (403, 405)
    assert client.get(reverse("new-paper", args=[house.pk])).status_code == 403
    assert "Put it off" not in text_of(client, reverse("due-item", args=[plans[0].pk]))


class TestList:
    def test_what_is_overdue_at_a_house_is_one_round(self, cast: Cast, plans: list[Plan]) -> None:
        said = text_of(client_of(cast.owner), reverse("due"))
        assert "2 looks in 1 house are overdue, about 40 minutes on site." in said
        assert "1 look in 1 house is due in the next 30 days, about 20 minutes on site." in said
        assert "14 Kiln Row (invented): since 1 June, 19 days late; 2 looks, about 40 minutes." in said
        assert "North wall: 1 June, 19 days late (a flag was opened)." in said
        assert "14 Kiln Row (invented): 1 July; 1 look, about 20 minutes." in said

    def test_papers_stand_beside_looks(self, cast: Cast, paper: Paper) -> None:
        said = text_of(client_of(cast.owner), reverse("due"))
        assert "1 paper is overdue." in said
        assert "Violation, 14 Kiln Row (invented): Loose coping: 18 June, 2 days late." in said

    def test_by_house_and_by_person(self, cast: Cast, plans: list[Plan]) -> None:
        Plan.objects.filter(pk=plans[0].pk).update(person=cast.inspector)
        client = client_of(cast.owner)
        said = text_of(client, f"{reverse('due')}?by=person")
        assert re.search(r"inspector .*19 days late; 1 look.* Nobody yet", said)
        assert "14 Kiln Row" in text_of(client, f"{reverse('due')}?by=house")
        assert client.get(f"{reverse('due')}?by=colour").status_code == 404

    def test_nothing_is_due(self, cast: Cast) -> None:
        said = text_of(client_of(cast.owner), reverse("due"))
        assert "Nothing is overdue. Nothing is due in the next 30 days." in said

    def test_many_rows_cost_no_more_queries(self, cast: Cast, plans: list[Plan]) -> None:
        Plan.objects.update(last_on="2024-03-01")
        counts = []
        for _ in range(2):
            with CaptureQueriesContext(connection) as queries:
                client_of(cast.owner).get(reverse("due"))
            counts.append(len(queries))
            for _ in range(3):
                factories.plan(cast.organisation, last_on="2024-03-01")
        assert counts[0] == counts[1]


def test_the_drawing_names_houses_and_says_what_it_shows() -> None:
    marks = [agenda_svg.Mark(dt.date(2024, 1, 1), 3), agenda_svg.Mark(dt.date(2024, 7, 1), 1, is_paper=True)]
    drawn = agenda_svg.draw([agenda_svg.Line("14 <Kiln> Row", marks)] * 20, TODAY, "two looks")
    assert drawn.count("14 &lt;Kiln&gt; Row") == 2 * agenda_svg.MOST_HOUSES
    assert 'aria-label="What falls due, house by house. two looks"' in drawn
    assert 'class="errand late"' in drawn
    assert "rotate(45" in drawn


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        (4, "about 4 minutes"),
        (89, "about 89 minutes"),
        (95, "about 1 h 40 min"),
        (120, "about 2 h"),
        (119, "about 2 h"),
    ],
)
def test_minutes_in_words(minutes: int, said: str) -> None:
    assert due.taking(minutes) == said


def test_every_reason_has_its_words() -> None:
    assert set(due._WHY) == {choice for choice, _ in Plan._meta.get_field("reason").choices}


def test_a_month_shows_each_days_rounds_and_papers(cast: Cast, plans: list[Plan], paper: Paper) -> None:
    client = client_of(cast.owner)
    said = text_of(client, reverse("due-month"))
    assert "June 2024" in said
    assert "2 looks in 1 house and 1 paper are due in June, about 40 minutes on site. 3 are overdue" in said
    assert "14 Kiln Row (invented): Loose coping" in said
    assert "1 look" in text_of(client, f"{reverse('due-month')}?month=2024-07")
    for wrong in ("2024-13", "July", "0000-01"):
        assert client.get(f"{reverse('due-month')}?month={wrong}").status_code == 404


def test_the_round_sheet_says_what_to_read_where(cast: Cast, house: Building, plans: list[Plan]) -> None:
    reading = factories.reading(cast.organisation, section=plans[0].section, quantity="spall_area", unit="m2",
        value=0.4, entered_value="0.4", height_mm=None)  # fmt: skip
    client = client_of(cast.inspector)
    said = text_of(client, reverse("round", args=[house.pk]))
    assert "20 June 2024. 2 sections; about 40 minutes on site." in said
    assert "Fallen area, m²" in said
    assert f"0.4, {reading.taken_at.day} March 2024" in said
    assert "Can waitEast wall (E2): 1 July, the trial’s turn." in said
    assert "Before anyone works on this wall" in said
    assert "window well" in said
    later = text_of(client, f"{reverse('round', args=[house.pk])}?on=2024-07-02")
    assert "3 sections; about 60 minutes on site." in later


class TestOneLook:
    def test_is_put_off_with_a_reason(self, cast: Cast, plans: list[Plan]) -> None:
        client, address = client_of(cast.manager), reverse("due-item", args=[plans[0].pk])
        sent = {"do": "postpone", "postponed_to": "2024-07-15", "reason": "the cellar is let"}
        assert client.post(address, sent).status_code == 302
        said = text_of(client, address)
        assert "Put off from 1 June 2024: The cellar is let." in said
        assert "put off to 15 July 2024 by manager. The cellar is let." in said
        assert Plan.objects.get(pk=plans[0].pk).falls_on == dt.date(2024, 7, 15)

    @pytest.mark.parametrize(
        ("sent", "said"),
        [
            ({"postponed_to": "2024-06-19", "reason": "x"}, "Say a day after 2024-06-20"),
            ({"postponed_to": "soon", "reason": "x"}, "soon"),
            ({"postponed_to": "2024-07-15", "reason": ""}, "Write why"),
        ],
    )
    def test_what_is_wrong_is_said(
        self, cast: Cast, plans: list[Plan], sent: dict[str, str], said: str
    ) -> None:
        address = reverse("due-item", args=[plans[0].pk])
        answer = client_of(cast.manager).post(address, {"do": "postpone", **sent})
        assert answer.status_code == 200
        assert said in answer.content.decode()
        assert not Change.objects.exists()

    def test_is_handed_over(self, cast: Cast, plans: list[Plan]) -> None:
        client, address = client_of(cast.manager), reverse("due-item", args=[plans[0].pk])
        assert client.post(address, {"do": "hand-over", "person": "inspector"}).status_code == 302
        assert Plan.objects.get(pk=plans[0].pk).person == cast.inspector
        assert client.post(address, {"do": "hand-over", "person": "analyst"}).status_code == 200


class TestPolicy:
    def test_a_manager_sets_it(self, cast: Cast) -> None:
        client, address = client_of(cast.manager), reverse("policy-page")
        form = client.get(address).context["form"]
        sent = {name: form[name].value() for name in form.fields} | {"stable_months": "9"}
        assert client.post(address, sent)["Location"].startswith(reverse("due"))
        assert Policy.objects.get().stable_months == 9
        for wrong in ("0", "x", "", "1.5"):
            assert client.post(address, sent | {"stable_months": wrong}).status_code == 200
        assert Policy.objects.get().stable_months == 9

    def test_an_inspector_reads_it(self, cast: Cast) -> None:
        client, address = client_of(cast.inspector), reverse("policy-page")
        assert "Owners and managers set them." in text_of(client, address)
        assert client.post(address, {}).status_code == 403


class TestPapers:
    def test_one_comes_is_closed_and_keeps_its_document(self, cast: Cast, house: Building) -> None:
        client = client_of(cast.manager)
        address = reverse("new-paper", args=[house.pk])
        form = client.get(address).context["form"]
        sent = {
            "id": form["id"].value(),
            "kind": "permit",
            "title": "Pavement",
            "due_on": "2024-07-01",
            "state": "open",
        }
        there = client.post(address, sent)["Location"]
        own = Paper.objects.get()
        assert Plan.objects.get(paper=own).due_on == dt.date(2024, 7, 1)
        file = SimpleUploadedFile("permit.pdf", PDF, "application/pdf")
        assert client.post(there, {"file": file}).status_code == 302
        given = client.get(reverse("document", args=[own.pk]))
        assert b"".join(given.streaming_content) == PDF  # type: ignore[attr-defined]
        assert given["Content-Disposition"].startswith("attachment")
        assert client_of(cast.outsider).get(reverse("document", args=[own.pk])).status_code == 404
        assert "Permit: Pavement. Open, by 1 July 2024." in text_of(
            client, reverse("building", args=[house.pk])
        )
        closing = sent | {"state": "closed", "closed_on": ""}
        assert "write the day on which it was closed" in client.post(there, closing).content.decode()
        assert client.post(there, closing | {"closed_on": "2024-06-19"}).status_code == 302
        assert not Plan.objects.exists()
        own.refresh_from_db()
        assert (own.state, own.sha256 != "", own.content_type) == ("closed", True, "application/pdf")

    def test_a_file_of_another_type_is_refused(self, cast: Cast, paper: Paper) -> None:
        file = SimpleUploadedFile("notice.html", b"<script>alert(1)</script>", "text/html")
        answer = client_of(cast.manager).post(reverse("paper", args=[paper.pk]), {"file": file})
        assert answer.status_code == 200
        assert "Send a PDF or a picture of the sheet." in answer.content.decode()
        paper.refresh_from_db()
        assert paper.sha256 == ""
