"""What the links of mails do: nothing when looked at, and by one press what they say."""

from __future__ import annotations

import datetime as dt
from typing import Any
from unittest import mock

import pytest
from django.core import signing
from django.test import Client
from django.utils import timezone

from inspections.domain.telling import links
from inspections.domain.telling.answering import give_to, tell_later
from inspections.domain.telling.links import Do
from inspections.domain.telling.raising import raise_all
from inspections.domain.telling.sending import send_due
from inspections.models import MailSettings, Plan, Reminder
from portfolio.domain.refusals import Invalid
from portfolio.models import Change
from tests.reminders.houses import DAY, NOW, TODAY, due, person_of, told
from tests.reminders.test_raising import read
from tests.support.cast import Cast

SEVEN = dt.datetime(2026, 3, 6, 7, 0, tzinfo=dt.UTC)


def browser() -> Client:
    """Somebody without a session, to whom forged forms would be refused."""
    return Client(enforce_csrf_checks=True)


def path(url: str) -> str:
    return url.removeprefix("https://walls.example.org")


@pytest.fixture
def row(people: Cast) -> Reminder:
    due(people.organisation, 0)
    raise_all(NOW)
    send_due(lambda: SEVEN)
    return Reminder.objects.get()


class TestEnd:
    def test_a_look_ends_nothing_and_a_press_does_without_signing_in(
        self, people: Cast, row: Reminder
    ) -> None:
        where = path(links.to_end(people.inspector))
        assert "No more mails" in browser().get(where).content.decode()
        assert not MailSettings.objects.filter(wants_mail=False).exists()
        # As a program for mail presses it (RFC 8058, section 3.2).
        pressed = browser().post(where, {"List-Unsubscribe": "One-Click"})
        assert pressed.status_code == 200
        assert MailSettings.objects.get().wants_mail is False
        assert browser().post(where).status_code == 200
        due(people.organisation, 0)
        raise_all(NOW)
        assert Reminder.objects.filter(person=people.inspector).count() == 1

    def test_its_link_never_grows_old(self, people: Cast) -> None:
        with mock.patch.object(signing.time, "time", return_value=0.0):
            where = path(links.to_end(people.inspector))
        assert browser().post(where).status_code == 200


class TestLater:
    def test_a_look_does_nothing(self, row: Reminder) -> None:
        assert "In 7 days" in browser().get(path(links.to_answer(Do.LATER, row))).content.decode()
        assert Reminder.objects.count() == 1

    def test_one_press_and_it_is_told_again_then_and_not_before(self, people: Cast, row: Reminder) -> None:
        pressed = browser().post(path(links.to_answer(Do.LATER, row)), {"days": "7"})
        assert "You are told of it again on" in pressed.content.decode()
        again = Reminder.objects.get(stage="again")
        assert again.day == timezone.now().date() + 7 * DAY
        assert (again.due_at.hour, again.person) == (7, people.inspector)

    def test_until_then_no_stage_is_told_but_others_are(
        self, people: Cast, row: Reminder, mailoutbox: list[Any]
    ) -> None:
        tell_later(reminder=row, days=20, now=SEVEN)
        assert raise_all(NOW + 10 * DAY) == 1
        assert ("manager", "after", "due") in told()
        assert ("inspector", "after", "due") not in told()
        mailoutbox.clear()
        assert send_due(lambda: SEVEN + 20 * DAY) == 2
        (mail,) = [one for one in mailoutbox if one.to == ["inspector@example.org"]]
        assert "You asked to be told again." in mail.body
        assert raise_all(NOW + 40 * DAY) == 3

    def test_a_second_press_moves_it(self, row: Reminder) -> None:
        for days in (7, 7, 3):
            tell_later(reminder=row, days=days, now=SEVEN)
        assert [one.day for one in Reminder.objects.filter(stage="again")] == [SEVEN.date() + 3 * DAY]

    def test_what_was_done_meanwhile_is_not_told_again(self, row: Reminder) -> None:
        tell_later(reminder=row, days=7, now=SEVEN)
        Plan.objects.update(due_on=TODAY + 180 * DAY)
        assert send_due(lambda: SEVEN + 7 * DAY) == 0

    @pytest.mark.parametrize("days", ["0", "91", "", "-3", "1e1", "٣", "9999999999"])
    def test_other_days_are_refused(self, row: Reminder, days: str) -> None:
        pressed = browser().post(path(links.to_answer(Do.LATER, row)), {"days": days})
        assert "from 1 to 90" in pressed.content.decode()
        assert Reminder.objects.count() == 1


class TestHandOver:
    def test_somebody_else_is_told_from_now_on_and_goes(
        self, people: Cast, row: Reminder, mailoutbox: list[Any]
    ) -> None:
        where = path(links.to_answer(Do.HAND_OVER, row))
        assert "manager" in browser().get(where).content.decode()
        pressed = browser().post(where, {"to": str(people.manager.pk)})
        assert "manager is told from now on" in pressed.content.decode()
        assert Plan.objects.get().person == people.manager
        assert Change.objects.filter(reason="handed over").get().by == people.inspector
        handed = Reminder.objects.get(stage="handed")
        assert (handed.person, handed.detail["from"]) == (people.manager, "inspector")
        mailoutbox.clear()
        Reminder.objects.filter(stage="handed").update(due_at=SEVEN + DAY)
        assert send_due(lambda: SEVEN + DAY) == 1
        assert "inspector has handed it to you." in mailoutbox[0].body
        raise_all(NOW + 8 * DAY)
        assert {who for who, stage, _ in told() if stage == "after"} == {"manager"}

    def test_what_can_not_wait_is_handed_over_at_once(self, people: Cast, mailoutbox: list[Any]) -> None:
        read(people, "radon", 500.0)
        raise_all(NOW)
        give_to(reminder=Reminder.objects.get(person=people.inspector), to=people.owner, now=NOW)
        assert send_due(lambda: NOW) == 2
        bodies = [mail.body for mail in mailoutbox if mail.to == ["owner@example.org"]]
        assert len(bodies) == 1
        assert "Radon 500" in bodies[0]
        assert "inspector has handed it to you." in bodies[0]

    def test_it_can_be_handed_on_and_back(self, people: Cast, row: Reminder) -> None:
        give_to(reminder=row, to=people.manager, now=SEVEN)
        second = Reminder.objects.get(person=people.manager, stage="handed")
        give_to(reminder=second, to=people.inspector, now=SEVEN)
        raise_all(NOW + 8 * DAY)
        assert {who for who, stage, _ in told() if stage == "after"} == {"inspector"}

    def test_only_to_others_of_the_organisation_who_can_be_written_to(
        self, people: Cast, row: Reminder
    ) -> None:
        silent = person_of(people.organisation, "manager")
        silent.email = ""
        silent.save()
        for person in (people.outsider, people.inspector, people.analyst, silent):
            with pytest.raises(Invalid):
                give_to(reminder=row, to=person, now=SEVEN)
            pressed = browser().post(path(links.to_answer(Do.HAND_OVER, row)), {"to": str(person.pk)})
            assert "Choose somebody of the list." in pressed.content.decode()
        assert Reminder.objects.filter(handed_to__isnull=False).count() == 0


class TestForged:
    def test_a_link_that_was_changed_or_is_old_does_nothing(self, people: Cast, row: Reminder) -> None:
        good = links.token(Do.LATER, row.pk)
        with mock.patch.object(signing.time, "time", return_value=0.0):
            old = links.token(Do.LATER, row.pk)
        other_salt = signing.dumps(["later", str(row.pk)], salt="other")
        for text in (good[:-1] + "x", "x" + good, old, other_salt, "nonsense", "a:b:c"):
            answer = browser().post(f"/mails/{text}/", {"days": "7"})
            assert answer.status_code == 404
            assert "old, or not whole" in answer.content.decode()
        assert Reminder.objects.count() == 1

    def test_a_link_does_not_outlast_the_membership(self, people: Cast, row: Reminder) -> None:
        people.inspector.memberships.all().delete()
        for do, sent in ((Do.LATER, {"days": "7"}), (Do.HAND_OVER, {"to": str(people.manager.pk)})):
            assert browser().post(path(links.to_answer(do, row)), sent).status_code == 404
        assert Reminder.objects.count() == 1

    def test_a_link_of_something_gone_is_not_found(self, row: Reminder) -> None:
        where = path(links.to_answer(Do.LATER, row))
        row.delete()
        assert browser().get(where).status_code == 404

    def test_other_methods_are_refused(self, row: Reminder) -> None:
        assert browser().delete(path(links.to_answer(Do.LATER, row))).status_code == 405
