"""The pages of telling: for members alone, each their own; and deciding for owners and managers."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from inspections.models import MailSettings, Reminder, TellingRules, Webhook, WebhookCall
from portfolio.models import User
from tests.api import factories
from tests.reminders.houses import due
from tests.support.cast import Cast, client_of

RULES, HOOKS, LOG, MINE = "/reminders/rules/", "/webhooks/", "/reminders/", "/mails/"
SENT = {
    "is_on": "on", "before_days": "14", "before_reach": "manager", "on_reach": "inspector",
    "after_days": "7", "after_reach": "manager", "later_days": "30", "later_reach": "owner",
    "flag_reach": "manager", "unanswered_days": "7", "unanswered_reach": "owner", "danger_reach": "owner",
}  # fmt: skip


def text(answer: Any) -> str:
    assert answer.status_code == 200, answer.status_code
    return str(answer.content.decode())


class TestAccess:
    @pytest.mark.parametrize("path", [RULES, HOOKS, LOG, MINE])
    def test_nobody_else_sees_them(self, cast: Cast, path: str) -> None:
        answer = Client().get(path)
        assert (answer.status_code, answer.url) == (302, f"/sign-in/?next={path}")

    def test_who_decides(self, cast: Cast) -> None:
        for person in cast.members:
            may = person in (cast.owner, cast.manager)
            for path in (RULES, HOOKS):
                assert client_of(person).get(path).status_code == (200 if may else 403)
            assert ("Rules of telling" in text(client_of(person).get(LOG))) == may

    def test_another_organisations_is_not_there(self, cast: Cast) -> None:
        hook = factories.webhook(cast.organisation)
        row = factories.reminder(cast.organisation)
        client = client_of(cast.outsider)
        assert client.get(f"{HOOKS}{hook.pk}/").status_code == 404
        assert client.post(f"{HOOKS}{hook.pk}/").status_code == 404
        for path in (RULES, HOOKS, LOG):
            assert client.get(f"{path}?organisation=larch-row").status_code == 404
        assert row.person.username not in text(client.get(LOG))
        assert Webhook.objects.exists()


class TestLog:
    def test_what_is_in_doubt_comes_first(self, cast: Cast) -> None:
        factories.reminder(cast.organisation)
        stuck = factories.reminder(cast.organisation, state="claimed")
        stuck.mail.claimed_at = timezone.now() - dt.timedelta(days=1)
        stuck.mail.save()
        claimed = factories.reminder(cast.organisation, state="claimed")
        claimed.mail.claimed_at = timezone.now()
        claimed.mail.save()
        factories.webhook_call(cast.organisation, state="failed", error="It answered 500.", attempts=2)
        page = text(client_of(cast.analyst).get(LOG))
        doubt, everything = page.split('id="all"')
        assert "The mail server refused it." in doubt
        assert "Being sent for too long" in doubt
        assert "failed, to be tried again (2 tries)" in doubt.lower()
        assert claimed.person.username not in doubt
        assert claimed.person.username in everything

    def test_times_are_the_readers(self, cast: Cast) -> None:
        User.objects.filter(pk=cast.owner.pk).update(timezone="Asia/Tokyo")
        factories.reminder(
            cast.organisation, state="sent", sent_at=dt.datetime(2026, 3, 5, 20, 0, tzinfo=dt.UTC)
        )
        assert "6 Mar 2026 05:00, sent" in text(client_of(cast.owner).get(LOG))

    def test_without_a_mail_server_it_says_so(self, cast: Cast) -> None:
        assert "EMAIL_HOST" in text(client_of(cast.owner).get(LOG))

    def test_long_logs_have_pages_and_few_queries(
        self, cast: Cast, django_assert_max_num_queries: Any
    ) -> None:
        for _ in range(101):
            plan = due(cast.organisation, 0)
            Reminder.objects.create(
                organisation=cast.organisation, person=cast.owner, subject="plan", subject_id=plan.pk,
                day=plan.due_on, stage="on", building=plan.building, section=plan.section,
                raised_at=timezone.now(), due_at=timezone.now(),
            )  # fmt: skip
        client = client_of(cast.owner)
        with django_assert_max_num_queries(12):
            assert "Earlier ones" in text(client.get(LOG))
        assert "Later ones" in text(client.get(f"{LOG}?page=2"))


class TestRules:
    def test_they_are_kept(self, cast: Cast) -> None:
        client = client_of(cast.manager)
        answer = client.post(RULES, SENT, follow=True)
        assert "The rules are kept." in text(answer)
        rules = TellingRules.objects.of(cast.organisation).get()
        assert (rules.before_days, rules.before_reach) == (14, "manager")
        assert 'value="14"' in text(client.get(RULES))

    @pytest.mark.parametrize(
        ("name", "value"), [("later_days", "5"), ("before_days", "-1"), ("on_reach", "x")]
    )
    def test_wrong_ones_are_not(self, cast: Cast, name: str, value: str) -> None:
        page = text(client_of(cast.owner).post(RULES, {**SENT, name: value}))
        assert "Nothing was saved" in page
        assert TellingRules.objects.get().revision == 1

    def test_an_inspector_changes_none(self, cast: Cast) -> None:
        assert client_of(cast.inspector).post(RULES, SENT).status_code == 403
        assert not TellingRules.objects.exists()


class TestWebhooks:
    def test_one_is_added_looked_at_and_removed(self, cast: Cast) -> None:
        client = client_of(cast.owner)
        page = text(client.post(HOOKS, {"url": "https://walls.example.org/told", "of_plans": "on"}))
        hook = Webhook.objects.get()
        assert hook.secret in page
        assert hook.secret not in text(client.get(HOOKS))
        assert (hook.of_plans, hook.of_flags) == (True, False)
        factories.webhook_call(cast.organisation, webhook=hook, state="failed", error="It answered 500.")
        assert "It answered 500." in text(client.get(f"{HOOKS}{hook.pk}/"))
        assert "told no more" in text(client.post(f"{HOOKS}{hook.pk}/", follow=True))
        assert not WebhookCall.objects.exists()

    def test_a_bad_address_is_named(self, cast: Cast) -> None:
        page = text(client_of(cast.owner).post(HOOKS, {"url": "http://walls.example.org"}))
        assert "with https" in page
        assert not Webhook.objects.exists()


class TestMine:
    def test_each_keeps_their_own(self, cast: Cast) -> None:
        sent = {"email": "a@example.org", "wants_mail": "on", "hour": "6", "timezone": "Europe/Brussels"}
        assert "Kept." in text(client_of(cast.analyst).post(MINE, sent, follow=True))
        person = User.objects.get(pk=cast.analyst.pk)
        assert (person.email, person.timezone, person.mail_settings.hour) == (
            "a@example.org",
            "Europe/Brussels",
            6,
        )
        assert MailSettings.objects.count() == 1

    @pytest.mark.parametrize(
        ("name", "value"), [("email", "me"), ("hour", "24"), ("timezone", "../etc/passwd")]
    )
    def test_wrong_values_are_named(self, cast: Cast, name: str, value: str) -> None:
        sent = {"email": "a@example.org", "wants_mail": "on", "hour": "6", "timezone": "UTC", name: value}
        assert "Nothing was saved" in text(client_of(cast.owner).post(MINE, sent))
        assert User.objects.get(pk=cast.owner.pk).email == ""


def test_the_log_says_who_can_be_written_to(people: Cast) -> None:
    User.objects.filter(pk=people.owner.pk).update(email="")
    MailSettings.objects.create(user=people.manager, wants_mail=False)
    page = text(client_of(people.inspector).get(LOG))
    for line in (
        "analyst, analyst: is told nothing, as one who only reads.",
        "inspector, inspector: at 07:00, UTC.",
        "manager, manager: wants no mails.",
        "owner, owner: no address yet.",
    ):
        assert line in page
    assert "example.org" not in page
