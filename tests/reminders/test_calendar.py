"""A person's calendar at a secret address, read back by the library for calendars."""

from __future__ import annotations

import datetime as dt
from typing import Any

import icalendar
import pytest
from django.test import Client

from inspections.domain.telling.calendars import calendar_of, open_calendar
from inspections.models import Action, MailSettings, Plan
from tests.api import factories
from tests.reminders.houses import DAY, NOW, TODAY, due
from tests.support.cast import Cast, client_of


def events(answer: bytes) -> list[Any]:
    return list(icalendar.Calendar.from_ical(answer).walk("VEVENT"))


def test_a_round_is_one_event_with_all_its_walls(cast: Cast) -> None:
    house = factories.building(cast.organisation, name="Kiln House", street="14 Kiln Row", locality="Ostle")
    for _ in range(2):
        wall = factories.section(cast.organisation, building=house)
        Plan.objects.create(building=house, section=wall, due_on=TODAY + 3 * DAY, reason="policy")
    Plan.objects.create(building=house, due_on=TODAY + 30 * DAY, reason="policy")
    due(cast.organisation, 500)
    due(cast.other_organisation, 3)
    first, second = events(calendar_of(cast.analyst, NOW))
    assert str(first["summary"]) == "Kiln House: 2 stretches of wall"
    assert (first.decoded("dtstart"), first.decoded("dtend")) == (TODAY + 3 * DAY, TODAY + 4 * DAY)
    assert str(first["location"]) == "14 Kiln Row, Ostle"
    assert str(wall.code) in str(first["description"])
    assert str(second["summary"]) == "Kiln House: the whole house"


def test_the_same_thing_keeps_its_uid(cast: Cast) -> None:
    due(cast.organisation, 3)
    (before,) = events(calendar_of(cast.owner, NOW))
    (after,) = events(calendar_of(cast.owner, NOW + DAY))
    assert before["uid"] == after["uid"]


def test_papers_and_follow_ups_are_there(cast: Cast) -> None:
    paper = factories.paper(cast.organisation, title="Loose coping")
    Plan.objects.create(building=paper.building, paper=paper, due_on=TODAY, reason="paper")
    action = factories.action(cast.organisation, follow_up_on=TODAY + 90 * DAY)
    factories.action(cast.other_organisation, follow_up_on=TODAY)
    Action.objects.filter(pk=action.pk).update(note="x" * 300)
    summaries = [str(event["summary"]) for event in events(calendar_of(cast.owner, NOW))]
    assert summaries[0].endswith("Paper: Loose coping")
    assert summaries[1].startswith("Did it help? Kiln House (invented): stripped")
    assert len(summaries) == 2


def test_odd_names_do_not_break_the_file(cast: Cast) -> None:
    house = factories.building(cast.organisation, name="Kiln; House, \\ “soft”\r\nBEGIN:VEVENT" + "ü" * 100)
    Plan.objects.create(building=house, due_on=TODAY, reason="policy")
    answer = calendar_of(cast.owner, NOW)
    assert len(events(answer)) == 1
    assert max(len(line) for line in answer.split(b"\r\n")) <= 75  # RFC 5545, section 3.1


class TestAddress:
    def ask(self, secret: str) -> Any:
        return Client().get(f"/calendar/{secret}.ics")

    def test_who_has_it_reads_without_signing_in(self, cast: Cast) -> None:
        due(cast.organisation, 3)
        secret = open_calendar(cast.owner)
        answer = self.ask(secret)
        assert (answer.status_code, answer["Content-Type"]) == (200, "text/calendar; charset=utf-8")
        assert "no-store" in answer["Cache-Control"]
        assert len(secret) >= 43  # 32 bytes in base 64
        assert secret not in str(MailSettings.objects.values_list())

    def test_a_new_one_ends_the_old_and_it_can_be_taken_back(self, cast: Cast, settings: Any) -> None:
        settings.SITE_URL = "https://walls.example.org"
        client = client_of(cast.owner)
        secrets = []
        for _ in range(2):
            page = client.post("/mails/", {"do": "open-calendar"}).content.decode()
            secrets.append(page.partition("https://walls.example.org/calendar/")[2].partition(".ics")[0])
        assert [self.ask(secret).status_code for secret in secrets] == [404, 200]
        assert secrets[1] not in client.get("/mails/").content.decode()
        client.post("/mails/", {"do": "close-calendar"})
        assert self.ask(secrets[1]).status_code == 404

    @pytest.mark.parametrize("secret", ["None", "x", "%00", "a" * 500])
    def test_any_other_leads_nowhere(self, cast: Cast, secret: str) -> None:
        MailSettings.objects.create(user=cast.owner)
        assert self.ask(secret).status_code == 404

    def test_a_closed_account_has_none(self, cast: Cast) -> None:
        secret = open_calendar(cast.owner)
        cast.owner.is_active = False
        cast.owner.save()
        assert self.ask(secret).status_code == 404


def test_it_reaches_400_days_ahead(cast: Cast) -> None:
    due(cast.organisation, 400)
    due(cast.organisation, 401)
    (event,) = events(calendar_of(cast.owner, NOW))
    assert event.decoded("dtstart") - NOW.date() == dt.timedelta(days=400)
