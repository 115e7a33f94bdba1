"""The proof with real processes: many who send, killed at random moments, and each person's mails counted.

`prove` is used by a short test and, at length, by `python -m tests.reminders.soak`.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from tests.reminders.filled import house_name
from tests.reminders.servers import HOST, SECRET, Calls, Post, broker, mail_server, webhook_receiver
from tests.support.databases import ROOT, Database

#: How long a claim lasts here; far longer than a mail takes, far shorter than anybody would wait.
CLAIM_SECONDS = 6
OTHERWISE_SET = ("REDIS_URL", "DATABASE_URL")


@dataclass(frozen=True)
class Sizes:
    """How much of everything."""

    reminders: int
    people: int
    senders: int
    kills: int
    #: Without schedulers there is no broker, and each sender is `run_due --loop`.
    schedulers: int = 0
    restarts: int = 0
    patience: float = 120.0
    delay: float = 0.02


@dataclass
class Report:
    """What was counted."""

    sizes: Sizes
    mails: int = 0
    sent: int = 0
    uncertain: int = 0
    uncertain_that_arrived: int = 0
    kills: int = 0
    restarts: int = 0
    calls: int = 0
    calls_twice: int = 0
    told_the_next_day: int = 0
    seconds: float = 0.0
    faults: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        size = self.sizes
        how = (
            f"{size.schedulers} beats, {size.senders} workers"
            if size.schedulers
            else f"{size.senders} processes of run_due"
        )
        return (
            f"{size.reminders} reminders to {size.people} people, {how}, {self.kills} killed with -9, "
            f"broker restarted {self.restarts} times: {self.mails} mails at the server, {self.sent} noted as "
            f"sent, {self.uncertain} uncertain (of which {self.uncertain_that_arrived} had arrived), "
            f"{self.told_the_next_day} of these told the next day; {self.calls} webhook calls, "
            f"{self.calls_twice} of them twice; faults: {self.faults or 'none'}; {self.seconds:.0f} s"
        )


class Senders:
    """Processes that send, each in a group of its own, so that it is killed with all its children."""

    def __init__(self, words: list[list[str]], environment: dict[str, str], log: IO[str]) -> None:
        self._words, self._environment, self._log = words, environment, log
        self.running = [self._start(own) for own in words]

    def _start(self, words: list[str]) -> subprocess.Popen[str]:
        return subprocess.Popen(
            words,
            cwd=ROOT,
            env=self._environment,
            stdout=self._log,
            stderr=self._log,
            text=True,
            start_new_session=True,
        )

    def kill_one(self) -> None:
        """Kill one at random, and start another in its place."""
        nth = random.randrange(len(self.running))
        _kill(self.running[nth])
        self.running[nth] = self._start(self._words[nth])

    def stop(self) -> None:
        for process in self.running:
            _kill(process)


def _kill(process: subprocess.Popen[str]) -> None:
    os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def prove(database: Database, folder: Path, sizes: Sizes) -> Report:
    """Let everybody be told by processes that are killed, and count what arrived."""
    started = time.monotonic()
    report = Report(sizes)
    with ExitStack() as stack:
        post = stack.enter_context(mail_server(sizes.delay))
        calls = stack.enter_context(webhook_receiver(fails_one_in=20))
        running = stack.enter_context(broker(folder)) if sizes.schedulers else None
        environment = _environment(database, post, running.url if running else "")
        _run(
            environment,
            "-m",
            "tests.reminders.filled",
            str(sizes.reminders),
            str(sizes.people),
            calls.url,
            SECRET,
        )
        log = stack.enter_context((folder / "log.txt").open("w"))
        senders = stack.enter_context(_running(sizes, environment, folder, log))
        _raised(database, sizes)
        database.write("UPDATE inspections_reminder SET due_at = raised_at")
        _until(sizes.patience, "the first mail", lambda: bool(post.mails))
        between = _Between(post, sizes)
        while not between.is_over:
            time.sleep(random.uniform(0.05, 0.6))
            if report.kills < between.kills_by_now:
                senders.kill_one()
                report.kills += 1
            if running and report.restarts < between.restarts_by_now:
                running.restart()
                report.restarts += 1
        _until(sizes.patience, "everybody to be told", lambda: _all_told(database))
        _count(database, post, report)
        _answered(database, calls, sizes, report)
        _next_day(database, post, sizes, report)
    _read_log(folder / "log.txt", report)
    report.seconds = time.monotonic() - started
    return report


class _Between:
    """When to kill: spread over the sending, by how many mails have arrived."""

    def __init__(self, post: Post, sizes: Sizes) -> None:
        self._post, self._sizes = post, sizes
        self._end = time.monotonic() + sizes.patience * 3

    @property
    def _share(self) -> float:
        # Some must be left to be told when the last is killed.
        return min(1.0, len(self._post.mails) / (0.9 * self._sizes.people))

    @property
    def kills_by_now(self) -> int:
        return round(self._sizes.kills * self._share)

    @property
    def restarts_by_now(self) -> int:
        return round(self._sizes.restarts * self._share)

    @property
    def is_over(self) -> bool:
        assert time.monotonic() < self._end, f"only {len(self._post.mails)} mails came"
        return self._share >= 1.0


def _environment(database: Database, post: Post, redis_url: str) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name not in OTHERWISE_SET}
    ours = {
        "DJANGO_SETTINGS_MODULE": "portfolio.settings",
        "DATABASE_URL": database.url,
        "EMAIL_HOST": HOST,
        "EMAIL_PORT": str(post.port),
        "EMAIL_FROM": "walls@example.org",
        "EMAIL_TIMEOUT": "3",
        "WYTHE_MAIL_SECONDS": "1",
        "WYTHE_RAISE_SECONDS": "2",
        "WYTHE_LOOK_SECONDS": "2",
        "WYTHE_CLAIM_SECONDS": str(CLAIM_SECONDS),
        "WYTHE_WEBHOOKS_TO_PRIVATE": "yes",
    }
    return {**kept, **ours, **({"REDIS_URL": redis_url} if redis_url else {})}


@contextmanager
def _running(sizes: Sizes, environment: dict[str, str], folder: Path, log: IO[str]) -> Iterator[Senders]:
    python = sys.executable
    celery = [python, "-m", "celery", "-A", "portfolio"]
    with ExitStack() as stack:
        if sizes.schedulers:
            beats = [
                [*celery, "beat", f"--schedule={folder}/beat{number}", "--pidfile=", "--loglevel=ERROR"]
                for number in range(sizes.schedulers)
            ]
            stack.callback(Senders(beats, environment, log).stop)
            words = [
                [*celery, "worker", "--pool=solo", f"--hostname=w{number}@here", "--loglevel=ERROR"]
                for number in range(sizes.senders)
            ]
        else:
            words = [[python, "manage.py", "run_due", "--loop", "--pause=0.3"]] * sizes.senders
        senders = Senders(words, environment, log)
        stack.callback(senders.stop)
        yield senders


def _run(environment: dict[str, str], *arguments: str) -> None:
    done = subprocess.run(
        [sys.executable, *arguments], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def _until(patience: float, what: str, found: Callable[[], Any]) -> None:
    deadline = time.monotonic() + patience
    while not found():
        assert time.monotonic() < deadline, f"waited in vain for {what}"
        time.sleep(0.2)


# What is counted -----------------------------------------------------------------------------------------


def _raised(database: Database, sizes: Sizes) -> None:
    """All who schedule have looked, some of them at the same time, and each thing has one row."""

    def rows() -> int:
        return int(database.rows("SELECT count(*) FROM inspections_reminder")[0][0])

    _until(sizes.patience, "the reminders to be raised", lambda: rows() >= sizes.reminders)
    time.sleep(3)
    assert rows() == sizes.reminders


def _all_told(database: Database) -> bool:
    """Nobody waits any longer; what a killed process had claimed would come a minute later, and comes now."""
    database.write("UPDATE inspections_reminder SET due_at = raised_at WHERE state = 'failed'")
    waiting = "SELECT count(*) FROM inspections_reminder WHERE state NOT IN ('sent', 'uncertain')"
    return database.rows(waiting) == [(0,)]


def _count(database: Database, post: Post, report: Report) -> None:
    """Each person has had one mail, with all that was theirs; who is uncertain, one or none."""
    states = dict(database.rows("SELECT state, count(*) FROM inspections_mail GROUP BY state"))
    report.sent, report.uncertain = states.pop("sent", 0), states.pop("uncertain", 0)
    assert not states, states
    arrived = Counter(post.to())
    report.mails = sum(arrived.values())
    of_state = database.rows("SELECT address, state FROM inspections_mail")
    unsure = {address for address, state in of_state if state == "uncertain"}
    report.uncertain_that_arrived = sum(arrived[address] for address in unsure)
    for address, state in of_state:
        allowed = (1,) if state == "sent" else (0, 1)
        if arrived[address] not in allowed:
            report.faults.append(f"{address}: {arrived[address]} mails, {state}")
    told = Counter(
        number
        for text in post.texts()
        for number in range(report.sizes.reminders)
        if house_name(number) in text
    )
    report.faults += [
        f"{house_name(number)}: told {count} times" for number, count in told.items() if count > 1
    ]
    rows = database.rows(
        "SELECT b.name, r.state FROM inspections_reminder r JOIN portfolio_building b ON b.id = r.building_id"
    )
    numbers = {house_name(number): number for number in range(report.sizes.reminders)}
    report.faults += [
        f"{name}: sent, but in no mail" for name, state in rows if state == "sent" and not told[numbers[name]]
    ]


def _answered(database: Database, calls: Calls, sizes: Sizes, report: Report) -> None:
    """Every call came, signed; one that came twice had the same id and said the same."""
    waiting = "SELECT count(*) FROM inspections_webhookcall WHERE state <> 'sent'"
    # Those whose first try failed, or whose caller was killed, come within the minute.
    database.write("UPDATE inspections_webhookcall SET due_at = raised_at WHERE state = 'failed'")

    def done() -> bool:
        database.write("UPDATE inspections_webhookcall SET due_at = raised_at WHERE state = 'failed'")
        return database.rows(waiting) == [(0,)]

    _until(sizes.patience, "the webhook calls", done)
    report.calls = len(calls.came)
    report.calls_twice = sum(len(bodies) > 1 for bodies in calls.came.values())
    report.faults += calls.wrong
    if report.calls != sizes.reminders:
        report.faults.append(f"{report.calls} calls of {sizes.reminders}")
    if any(body != bodies[0] for bodies in calls.came.values() for body in bodies):
        report.faults.append("a repeated call said something else")


def _next_day(database: Database, post: Post, sizes: Sizes, report: Report) -> None:
    """What is uncertain is told in the next day's mail, which says that it may be known already."""
    unsure = database.rows("SELECT id FROM inspections_reminder WHERE state = 'uncertain'")
    if not unsure:
        return
    before = len(post.mails)
    yesterday = "date(day, '-1 day')" if database.on_sqlite else "day - 1"
    database.write(f"UPDATE inspections_mail SET day = {yesterday}")
    database.write("UPDATE inspections_reminder SET due_at = raised_at WHERE state = 'uncertain'")
    left = "SELECT count(*) FROM inspections_reminder WHERE state <> 'sent'"
    _until(sizes.patience, "the next day's mails", lambda: database.rows(left) == [(0,)])
    texts = post.texts()[before:]
    report.told_the_next_day = sum(text.count("may have reached you already") for text in texts)
    if report.told_the_next_day != len(unsure):
        report.faults.append(f"{report.told_the_next_day} of {len(unsure)} uncertain ones told the next day")


def _read_log(path: Path, report: Report) -> None:
    """Nobody met a lock, and nothing failed but what was killed or lost its broker."""
    text = path.read_text()
    report.faults += [line for line in text.splitlines() if "locked" in line or "IntegrityError" in line][:5]
    if "Traceback" in text and not report.sizes.restarts:
        report.faults.append(text[text.index("Traceback") :][:2000])
