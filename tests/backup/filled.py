"""Fills the database that ``DATABASE_URL`` names with at least one row of every table, and a photo's file.

``python -m tests.backup.filled``. All of it is invented.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory

SLUG = "kiln-row"
PASSWORD = "slaked lime and sharp sand"
KEY = "wythe_an-invented-key-that-opens-nothing"
PICTURE = b"\xff\xd8 not really a picture \x00\xff"
DIGEST = hashlib.sha256(PICTURE).hexdigest()
#: Quotation marks, a line end, signs of several scripts, and one that needs four bytes.
NOTE = "“soft”\n\tµ ≤ 5 · стена 🧱"
MICROSECOND = dt.datetime(2024, 2, 29, 12, 0, 0, 123456, tzinfo=dt.UTC)
#: A number that only all of its digits give back.
THIRD = 0.1 + 0.2


def fill() -> None:
    from django.conf import settings

    from inspections import models as seen
    from inspections.records import load_folder
    from portfolio import models as stands
    from portfolio.domain.tokens import digest_of
    from portfolio.models.history import Reassessment
    from tests.records.books import good_book, write_book

    with TemporaryDirectory() as folder:
        tables = good_book()
        write_book(Path(folder) / "book", tables)
        load_folder(Path(folder) / "book", SLUG)
        tables["readings"][0]["value"] = "41"
        write_book(Path(folder) / "corrected", tables)
        load_folder(Path(folder) / "corrected", SLUG)
    organisation = stands.Organisation.objects.get(slug=SLUG)
    user = stands.User.objects.create_user("owner", password=PASSWORD, first_name="Aoife")
    stands.Membership.objects.create(user=user, organisation=organisation, role="owner")
    stands.Token.objects.create(user=user, organisation=organisation, name="a program", digest=digest_of(KEY))
    section = stands.Section.objects.get(code="W1")
    Reassessment.objects.create(building=section.building)
    stands.Section.objects.filter(pk=section.pk).update(entered_by=user, length_m=THIRD)
    instrument = seen.Instrument.objects.get(code="M1")
    seen.CalibrationCheck.objects.create(
        instrument=instrument, checked_on="2024-02-29", reference=10, shown=11, note=NOTE
    )
    series = seen.LogSeries.objects.create(
        building=section.building, quantity="air_humidity", unit="percent_rh"
    )
    seen.LogValue.objects.create(series=series, at=MICROSECOND, value=THIRD)
    visit = seen.Visit.objects.first()
    photo = seen.Photo.objects.create(
        building=section.building,
        section=section,
        visit=visit,
        taken_at=MICROSECOND,
        sha256=DIGEST,
        content_type="image/jpeg",
        width=4000,
        height=3000,
        bytes=len(PICTURE),
        caption=NOTE,
    )
    seen.SharedSheet.objects.create(
        trial=seen.Trial.objects.get(), for_whom=NOTE, made_by=user, expires_at=MICROSECOND
    )
    seen.SharedCoatSheet.objects.create(
        organisation=organisation, coat="parge_coat,clay", for_whom=NOTE, made_by=user, expires_at=MICROSECOND
    )
    file = Path(settings.MEDIA_ROOT) / DIGEST[:2] / f"{DIGEST}.jpg"
    file.parent.mkdir(parents=True)
    file.write_bytes(PICTURE)
    assessment = seen.Assessment.objects.create(
        section=section,
        as_of="2024-03-01",
        model_version="1",
        verdict="stable",
        trapped_probability=THIRD,
        result={"a list": [1, None, THIRD, True], "note": NOTE},
    )
    seen.Replay.objects.create(
        section=section,
        made_at=MICROSECOND,
        model_version="1",
        looks=[{"as_of": "2024-03-01", "probability": THIRD}],
        digests=[DIGEST],
        readings=1,
        entered_later=0,
    )
    flag = seen.Flag.objects.create(
        section=section, verdict="trapped_water", opened_on="2024-03-01", opened_by=assessment
    )
    seen.Action.objects.create(
        section=section, flag=flag, kind="watch", done_on="2024-03-02", cost=Decimal("0.10"), photo=photo
    )
    seen.Upload.objects.create(
        organisation=organisation, by=user, name="kiln-row", rows=3, state="loaded", report={"left": [NOTE]}
    )
    paper = stands.Paper.objects.create(
        building=section.building,
        section=section,
        kind="violation",
        title=NOTE,
        due_on="2024-10-01",
        sha256=DIGEST,
        content_type="application/pdf",
        bytes=len(PICTURE),
    )
    seen.Policy.objects.create(organisation=organisation, stable_months=9)
    seen.TellingRules.objects.create(organisation=organisation, before_days=9)
    seen.MailSettings.objects.create(user=user, hour=5, calendar_digest=DIGEST)
    mail = seen.Mail.objects.create(
        person=user,
        day="2024-03-01",
        address="owner@example.org",
        state="sent",
        claim=section.pk,
        claimed_at=MICROSECOND,
        sent_at=MICROSECOND,
        error=NOTE,
    )
    told = {
        "subject": "flag",
        "subject_id": flag.pk,
        "day": "2024-03-01",
        "stage": "opened",
        "building": section.building,
        "section": section,
        "detail": {"probability": THIRD},
        "raised_at": MICROSECOND,
        "due_at": MICROSECOND,
        "state": "sent",
    }
    seen.Reminder.objects.create(organisation=organisation, person=user, mail=mail, handed_to=user, **told)
    hook = seen.Webhook.objects.create(organisation=organisation, url="https://walls.example.org", secret=KEY)
    seen.WebhookCall.objects.create(webhook=hook, error=NOTE, **told)
    plan = {"building": section.building, "section": section, "due_on": "2024-09-01", "reason": "policy"}
    seen.Plan.objects.create(**plan, person=user, postponed_to="2024-09-15", postponed_reason=NOTE)
    seen.Plan.objects.create(**{**plan, "reason": "paper"}, paper=paper, minutes=30)


if __name__ == "__main__":
    import django

    django.setup()
    fill()
