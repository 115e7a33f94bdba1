"""The endpoints of who is told of what."""

from __future__ import annotations

import json
import uuid
from typing import Any

import pytest
from django.test import Client

from inspections.models import MailSettings, Reminder, TellingRules, Webhook, WebhookCall
from portfolio.models import Change, Organisation, User
from tests.api import factories
from tests.api.base import EndpointTests
from tests.api.client import ROOT, Program, assert_problem, schema_of, validator
from tests.support.cast import Cast

URL = "https://walls.example.org/told"


class TestReminders(EndpointTests):
    endpoint = "reminders"
    model = Reminder

    def make(self, organisation: Organisation) -> Any:
        return factories.reminder(organisation)

    def test_tells_what_became_of_each(self, cast: Cast, analyst: Program) -> None:
        failed = factories.reminder(cast.organisation)
        waits = factories.reminder(cast.organisation, mail=None, state="due")
        (row,) = analyst.results("reminders/?state=failed")
        assert (row["id"], row["error"]) == (str(failed.pk), "The mail server refused it.")
        (row,) = analyst.results("reminders/?state=due")
        assert (row["id"], row["error"], row["mail_state"]) == (str(waits.pk), None, None)


class TestWebhooks(EndpointTests):
    endpoint = "webhooks"
    model = Webhook
    of_the_list = "GET, HEAD, POST"
    of_a_record = "GET, HEAD, DELETE"

    def make(self, organisation: Organisation) -> Any:
        return factories.webhook(organisation)

    def test_one_is_added_and_its_secret_shown_once(self, cast: Cast) -> None:
        manager = Program(cast.manager, cast.organisation)
        sent = {"id": str(uuid.uuid4()), "url": URL, "of_plans": False}
        answer = manager.send("POST", "webhooks/", sent)
        assert answer.status_code == 201, answer.content
        added = answer.json()
        secret = Webhook.objects.get().secret
        assert added["secret"] == secret
        assert len(bytes.fromhex(secret)) == 32
        assert (added["of_plans"], added["of_flags"]) == (False, True)
        again = manager.send("POST", "webhooks/", sent)
        assert (again.status_code, "secret" in again.json()) == (200, False)
        assert_problem(manager.send("POST", "webhooks/", {**sent, "url": f"{URL}/2"}), 409)
        shown = [manager.get(path).content.decode() for path in ("webhooks/", f"webhooks/{sent['id']}/")]
        assert not [
            text for text in [*shown, json.dumps(list(Change.objects.values("fields")))] if secret in text
        ]

    @pytest.mark.parametrize(
        "url",
        ["", "walls.example.org", "http://walls.example.org", "ftp://a.b", "https://a:b@c.d", "https://[::1"],
    )
    def test_a_bad_address_is_refused(self, cast: Cast, url: str) -> None:
        manager = Program(cast.manager, cast.organisation)
        problem = assert_problem(manager.send("POST", "webhooks/", {"url": url}), 400)
        assert problem["errors"][0]["field"] == "url"

    def test_one_is_removed_with_what_it_was_told(self, cast: Cast) -> None:
        owner = Program(cast.owner, cast.organisation)
        call = factories.webhook_call(cast.organisation)
        path = f"webhooks/{call.webhook.pk}/"
        assert_problem(owner.send("DELETE", path, None), 428)
        gone = owner.send("DELETE", path, None, **{"if-match": owner.get(path)["ETag"]})
        assert (gone.status_code, gone.content) == (204, b"")
        assert not WebhookCall.objects.exists()

    def test_only_owners_and_managers_decide(self, cast: Cast) -> None:
        hook = factories.webhook(cast.organisation)
        for person in (cast.inspector, cast.analyst):
            program = Program(person, cast.organisation)
            assert_problem(program.send("POST", "webhooks/", {"url": URL}), 403)
            assert_problem(program.send("DELETE", f"webhooks/{hook.pk}/", None, **{"if-match": "*"}), 403)
        outsider = Program(cast.outsider, cast.other_organisation)
        assert_problem(outsider.send("DELETE", f"webhooks/{hook.pk}/", None, **{"if-match": "*"}), 404)
        taken = outsider.send("POST", "webhooks/", {"id": str(hook.pk), "url": hook.url})
        assert_problem(taken, 409)


class TestWebhookCalls(EndpointTests):
    endpoint = "webhook-calls"
    model = WebhookCall

    def make(self, organisation: Organisation) -> Any:
        return factories.webhook_call(organisation)


class TestRules:
    path = "telling-rules/"

    def test_everybody_reads_the_usual_ones(self, cast: Cast) -> None:
        for member in cast.members:
            answer = Program(member, cast.organisation).get(self.path)
            validator(schema_of(self.path)).validate(answer.json())
            assert (answer.json()["before_days"], answer.json()["later_reach"]) == (7, "owner")

    def test_owners_and_managers_change_them(self, cast: Cast) -> None:
        manager = Program(cast.manager, cast.organisation)
        tag = manager.get(self.path)["ETag"]
        answer = manager.send("PATCH", self.path, {"before_days": 21}, **{"if-match": tag})
        assert (answer.status_code, answer.json()["before_days"]) == (200, 21)
        assert TellingRules.objects.of(cast.organisation).get().before_days == 21
        assert not TellingRules.objects.of(cast.other_organisation).exists()
        assert Change.objects.get().fields == {"before_days": [7, 21]}
        assert_problem(manager.send("PATCH", self.path, {"before_days": 22}), 428)
        assert_problem(manager.send("PATCH", self.path, {"before_days": 22}, **{"if-match": tag}), 412)
        inspector = Program(cast.inspector, cast.organisation)
        assert_problem(inspector.send("PATCH", self.path, {"before_days": 1}, **{"if-match": "*"}), 403)

    @pytest.mark.parametrize(
        "sent",
        [{"before_days": -1}, {"after_days": 30}, {"later_days": 366}, {"on_reach": "analyst"}, {"x": 1}, []],
    )
    def test_bad_values_are_refused(self, cast: Cast, sent: Any) -> None:
        owner = Program(cast.owner, cast.organisation)
        assert_problem(owner.send("PATCH", self.path, sent, **{"if-match": "*"}), 400)
        assert not Change.objects.exists()

    def test_nobody_else_reads_them(self, cast: Cast) -> None:
        assert_problem(Client().get(ROOT + self.path), 401)
        assert_problem(Program(cast.owner, cast.organisation).get(f"{self.path}?colour=red"), 400)


class TestMyMails:
    path = "my-mails/"

    def test_each_has_their_own(self, cast: Cast) -> None:
        analyst = Program(cast.analyst, cast.organisation)
        answer = analyst.get(self.path)
        validator(schema_of(self.path)).validate(answer.json())
        sent = {"email": "a@example.org", "timezone": "Europe/Brussels", "hour": 5, "wants_mail": False}
        changed = analyst.send("PATCH", self.path, sent, **{"if-match": answer["ETag"]})
        assert changed.status_code == 200, changed.content
        assert {**changed.json(), **sent} == changed.json()
        assert_problem(analyst.send("PATCH", self.path, {"hour": 6}, **{"if-match": answer["ETag"]}), 412)
        assert_problem(analyst.send("PATCH", self.path, {"hour": 6}), 428)
        person = User.objects.get(pk=cast.analyst.pk)
        assert (person.email, person.timezone, person.mail_settings.hour) == (
            "a@example.org",
            "Europe/Brussels",
            5,
        )
        assert Program(cast.owner, cast.organisation).get(self.path).json()["hour"] == 7
        assert MailSettings.objects.count() == 2

    @pytest.mark.parametrize(
        "sent",
        [{"hour": 24}, {"timezone": "Mars/Base"}, {"timezone": "../etc"}, {"email": "me"}, {"user": "x"}],
    )
    def test_bad_values_are_refused(self, cast: Cast, sent: Any) -> None:
        program = Program(cast.analyst, cast.organisation)
        assert_problem(program.send("PATCH", self.path, sent, **{"if-match": "*"}), 400)

    def test_nobody_else_reads_them(self, cast: Cast) -> None:
        assert_problem(Client().get(ROOT + self.path), 401)
