"""The evidence sheet: plain words on one page, lent by a link that is signed, ends, and can be taken back."""

from __future__ import annotations

import datetime as dt
import io
import re
from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inspections.domain.photos import store_photo
from inspections.domain.sheets import key_of, revoke_sheet, share_sheet, shared_sheet
from inspections.models import Allocation, Photo, SharedSheet, Trial
from portfolio.domain.refusals import Invalid
from portfolio.models import Treatment
from tests.photos.pictures import encoded, quarters
from tests.support.cast import Cast, client_of
from tests.trials.books import QUESTION, build, write_folder
from tests.trials.test_comparison import FAST, SLOW, pairs
from tests.web.test_pages import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def trial(cast: Cast, tmp_path: Path) -> Trial:
    folder = write_folder(tmp_path / "book", QUESTION, *build(pairs(SLOW, FAST)))
    call_command("load_records", str(folder), organisation=cast.organisation.slug, verbosity=0)
    return Trial.objects.get()


@pytest.fixture
def lent(cast: Cast, trial: Trial) -> SharedSheet:
    return share_sheet(trial=trial, user=cast.owner, for_whom="the mason", days=30)


def address(sheet: SharedSheet) -> str:
    return reverse("lent-sheet", args=[key_of(sheet)])


def test_the_sheet_is_read_without_an_account_in_plain_words(client: Client, lent: SharedSheet) -> None:
    said = text_of(client, address(lent))
    assert "“B” fails faster than “A” on these walls." in said
    assert "“A”: on six walls, 1.5 % of the coat came loose or fell each year" in said
    assert "At that pace a tenth of it is lost after 7 years (5 years at the soonest" in said
    assert "What is not known" in said
    assert "All of it was seen in these six houses." in said
    assert "Lent to the mason until" in said
    for jargon in ("p under", "95 %", "interval", "permutation", "standard deviation", "Sign out"):
        assert jargon not in said


def test_it_is_kept_by_no_cache_and_found_by_no_search(client: Client, lent: SharedSheet) -> None:
    response = client.get(address(lent))
    assert response["X-Robots-Tag"] == "noindex, nofollow"
    assert response["Referrer-Policy"] == "no-referrer"
    assert "no-store" in response["Cache-Control"]
    assert client.post(address(lent)).status_code == 405


def test_a_link_ends_or_is_taken_back(client: Client, lent: SharedSheet) -> None:
    SharedSheet.objects.update(expires_at=timezone.now() - dt.timedelta(seconds=1))
    response = client.get(address(lent))
    assert response.status_code == 410
    assert b"serves no longer" in response.content
    assert b"fails faster" not in response.content
    SharedSheet.objects.update(expires_at=timezone.now() + dt.timedelta(days=1))
    assert client.get(address(lent)).status_code == 200
    revoke_sheet(lent)
    assert client.get(address(lent)).status_code == 410


def test_a_key_that_was_never_signed_here_opens_nothing(client: Client, lent: SharedSheet) -> None:
    key = key_of(lent)
    assert shared_sheet(key) == lent
    for wrong in (key[:-1], lent.pk.hex, str(lent.pk), f"{'0' * 32}{key[32:]}", "x"):
        assert shared_sheet(wrong) is None
        assert client.get(reverse("lent-sheet", args=[wrong])).status_code == 404
    Trial.objects.update(voided_at=timezone.now())
    assert client.get(address(lent)).status_code == 404


def test_owners_and_managers_lend_and_take_back(cast: Cast, trial: Trial, client: Client) -> None:
    manager = client_of(cast.manager)
    lend = reverse("lend-sheet", args=[trial.pk])
    for sent, text in (
        ({"for_whom": "", "days": "30"}, "Say whom it is for"),
        ({"for_whom": "the mason", "days": "0"}, "from 1 to 366"),
        ({"for_whom": "the mason", "days": "a week"}, "from 1 to 366"),
    ):
        assert text in manager.post(lend, sent).content.decode()
    assert not SharedSheet.objects.exists()
    assert manager.post(lend, {"for_whom": "the mason", "days": "7"}).status_code == 302
    made = SharedSheet.objects.get()
    assert made.made_by == cast.manager
    assert dt.timedelta(days=6.9) < made.expires_at - timezone.now() <= dt.timedelta(days=7)
    page = manager.get(reverse("trial", args=[trial.pk])).content.decode()
    link = re.search(r'href="http://testserver(/evidence/[^"]+)"', page)
    assert link
    assert client.get(link[1]).status_code == 200
    assert manager.post(reverse("take-back-sheet", args=[made.pk])).status_code == 302
    assert client.get(link[1]).status_code == 410
    assert "taken back" in text_of(manager, reverse("trial", args=[trial.pk]))


def test_nobody_else_lends_or_takes_back(cast: Cast, trial: Trial, lent: SharedSheet) -> None:
    for member, status in ((cast.inspector, 403), (cast.analyst, 403), (cast.outsider, 404)):
        other = client_of(member)
        sent = {"for_whom": "a friend", "days": "7"}
        assert other.post(reverse("lend-sheet", args=[trial.pk]), sent).status_code == status
        assert other.post(reverse("take-back-sheet", args=[lent.pk])).status_code == status
        assert "/evidence/" not in other.get(reverse("trial", args=[trial.pk])).content.decode()
    assert SharedSheet.objects.get().revoked_at is None
    assert client_of(cast.analyst).get(reverse("trial-sheet", args=[trial.pk])).status_code == 200
    assert client_of(cast.outsider).get(reverse("trial-sheet", args=[trial.pk])).status_code == 404
    with pytest.raises(Invalid):
        share_sheet(trial=trial, user=cast.owner, for_whom=" ", days=400)


def test_photos_before_and_since_are_lent_with_the_sheet_and_no_others(
    cast: Cast, trial: Trial, lent: SharedSheet, client: Client, settings: object, tmp_path: Path
) -> None:
    settings.MEDIA_ROOT = tmp_path / "media"  # type: ignore[attr-defined]
    one = Allocation.objects.filter(arm="A").select_related("section__building")[0]

    def photo(day: dt.date, colour: int) -> Photo:
        return store_photo(
            building=one.section.building,
            section=one.section,
            visit=None,
            file=io.BytesIO(encoded(quarters(160, 80 + colour))),
            taken_on=day,
            caption="",
            user=cast.owner,
        )[0]

    before, after = photo(dt.date(2013, 1, 5), 1), photo(dt.date(2018, 1, 5), 2)
    page = client.get(address(lent)).content.decode()
    shown = re.findall(r'<img src="([^"]+)" alt="([^"]+)"', page)
    assert [text.partition(",")[0] for _, text in shown] == ["Before", "Last seen"]
    for (href, _), one_photo in zip(shown, (before, after), strict=True):
        assert str(one_photo.pk) in href
        response = client.get(href)
        assert b"".join(response).startswith(b"\xff\xd8")  # type: ignore[arg-type]
    assert client.get(reverse("photo", args=[before.pk])).status_code == 302
    Allocation.objects.filter(pk=one.pk).update(voided_at=timezone.now())
    assert client.get(shown[0][0]).status_code == 404
    revoke_sheet(lent)
    assert client.get(shown[1][0]).status_code == 404


def test_costs_are_told_where_they_are_known_in_one_currency(
    trial: Trial, lent: SharedSheet, client: Client
) -> None:
    own = Treatment.objects.filter(section__allocations__arm="A")
    own.update(cost="350.00", currency="EUR")
    said = text_of(client, address(lent))
    # 350 on 5 m² is 70 a m²; at 1.5 % a year a tenth is lost after 6.7 years.
    assert "It cost 70 EUR a m² to put on (six walls): 10.5 EUR a m² and year of that." in said
    Treatment.objects.filter(pk=own[0].pk).update(currency="USD")
    assert "It cost" not in text_of(client, address(lent))


def test_no_life_is_told_that_nobody_has_watched(cast: Cast, tmp_path: Path, client: Client) -> None:
    folder = write_folder(tmp_path / "book", QUESTION, *build(pairs([0.004] * 6, [0.02] * 6)))
    call_command("load_records", str(folder), organisation=cast.organisation.slug, verbosity=0)
    Treatment.objects.filter(section__allocations__arm="A").update(cost="350.00", currency="EUR")
    said = text_of(client_of(cast.owner), reverse("trial-sheet", args=[Trial.objects.get().pk]))
    assert "At that pace it keeps far longer than the 5 years that it was watched." in said
    # 350 on 5 m² is 70 a m², over five years 14.
    assert "It cost 70 EUR a m² to put on (six walls): 14.0 EUR a m² for each year so far, and less" in said
    assert "100 years" not in said
