"""Real servers on this machine: one that takes mails, one that takes webhooks, and a broker of our own."""

from __future__ import annotations

import email
import email.policy
import hashlib
import hmac
import json
import random
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, cast

import redis
from aiosmtpd.controller import Controller

from tests.support.services import missing

HOST = "127.0.0.1"
SECRET = "5eed" * 16


def free_port() -> int:
    with socket.socket() as free:
        free.bind((HOST, 0))
        return int(free.getsockname()[1])


@dataclass
class Post:
    """A mail server that keeps what it takes, a little slowly, so that somebody may die meanwhile."""

    delay: float = 0.0
    mails: list[EmailMessage] = field(default_factory=list)
    port: int = 0

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        import asyncio

        await asyncio.sleep(self.delay * random.random())
        message = email.message_from_bytes(envelope.content, policy=email.policy.default)
        message["X-To"] = envelope.rcpt_tos[0]
        self.mails.append(cast(EmailMessage, message))
        await asyncio.sleep(self.delay * random.random())
        return "250 taken"

    def to(self) -> list[str]:
        """The receiver of each mail."""
        return [str(mail["X-To"]) for mail in self.mails]

    def texts(self) -> list[str]:
        """The plain text of each mail."""
        bodies = [mail.get_body(("plain",)) for mail in self.mails]
        return [body.get_content() if body else "" for body in bodies]


@contextmanager
def mail_server(delay: float = 0.0) -> Iterator[Post]:
    post = Post(delay)
    controller = Controller(post, hostname=HOST, port=free_port(), ready_timeout=30)
    controller.start()
    post.port = controller.port
    try:
        yield post
    finally:
        controller.stop()


@dataclass
class Calls:
    """What a program was told: bodies by their id, each as often as it came; and what was wrong."""

    url: str = ""
    came: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)
    #: Of so many calls one is answered with an error, after it was taken.
    fails_one_in: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def take(self, headers: Any, body: bytes) -> int:
        signed = headers["Wythe-Timestamp"].encode() + b"." + body
        expected = hmac.new(SECRET.encode(), signed, hashlib.sha256).hexdigest()
        with self.lock:
            if not hmac.compare_digest(expected, headers["Wythe-Signature"]):
                self.wrong.append("signature")
            if abs(time.time() - int(headers["Wythe-Timestamp"])) > 60:
                self.wrong.append("timestamp")
            self.came.setdefault(headers["Wythe-Id"], []).append(json.loads(body))
            fails = self.fails_one_in and random.randrange(self.fails_one_in) == 0
        return 500 if fails else 204


@contextmanager
def webhook_receiver(fails_one_in: int = 0) -> Iterator[Calls]:
    calls = Calls(fails_one_in=fails_one_in)

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            self.send_response(calls.take(self.headers, body))
            self.end_headers()

        def log_message(self, *args: Any) -> None:
            pass

    server = ThreadingHTTPServer((HOST, 0), Handler)
    calls.url = f"http://{HOST}:{server.server_port}/told"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield calls
    finally:
        server.shutdown()
        server.server_close()


class Broker:
    """A Redis server of our own, which can be restarted; what it holds is lost with it."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        self.url = f"redis://{HOST}:{self.port}/0"
        self.start()

    def start(self) -> None:
        words = ["redis-server", "--bind", HOST, "--port", str(self.port), "--save", "", "--appendonly", "no"]
        try:
            self.process = subprocess.Popen(
                [*words, "--dir", str(self.folder)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
            )
        except FileNotFoundError:
            missing("no redis-server")
        client = redis.Redis.from_url(self.url)
        for _ in range(200):
            try:
                client.ping()
                return
            except redis.ConnectionError:
                time.sleep(0.05)
        raise RuntimeError("the broker does not answer")

    def restart(self) -> None:
        self.stop()
        self.start()

    def stop(self) -> None:
        self.process.kill()
        self.process.wait()


@contextmanager
def broker(folder: Path) -> Iterator[Broker]:
    running = Broker(folder)
    try:
        yield running
    finally:
        running.stop()
