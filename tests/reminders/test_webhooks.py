"""Programs that are told: signed, tried again, and never led into a private network."""

from __future__ import annotations

import datetime as dt
import hashlib
import hmac
import json
import socket
import threading
from collections.abc import Callable
from typing import Any

import pytest

from inspections.domain.telling import calling, outward
from inspections.domain.telling.calling import call_due
from inspections.domain.telling.outward import Refused, checked, is_public, post
from inspections.domain.telling.raising import raise_all
from inspections.models import Webhook, WebhookCall
from inspections.vocabulary import Delivery
from tests.api import factories
from tests.reminders.houses import NOW, due
from tests.reminders.servers import HOST, SECRET, webhook_receiver
from tests.reminders.test_raising import flag_of, read
from tests.support.cast import Cast


def at(moment: dt.datetime) -> Callable[[], dt.datetime]:
    return lambda: moment


@pytest.fixture
def hook(cast: Cast, settings: Any) -> Webhook:
    settings.WEBHOOKS_TO_PRIVATE = True
    return factories.webhook(cast.organisation, secret=SECRET, url="https://walls.example.org/told")


def answering(monkeypatch: pytest.MonkeyPatch, answer: int | Exception) -> list[tuple[bytes, dict[str, str]]]:
    """What is posted, to a program that answers so."""
    posted = []

    def take(url: str, body: bytes, headers: dict[str, str]) -> int:
        posted.append((body, headers))
        if isinstance(answer, Exception):
            raise answer
        return answer

    monkeypatch.setattr(calling, "post", take)
    return posted


class TestCalls:
    def test_a_program_is_told_once_at_each_stage_without_any_mail_server(
        self, cast: Cast, hook: Webhook, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        posted = answering(monkeypatch, 204)
        plan = due(cast.organisation, -40)
        due(cast.other_organisation, -40)
        assert (raise_all(NOW), raise_all(NOW)) == (1, 0)
        assert (call_due(at(NOW)), call_due(at(NOW))) == (1, 0)
        (body, headers) = posted[0]
        said = json.loads(body)
        assert (said["stage"], said["subject_id"], said["section"]) == (
            "later",
            str(plan.pk),
            plan.section.code,
        )
        assert said["organisation"] == "larch-row"
        assert said["id"] == headers["Wythe-Id"] == str(WebhookCall.objects.get().pk)
        assert WebhookCall.objects.get().state == Delivery.SENT

    def test_it_is_signed_as_is_said(
        self, cast: Cast, hook: Webhook, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        posted = answering(monkeypatch, 204)
        due(cast.organisation, 0)
        raise_all(NOW)
        call_due(at(NOW))
        ((body, headers),) = posted
        assert headers["Wythe-Timestamp"] == str(int(NOW.timestamp()))
        said = headers["Wythe-Timestamp"].encode() + b"." + body
        assert headers["Wythe-Signature"] == hmac.digest(SECRET.encode(), said, "sha256").hex()

    def test_signatures_are_hmac_sha256(self) -> None:
        """RFC 4231, test case 2."""
        key, data = "Jefe", b"what do ya want for nothing?"
        published = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
        assert hmac.new(key.encode(), data, hashlib.sha256).hexdigest() == published
        assert calling.signature(key, "1", b"x") == hmac.new(b"Jefe", b"1.x", "sha256").hexdigest()

    @pytest.mark.parametrize("answer", [500, 302, 404, ConnectionRefusedError("no"), Refused("private")])
    def test_what_is_not_answered_is_tried_later_and_later_and_at_last_given_up(
        self, cast: Cast, hook: Webhook, monkeypatch: pytest.MonkeyPatch, answer: int | Exception
    ) -> None:
        posted = answering(monkeypatch, answer)
        due(cast.organisation, 0)
        raise_all(NOW)
        moment = NOW
        for pause in (*calling.PAUSES, dt.timedelta(days=30)):
            assert call_due(at(moment)) == 0
            assert call_due(at(moment + pause - dt.timedelta(seconds=1))) == 0
            moment += pause
        call_due(at(moment))
        assert len(posted) == len(calling.PAUSES) + 1
        assert len({headers["Wythe-Id"] for _, headers in posted}) == 1
        call = WebhookCall.objects.get()
        assert (call.state, call.status) == ("failed", answer if isinstance(answer, int) else None)
        assert call.error

    def test_who_died_while_calling_is_followed_by_another_under_the_same_id(
        self, cast: Cast, hook: Webhook, monkeypatch: pytest.MonkeyPatch, settings: Any
    ) -> None:
        posted = answering(monkeypatch, 204)
        due(cast.organisation, 0)
        raise_all(NOW)
        WebhookCall.objects.update(state="claimed", claimed_at=NOW, attempts=1)
        assert call_due(at(NOW)) == 0
        assert call_due(at(NOW + dt.timedelta(seconds=settings.CLAIM_SECONDS + 1))) == 1
        assert len(posted) == 1

    def test_it_is_told_of_what_it_wants_alone(self, people: Cast, hook: Webhook) -> None:
        Webhook.objects.update(of_plans=False, of_flags=False)
        due(people.organisation, 0)
        flag_of(people, 0)
        read(people, "radon", 500.0)
        raise_all(NOW)
        assert [call.stage for call in WebhookCall.objects.all()] == ["danger"]
        Webhook.objects.update(is_on=False)
        assert call_due(at(NOW)) == 0


class TestAddresses:
    @pytest.mark.parametrize(
        "address",
        [
            "127.0.0.1", "10.1.2.3", "172.16.0.1", "192.168.1.1", "169.254.169.254", "0.0.0.0", "100.64.0.1",
            "224.0.0.1", "255.255.255.255", "198.18.0.1", "::1", "::", "fe80::1", "fe80::1%eth0", "fc00::1",
            "ff02::1", "::ffff:127.0.0.1", "::ffff:10.0.0.1", "64:ff9b::7f00:1", "64:ff9b::a00:1",
            "2002:7f00:1::", "2001:0:7f00:1::", "2001:db8::1", "192.0.2.1",
        ],
    )  # fmt: skip
    def test_private_ones_are_known_in_whichever_way_they_are_written(self, address: str) -> None:
        assert not is_public(address)

    @pytest.mark.parametrize("address", ["8.8.8.8", "2606:4700::1111", "::ffff:8.8.8.8"])
    def test_public_ones_too(self, address: str) -> None:
        assert is_public(address)

    @pytest.mark.parametrize(
        "url",
        [
            "https://127.0.0.1/", "https://localhost/", "https://[::1]/", "https://0x7f.1/", "https://2130706433/",
            "https://0177.0.0.1/", "https://127.1/",
        ],
    )  # fmt: skip
    def test_none_of_this_machine_is_called(self, url: str, monkeypatch: pytest.MonkeyPatch) -> None:
        def connected(*arguments: Any, **options: Any) -> None:
            pytest.fail("connected")

        monkeypatch.setattr(outward.socket, "create_connection", connected)
        with pytest.raises((Refused, OSError)):
            post(url, b"{}", {})

    def test_a_name_with_one_private_address_is_refused(self, monkeypatch: pytest.MonkeyPatch) -> None:
        found = [(0, 0, 0, "", (address, 443)) for address in ("8.8.8.8", "10.0.0.1")]
        monkeypatch.setattr(outward.socket, "getaddrinfo", lambda *a, **k: found)
        with pytest.raises(Refused, match="private network"):
            post("https://walls.example.org/", b"{}", {})

    def test_the_name_is_looked_up_once(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """A name that changes its address between the look and the call leads to the one looked at."""
        answers = [[(0, 0, 0, "", ("8.8.8.8", 443))], [(0, 0, 0, "", ("127.0.0.1", 443))]]
        called: list[str] = []

        def connect(address: tuple[str, int], *arguments: Any) -> None:
            called.append(address[0])
            raise ConnectionRefusedError

        monkeypatch.setattr(outward.socket, "getaddrinfo", lambda *a, **k: answers.pop(0))
        monkeypatch.setattr(outward.socket, "create_connection", connect)
        with pytest.raises(ConnectionRefusedError):
            post("https://walls.example.org/", b"{}", {})
        assert (called, len(answers)) == (["8.8.8.8"], 1)

    @pytest.mark.parametrize(
        "url",
        [
            "http://walls.example.org/",
            "ftp://walls.example.org/",
            "https://",
            "https://a:99999/",
            "https://u:p@a/",
        ],
    )
    def test_what_may_not_be_called_is_refused_as_it_is_entered(self, url: str) -> None:
        with pytest.raises(Refused):
            checked(url)


class TestRealReceiver:
    def test_a_call_arrives(self, settings: Any) -> None:
        settings.WEBHOOKS_TO_PRIVATE = True
        with webhook_receiver() as calls:
            body = b'{"id": 1}'
            stamp = str(int(dt.datetime.now(dt.UTC).timestamp()))
            signed = calling.signature(SECRET, stamp, body)
            headers = {"Wythe-Id": "1", "Wythe-Timestamp": stamp, "Wythe-Signature": signed}
            assert post(calls.url, body, headers) == 204
        assert (calls.came, calls.wrong) == ({"1": [{"id": 1}]}, [])

    @pytest.mark.parametrize(
        "answer", [b"nonsense\r\n\r\n", b"", b"HTTP/1.1 302 Found\r\nLocation: /x\r\n\r\n"]
    )
    def test_a_strange_answer_is_an_error_and_none_is_followed(self, settings: Any, answer: bytes) -> None:
        settings.WEBHOOKS_TO_PRIVATE = True
        asked = []
        with socket.create_server((HOST, 0)) as server:

            def serve() -> None:
                connection, _ = server.accept()
                with connection:
                    asked.append(connection.recv(65536))
                    connection.sendall(answer)

            thread = threading.Thread(target=serve)
            thread.start()
            url = f"http://{HOST}:{server.getsockname()[1]}/told?x=1"
            if answer.startswith(b"HTTP"):
                assert post(url, b"{}", {}) == 302
            else:
                with pytest.raises(OSError, match=r"HTTP|closed|reset"):
                    post(url, b"{}", {})
            thread.join()
        assert asked[0].startswith(b"POST /told?x=1 HTTP/1.1\r\n")
