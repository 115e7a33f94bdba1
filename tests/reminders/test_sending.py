"""One mail a person a day; every row told once; and what becomes of a mail that was not, or perhaps, sent."""

from __future__ import annotations

import datetime as dt
import smtplib
from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.mail import EmailMessage
from django.core.mail.backends.locmem import EmailBackend

from inspections.domain.telling import claiming, sending
from inspections.domain.telling.answering import change_wishes
from inspections.domain.telling.raising import raise_reminders
from inspections.domain.telling.sending import send_due
from inspections.models import Mail, Plan, Reminder
from inspections.vocabulary import Delivery
from tests.api import factories
from tests.reminders.houses import DAY, NOW, due, told, wants
from tests.support.cast import Cast

Mails = list[EmailMessage]
#: The next time that it is seven in the morning in UTC.
SEVEN = dt.datetime(2026, 3, 6, 7, 0, tzinfo=dt.UTC)


def at(moment: dt.datetime) -> Callable[[], dt.datetime]:
    return lambda: moment


@pytest.fixture
def waiting(people: Cast) -> Plan:
    """Something due, which the inspector is to be told tomorrow at seven."""
    plan = due(people.organisation, 0)
    assert raise_reminders(people.organisation, NOW) == 1
    return plan


def test_nothing_is_sent_before_its_hour_and_all_of_it_then_once(waiting: Plan, mailoutbox: Mails) -> None:
    assert send_due(at(SEVEN - dt.timedelta(seconds=1))) == 0
    assert send_due(at(SEVEN)) == 1
    assert send_due(at(SEVEN)) == 0
    (mail,) = mailoutbox
    assert mail.to == ["inspector@example.org"]
    assert told() == [("inspector", "on", "sent")]
    row = Reminder.objects.get()
    assert (row.sent_at, row.mail.state, row.mail.day) == (SEVEN, "sent", SEVEN.date())


def test_everything_of_a_day_is_one_mail_and_what_comes_later_waits_for_the_next(
    people: Cast, waiting: Plan, mailoutbox: Mails
) -> None:
    due(people.organisation, 0)
    raise_reminders(people.organisation, NOW)
    assert send_due(at(SEVEN)) == 1
    due(people.organisation, 0)
    raise_reminders(people.organisation, SEVEN + dt.timedelta(hours=1))
    assert send_due(at(SEVEN + dt.timedelta(hours=2))) == 0
    assert send_due(at(SEVEN + DAY)) == 1
    assert len(mailoutbox) == 2


def test_a_mail_that_is_late_goes_as_soon_as_it_can(waiting: Plan, mailoutbox: Mails) -> None:
    assert send_due(at(SEVEN + dt.timedelta(hours=9))) == 1


def test_what_was_settled_meanwhile_is_not_told(people: Cast, waiting: Plan, mailoutbox: Mails) -> None:
    Plan.objects.update(due_on=waiting.due_on + 90 * DAY)
    assert send_due(at(SEVEN)) == 0
    assert (mailoutbox, told()) == ([], [("inspector", "on", "settled")])
    assert not Mail.objects.exists()


@pytest.mark.parametrize("how", ["wants none", "no address", "account closed"])
def test_who_can_not_or_will_not_be_written_to_gets_nothing(
    people: Cast, waiting: Plan, mailoutbox: Mails, how: str
) -> None:
    person = people.inspector
    if how == "wants none":
        wants(person, wants_mail=False)
    elif how == "no address":
        person.email = ""
    else:
        person.is_active = False
    person.save()
    assert send_due(at(SEVEN)) == 0
    assert mailoutbox == []


def test_without_a_mail_server_nothing_is_raised_or_sent(people: Cast, settings: Any) -> None:
    settings.EMAIL_HOST = ""
    due(people.organisation, 0)
    assert raise_reminders(people.organisation, NOW) == 0
    assert send_due(at(SEVEN)) == 0


def test_two_claims_at_once_are_one(people: Cast, waiting: Plan) -> None:
    first = claiming.claim(people.inspector, SEVEN, urgent=False)
    assert first is not None
    assert claiming.claim(people.inspector, SEVEN, urgent=False) is None
    assert Mail.objects.count() == 1


# What goes wrong -------------------------------------------------------------------------------------------


class Failing(EmailBackend):
    """A server that says no, or is lost."""

    error: Exception
    opening: bool = False

    def open(self) -> None:
        if self.opening:
            raise self.error

    def send_messages(self, messages: Any) -> int:
        raise self.error


def fail(monkeypatch: pytest.MonkeyPatch, error: Exception, *, opening: bool = False) -> None:
    monkeypatch.setattr(Failing, "error", error, raising=False)
    monkeypatch.setattr(Failing, "opening", opening)
    monkeypatch.setattr(sending, "get_connection", Failing)


REFUSED = smtplib.SMTPRecipientsRefused({"inspector@example.org": (550, b"no such box")})


@pytest.mark.parametrize(("error", "opening"), [(REFUSED, False), (ConnectionRefusedError(), True)])
def test_what_was_surely_not_sent_is_tried_again_later_and_later(
    waiting: Plan, mailoutbox: Mails, monkeypatch: pytest.MonkeyPatch, error: Exception, opening: bool
) -> None:
    with monkeypatch.context() as patch:
        fail(patch, error, opening=opening)
        moment = SEVEN
        for pause in claiming.PAUSES:
            assert send_due(at(moment)) == 0
            assert Reminder.objects.get().due_at == moment + pause
            assert send_due(at(moment + pause - dt.timedelta(seconds=1))) == 0
            moment += pause
        assert Mail.objects.get().state == Delivery.FAILED
    assert send_due(at(moment)) == 1
    assert Mail.objects.get().state == Delivery.SENT
    assert len(mailoutbox) == 1


def test_a_day_of_failures_ends_in_the_next_days_mail(
    waiting: Plan, mailoutbox: Mails, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        fail(patch, REFUSED)
        moment = SEVEN
        for pause in (*claiming.PAUSES, dt.timedelta()):
            send_due(at(moment))
            moment += pause
    row = Reminder.objects.get()
    assert (row.state, row.due_at, row.attempts) == (Delivery.FAILED, SEVEN + DAY, 0)
    assert send_due(at(SEVEN + DAY)) == 1
    assert sorted(Mail.objects.values_list("day", "state")) == [
        (SEVEN.date(), "failed"),
        ((SEVEN + DAY).date(), "sent"),
    ]


def test_what_was_perhaps_sent_is_never_resent_but_told_the_next_day(
    waiting: Plan, mailoutbox: Mails, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        fail(patch, smtplib.SMTPServerDisconnected("gone"))
        assert send_due(at(SEVEN)) == 0
    assert told() == [("inspector", "on", "uncertain")]
    for hours in range(1, 24):
        assert send_due(at(SEVEN + dt.timedelta(hours=hours))) == 0
    assert send_due(at(SEVEN + DAY)) == 1
    assert "may have reached you already" in mailoutbox[0].body
    assert list(Mail.objects.order_by("day").values_list("state", flat=True)) == ["uncertain", "sent"]
    assert told() == [("inspector", "on", "sent")]


@pytest.mark.parametrize(
    ("handed", "state"), [(False, Delivery.FAILED), (True, Delivery.UNCERTAIN)], ids=["before", "after"]
)
def test_who_died_before_handing_over_has_sent_nothing_and_who_died_after_perhaps(
    people: Cast, waiting: Plan, mailoutbox: Mails, settings: Any, handed: bool, state: Delivery
) -> None:
    mail = claiming.claim(people.inspector, SEVEN, urgent=False)
    assert mail is not None
    if handed:
        assert claiming.hand_over(mail, SEVEN)
    gone = SEVEN + dt.timedelta(seconds=settings.CLAIM_SECONDS + 1)
    assert claiming.recover(SEVEN) == 0
    assert claiming.recover(gone) == 1
    assert Mail.objects.get().state == state
    # The dead one comes back to life: it has lost the mail, and gives nothing to the server.
    assert not claiming.hand_over(mail, gone)
    sent = send_due(at(gone + claiming.PAUSES[0]))
    assert sent == (0 if handed else 1)
    assert send_due(at(SEVEN + DAY)) == (1 if handed else 0)
    assert len(mailoutbox) == 1


def test_a_process_that_was_only_slow_notes_what_it_sent(people: Cast, waiting: Plan, settings: Any) -> None:
    mail = claiming.claim(people.inspector, SEVEN, urgent=False)
    assert mail is not None
    assert claiming.hand_over(mail, SEVEN)
    claiming.recover(SEVEN + dt.timedelta(seconds=settings.CLAIM_SECONDS + 1))
    claiming.note_sent(mail, SEVEN)
    assert told() == [("inspector", "on", "sent")]


def test_a_letter_that_can_not_be_written_holds_up_nobody_else(
    people: Cast, waiting: Plan, mailoutbox: Mails, monkeypatch: pytest.MonkeyPatch
) -> None:
    from inspections.web.mails import letter

    monkeypatch.setattr(letter, "item", lambda *_: 1 / 0)
    assert send_due(at(SEVEN)) == 1
    assert "due" in mailoutbox[0].body
    monkeypatch.setattr(letter, "letters", None)
    due(people.organisation, 0)
    raise_reminders(people.organisation, SEVEN)
    assert send_due(at(SEVEN + DAY)) == 0
    assert Mail.objects.get(state=Delivery.FAILED).error.startswith("It could not be written")


def test_who_has_left_is_told_nothing_more(people: Cast, waiting: Plan, mailoutbox: Mails) -> None:
    people.inspector.memberships.all().delete()
    assert send_due(at(SEVEN)) == 0
    assert told() == [("inspector", "on", "settled")]


def test_a_clock_that_goes_back_an_hour_sends_nothing_twice(waiting: Plan, mailoutbox: Mails) -> None:
    assert send_due(at(SEVEN)) == 1
    for minutes in range(-60, 60, 10):
        assert send_due(at(SEVEN + dt.timedelta(minutes=minutes))) == 0
    assert len(mailoutbox) == 1


@pytest.mark.parametrize("first", [dt.date(2026, 3, 26), dt.date(2026, 10, 22)], ids=["spring", "autumn"])
def test_when_the_clocks_change_each_day_has_its_mail_at_its_hour(
    people: Cast, mailoutbox: Mails, first: dt.date
) -> None:
    """Six days about the change in Brussels (29 March and 25 October 2026), looked at each hour."""
    person = people.inspector
    person.timezone = "Europe/Brussels"
    person.save()
    zone = ZoneInfo(person.timezone)
    moment = dt.datetime.combine(first, dt.time(), zone).astimezone(dt.UTC)
    sent: list[dt.datetime] = []
    for _ in range(6 * 24):
        if moment.hour == 12:
            factories.plan(people.organisation, due_on=moment.date(), person=person)
            raise_reminders(people.organisation, moment)
        if send_due(at(moment)):
            sent.append(moment.astimezone(zone))
        moment += dt.timedelta(hours=1)
    assert [when.date() for when in sent] == [first + nth * DAY for nth in range(1, 6)]
    assert {(when.hour, when.minute) for when in sent} == {(7, 0)}
    assert len(mailoutbox) == 5


def test_who_changes_the_hour_gets_what_waits_at_the_new_one(waiting: Plan, people: Cast) -> None:
    change_wishes(person=people.inspector, values={"hour": 15}, now=NOW)
    assert Reminder.objects.get().due_at == NOW + dt.timedelta(hours=3)
    change_wishes(person=people.inspector, values={"timezone": "Asia/Tokyo"}, now=NOW)
    assert Reminder.objects.get().due_at == dt.datetime(2026, 3, 6, 6, 0, tzinfo=dt.UTC)
    change_wishes(person=people.inspector, values={"wants_mail": False}, now=NOW)
    assert Reminder.objects.get().state == Delivery.SETTLED
