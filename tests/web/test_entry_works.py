"""Entering treatments, events, answers to flags, trials and people, and who may."""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from inspections.models import Action, Allocation, Flag, Photo, Reading, Trial
from portfolio.models import Change, Event, Membership, Treatment, User
from portfolio.vocabulary import Role, Units
from tests.photos.pictures import camera_jpeg
from tests.support.cast import PASSWORD, Cast, client_of
from tests.web.houses import TODAY, Kiln, kiln_row, trial
from tests.web.test_entry_visit import WHEN, Sent

pytestmark = pytest.mark.django_db


@pytest.fixture
def kiln(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> Kiln:
    noon = dt.datetime.combine(TODAY, dt.time(12), dt.UTC)
    monkeypatch.setattr("django.utils.timezone.now", lambda: noon)
    return kiln_row(cast.organisation)


@pytest.fixture
def media(settings: Any, tmp_path: Path) -> Path:
    settings.MEDIA_ROOT = tmp_path
    return tmp_path


@pytest.fixture
def client(cast: Cast) -> Client:
    return client_of(cast.manager)


def filled(client: Client, address: str, **typed: str) -> dict[str, str]:
    """The page's form as a browser would send it, with these values typed in."""
    response = client.get(address)
    assert response.status_code == 200
    return Sent(response.content.decode()).fields | typed


# Work and events --------------------------------------------------------------------------------------------


def test_a_treatment_is_entered_once_however_often_it_is_sent(client: Client, cast: Cast, kiln: Kiln) -> None:
    address = reverse("new-treatment", args=[kiln.quiet.pk])
    sent = filled(
        client, address, kind="limewash", binder="CL 90", thickness_mm="0,5", cost="120", currency="EUR"
    )
    assert (sent["layer"], sent["applied_on"]) == ("2", "2025-02-10")
    sent.pop("found")
    for _ in range(2):
        assert client.post(address, sent)["Location"] == reverse("section", args=[kiln.quiet.pk])
    made = Treatment.objects.get(section=kiln.quiet, kind="limewash")
    assert (made.layer, made.thickness_mm, made.cost, made.found) == (2, 0.5, Decimal("120.00"), False)
    assert made.entered_by == cast.manager
    assert (
        "Written down: 2025 limewash."
        in client.get(reverse("section", args=[kiln.quiet.pk])).content.decode()
    )
    # The currency is remembered.
    assert filled(client, reverse("new-event", args=[kiln.wet.pk]))["currency"] == "EUR"


def test_inches_and_square_feet_are_kept_in_millimetres_and_square_metres(
    client: Client, cast: Cast, kiln: Kiln
) -> None:
    cast.manager.units = Units.US
    cast.manager.save()
    address = reverse("new-treatment", args=[kiln.bare.pk])
    assert "Thickness, in" in client.get(address).content.decode()
    sent = filled(client, address, kind="parge_coat", thickness_mm="0.75", area_m2="10")
    sent.pop("found")
    client.post(address, sent)
    made = Treatment.objects.get(section=kiln.bare)
    # By the definitions of inch and foot: 25.4 mm and 0.3048 m.
    assert (made.thickness_mm, made.area_m2) == (19.05, pytest.approx(0.92903, abs=1e-6))


def test_what_is_wrong_in_a_treatment_is_named_and_all_is_kept(client: Client, kiln: Kiln) -> None:
    address = reverse("new-treatment", args=[kiln.quiet.pk])
    sent = filled(client, address, thickness_mm="thick", strength_mpa="-2", mix="1:3", cost="a lot")
    sent.pop("found")
    markup = client.post(address, sent).content.decode()
    assert "Choose what was put on." in markup
    markup = client.post(address, sent | {"kind": "plaster"}).content.decode()
    assert "&#x27;thick&#x27; is not a number; write digits with a decimal point, such as 3.5." in markup
    assert "&#x27;-2&#x27; is below 0." in markup
    assert '<details class="more" open>' in markup
    kept = Sent(markup).fields
    assert (kept["mix"], kept["thickness_mm"], kept["cost"]) == ("1:3", "thick", "a lot")
    assert not Treatment.objects.filter(section=kiln.quiet, kind="plaster").exists()


def test_a_coat_that_stands_already_is_not_entered_again(client: Client, kiln: Kiln) -> None:
    address = reverse("new-treatment", args=[kiln.wet.pk])
    sent = filled(client, address, kind="parge_coat", layer="1", applied_on="2016-05-01")
    sent.pop("found")
    assert "There is a treatment with the same" in client.post(address, sent).content.decode()


def test_a_coat_comes_off_with_its_reason_in_the_history(client: Client, kiln: Kiln) -> None:
    coat = Treatment.objects.get(section=kiln.wet)
    address = reverse("remove-treatment", args=[coat.pk])
    assert address in client.get(reverse("section", args=[kiln.wet.pk])).content.decode()
    early = filled(client, address, removed_on="2001-01-01", removal_reason="failed")
    assert "2001-01-01 is before applied_on" in client.post(address, early).content.decode()
    for _ in range(2):
        sent = filled(client, address, removed_on="2025-02-01", removal_reason="failed")
        assert client.post(address, sent).status_code == 302
    coat.refresh_from_db()
    assert (coat.removed_on, coat.removal_reason, coat.binder) == (
        dt.date(2025, 2, 1), "failed", "portland_cement",
    )  # fmt: skip
    assert Change.objects.get(record_id=coat.pk).reason == "came off: failed"
    assert address not in client.get(reverse("section", args=[kiln.wet.pk])).content.decode()


def test_events_of_a_section_and_of_a_house(client: Client, kiln: Kiln) -> None:
    address = reverse("new-event", args=[kiln.wet.pk]) + "?kind=source_check"
    sent = filled(client, address, note="Gutter choked with leaves.")
    assert sent["kind"] == "source_check"
    for _ in range(2):
        client.post(address, sent)
    check = Event.objects.get(section=kiln.wet, happened_on=TODAY)
    assert (check.kind, check.note) == ("source_check", "Gutter choked with leaves.")
    house = reverse("new-house-event", args=[kiln.building.pk])
    client.post(house, filled(client, house, kind="flood", note="To the second step."))
    assert Event.objects.get(section=None, happened_on=TODAY).building == kiln.building


# Flags ------------------------------------------------------------------------------------------------------


def test_a_flag_is_acknowledged_confirmed_checked_and_closed_by_an_action(
    client: Client, cast: Cast, kiln: Kiln
) -> None:
    flag = Flag.objects.get(section=kiln.wet)
    address = reverse("flag", args=[flag.pk])
    assert address in client.get(reverse("section", args=[kiln.wet.pk])).content.decode()
    for _ in range(2):
        assert client.post(address, {"do": "acknowledge"})["Location"] == address
    assert "Write why; it stays in the history." in client.post(address, {"do": "confirm"}).content.decode()
    for _ in range(2):
        client.post(address, {"do": "confirm", "confirm-reason": "Drummy from door to corner."})
    flag.refresh_from_db()
    assert (flag.state, flag.reason, flag.answered_by) == (
        "confirmed", "Drummy from door to corner.", cast.manager,
    )  # fmt: skip
    assert Change.objects.filter(record_id=flag.pk).count() == 2

    # The source comes before the coat.
    markup = client.get(address).content.decode()
    assert "First: where does the water come from?" in markup
    assert "Save what was done" not in markup
    assert "Silica dust" in markup
    sent = Sent(markup).fields | {"do": "check", "check-note": "Downpipe split at the shoe."}
    for _ in range(2):
        client.post(address, sent)
    assert Event.objects.get(section=kiln.wet, happened_on=TODAY).kind == "source_check"

    markup = client.get(address).content.decode()
    assert "Downpipe split at the shoe." in markup
    done = {"act-kind": "watch", "act-follow_up_on": "2025-05-01"}
    client.post(address, Sent(markup).fields | done | {"do": "act"})
    flag.refresh_from_db()
    assert flag.state == "confirmed"
    done = {"act-kind": "source_mended", "act-cost": "85.50", "act-currency": "EUR"}
    sent = Sent(client.get(address).content.decode()).fields | done | {"do": "act"}
    for _ in range(2):
        assert client.post(address, sent)["Location"] == reverse("section", args=[kiln.wet.pk])
    flag.refresh_from_db()
    assert flag.state == "closed"
    assert [(one.kind, one.cost, one.flag_id) for one in Action.objects.order_by("kind")] == [
        ("source_mended", Decimal("85.50"), flag.pk), ("watch", None, flag.pk),
    ]  # fmt: skip
    assert "nothing to answer" in client.get(address).content.decode()


def test_what_was_done_has_its_photo_and_the_readings_say_whether_it_helped(
    client: Client, kiln: Kiln, media: Path
) -> None:
    flag = Flag.objects.get(section=kiln.wet)
    Flag.objects.update(state="confirmed", reason="it ran", opened_on=TODAY)
    Event.objects.create(building=kiln.building, section=kiln.wet, happened_on=TODAY, kind="source_check")
    address = reverse("flag", args=[flag.pk])
    markup = client.get(address).content.decode()
    assert f"{reverse('new-event', args=[kiln.wet.pk])}?kind=opening" in markup
    done = {
        "do": "act",
        "act-kind": "patch",
        "act-note": "Lime, two coats.",
        "act-follow_up_on": "2025-08-01",
    }
    sent = {name: value for name, value in (Sent(markup).fields | done).items() if name != "act-photo"}
    refused = client.post(address, sent | {"act-photo": SimpleUploadedFile("x.jpg", b"no picture")})
    assert refused.status_code == 200
    assert not Action.objects.exists()
    for _ in range(2):
        photo = SimpleUploadedFile("wall.jpg", camera_jpeg(), "image/jpeg")
        assert client.post(address, sent | {"act-photo": photo}).status_code == 302
    (action,) = Action.objects.all()
    assert (action.photo.section, action.photo.caption) == (kiln.wet, "Lime, two coats.")
    assert Photo.objects.count() == 1
    page = client.get(reverse("section", args=[kiln.wet.pk])).content.decode()
    assert "To be looked at again 1 August 2025. The readings: Too few visits to tell" in page


def test_nothing_is_done_before_the_flag_is_confirmed_and_its_source_looked_for(
    client: Client, kiln: Kiln
) -> None:
    flag = Flag.objects.get(section=kiln.wet)
    address = reverse("flag", args=[flag.pk])
    sent = {"do": "act", "act-id": str(uuid.uuid4()), "act-kind": "recoat", "act-done_on": "2025-02-10"}
    for state in ("opened", "confirmed"):
        Flag.objects.filter(pk=flag.pk).update(state=state, reason="so")
        assert "write the source check down first" in client.post(address, sent).content.decode()
    assert not Action.objects.exists()


def test_a_reason_has_room_for_what_the_history_holds(client: Client, kiln: Kiln) -> None:
    address = reverse("flag", args=[Flag.objects.get(section=kiln.wet).pk])
    long = client.post(address, {"do": "confirm", "confirm-reason": "a" * 501}).content.decode()
    assert "There is room for 500 characters; shorten it." in long
    assert Sent(long).fields["confirm-reason"].strip() == "a" * 501


def test_an_action_is_dated_in_order(client: Client, kiln: Kiln) -> None:
    flag = Flag.objects.get(section=kiln.wet)
    Flag.objects.filter(pk=flag.pk).update(state="confirmed", reason="so")
    Event.objects.create(
        building=kiln.building, section=kiln.wet, kind="source_check", happened_on=flag.opened_on
    )
    address = reverse("flag", args=[flag.pk])
    sent = filled(client, address, do="act", **{"act-kind": "patch", "act-follow_up_on": "2025-01-01"})
    markup = client.post(address, sent).content.decode()
    assert "2025-01-01 is before done_on" in markup
    assert Sent(markup).fields["act-kind"] == "patch"
    assert not Action.objects.exists()


def test_a_flag_is_dismissed_with_a_reason_and_then_rests(client: Client, kiln: Kiln) -> None:
    flag = Flag.objects.get(section=kiln.wet)
    address = reverse("flag", args=[flag.pk])
    client.post(address, {"do": "dismiss", "dismiss-reason": "The meter was on a nail."})
    flag.refresh_from_db()
    assert (flag.state, flag.reason) == ("dismissed", "The meter was on a nail.")
    refused = client.post(address, {"do": "confirm", "confirm-reason": "It is so."}).content.decode()
    assert "This flag is dismissed and can&#x27;t be confirmed any more." in refused


# Trials -----------------------------------------------------------------------------------------------------


def test_a_trial_and_its_sections(client: Client, cast: Cast, kiln: Kiln) -> None:
    address = reverse("new-trial") + "?organisation=larch-row"
    sent = filled(client, address, question="Does lime last longer?", code="T9")
    for _ in range(2):
        response = client.post(address, sent)
    made = Trial.objects.get(code="T9")
    own = reverse("trial", args=[made.pk])
    assert response["Location"] == own
    allocation = {"section_id": str(kiln.wet.pk), "arm": "lime", "allocated_by": "random"}
    sent = filled(client, own, **allocation)
    for _ in range(2):
        assert client.post(own, sent)["Location"] == own
    assert [(one.section, one.arm) for one in Allocation.objects.all()] == [(kiln.wet, "lime")]
    again = Sent(client.get(own).content.decode()).fields
    assert again["allocated_by"] == "random"
    twice = client.post(own, again | allocation | {"arm": "cement"}).content.decode()
    assert "There is a allocation with the same" in twice or "There is an allocation" in twice
    assert client.get("/").content.decode().count(own) == 1


def test_an_analyst_reads_a_trial_without_forms(cast: Cast, kiln: Kiln) -> None:
    made = trial(cast.organisation, (kiln.wet, kiln.quiet), "random", "T1")
    markup = client_of(cast.analyst).get(reverse("trial", args=[made.pk])).content.decode()
    assert "14 Kiln Row, North wall (N1)</a>" in markup
    assert "at random" in markup
    assert "Add a section" not in markup


# People -----------------------------------------------------------------------------------------------------


def test_an_owner_lets_people_in_and_gives_roles(cast: Cast) -> None:
    client = client_of(cast.owner)
    address = reverse("people") + "?organisation=larch-row"
    sent = filled(client, address, username="mason", role="inspector", password="short")
    sent.pop("member")
    markup = client.post(address, sent).content.decode()
    assert "too short" in markup
    assert Sent(markup).fields["password"] != "short"
    for _ in range(2):
        assert client.post(address, sent | {"password": PASSWORD})["Location"] == address
    member = Membership.objects.get(user__username="mason")
    assert member.role == Role.INSPECTOR
    assert User.objects.get(username="mason").check_password(PASSWORD)
    client.post(address, {"member": str(member.pk), "role": "analyst"})
    member.refresh_from_db()
    assert member.role == Role.ANALYST
    own = Membership.objects.get(user=cast.owner)
    refused = client.post(address, {"member": str(own.pk), "role": "analyst"}).content.decode()
    assert "only owner" in refused
    foreign = Membership.objects.get(user=cast.outsider)
    assert client.post(address, {"member": str(foreign.pk), "role": "analyst"}).status_code == 404
    assert client.post(address, {"member": "x", "role": "analyst"}).status_code == 404


def test_only_owners_see_people(cast: Cast) -> None:
    address = reverse("people") + "?organisation=larch-row"
    for member in (cast.manager, cast.inspector, cast.analyst):
        assert client_of(member).get(address).status_code == 403
        assert client_of(member).post(address, {"username": "x", "role": "owner"}).status_code == 403
        assert "People and roles" not in client_of(member).get("/").content.decode()
    assert client_of(cast.outsider).get(address).status_code == 404


# Who may ----------------------------------------------------------------------------------------------------


def forms_of(cast: Cast, kiln: Kiln) -> list[str]:
    section, house = [kiln.wet.pk], [kiln.building.pk]
    return [
        reverse("visit", args=house),
        reverse("visit-section", args=[*house, WHEN, *section]),
        reverse("visit-house", args=[*house, WHEN]),
        reverse("visit-review", args=[*house, WHEN]),
        reverse("new-house-event", args=house),
        reverse("new-treatment", args=section),
        reverse("new-event", args=section),
        reverse("remove-treatment", args=[Treatment.objects.get(section=kiln.wet).pk]),
        reverse("flag", args=[Flag.objects.get(section=kiln.wet).pk]),
        reverse("trial", args=[Trial.objects.get().pk]),
        reverse("new-trial") + "?organisation=larch-row",
    ]


@pytest.fixture
def forms(cast: Cast, kiln: Kiln) -> list[str]:
    trial(cast.organisation, (kiln.wet, kiln.quiet), "random", "T1")
    return forms_of(cast, kiln)


def counted() -> list[int]:
    return [model.objects.count() for model in (Reading, Treatment, Event, Action, Allocation, Change, Trial)]


def test_an_analyst_may_send_none_and_an_outsider_finds_none(cast: Cast, forms: list[str]) -> None:
    before = counted()
    analyst, outsider = client_of(cast.analyst), client_of(cast.outsider)
    for address in forms:
        response = analyst.post(address, {"do": "acknowledge"})
        assert response.status_code == 403, address
        assert "Your role does not allow this" in response.content.decode()
        missing = outsider.post(address, {"do": "acknowledge"})
        assert (missing.status_code, outsider.get(address).status_code) == (404, 404), address
        assert '<form method="post" class="entry"' not in analyst.get(address).content.decode()
    assert counted() == before


def test_every_form_asks_for_its_own_token_and_for_signing_in(
    cast: Cast, forms: list[str], client: Client
) -> None:
    careful = Client(enforce_csrf_checks=True)
    careful.force_login(cast.owner)
    for address in [*forms, reverse("people") + "?organisation=larch-row"]:
        assert careful.post(address, {"do": "acknowledge"}).status_code == 403
        assert Client().post(address)["Location"].startswith(reverse("sign-in"))
        response = client_of(cast.owner).get(address)
        assert "no-store" in response["Cache-Control"]
        markup = response.content.decode()
        assert not any(inline in markup for inline in ("<script", "<style", " style=", " onclick="))
        assert client.delete(address).status_code == 405


def test_records_of_another_organisation_are_not_chosen(client: Client, cast: Cast, kiln: Kiln) -> None:
    other = kiln_row(cast.other_organisation, "Z1", "1 Mill Lane")
    made = trial(cast.organisation, (kiln.quiet,), "random", "T1")
    address = reverse("trial", args=[made.pk])
    sent = filled(client, address, section_id=str(other.wet.pk), arm="lime", allocated_by="random")
    assert "Choose one of the list." in client.post(address, sent).content.decode()
    unknown = filled(client, reverse("new-event", args=[kiln.wet.pk]), kind="flood")
    unknown["id"] = str(Event.objects.filter(building=other.building).first().pk)  # type: ignore[union-attr]
    refused = client.post(reverse("new-event", args=[kiln.wet.pk]), unknown).content.decode()
    assert "This id is taken; make a new one." in refused
    assert client.get(reverse("flag", args=[uuid.uuid4()])).status_code == 404
