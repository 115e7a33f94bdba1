"""The sheet of a kind of coat: its words and numbers, as a page, as a PDF and lent by a link."""

from __future__ import annotations

import datetime as dt
import io
import re
from urllib.parse import urlencode

import pypdfium2
import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inspections.domain import lasting
from inspections.domain.coat_evidence import CoatKind, CoatQuestion, coat_evidence, coat_kinds, coat_question
from inspections.domain.photos import store_photo
from inspections.domain.sheets import key_of, revoke_sheet, share_coat_sheet
from inspections.models import Photo, Reading, SharedCoatSheet
from portfolio.domain.refusals import Conflict, Invalid
from portfolio.models import Treatment
from tests.lives.simulated import Plan, simulate
from tests.lives.stored import store
from tests.photos.pictures import encoded, quarters
from tests.support.cast import Cast, client_of
from tests.web.test_pages import text_of

pytestmark = pytest.mark.django_db

LIME, CEMENT = CoatKind("parge_coat", "NHL 3.5"), CoatKind("parge_coat", "portland_cement")
NAMES = ("NHL 3.5 lime parge coat", "cement parge coat")


@pytest.fixture
def coats(cast: Cast) -> list[Treatment]:
    """Forty-five coats of three binders, fifteen of each."""
    return store(simulate(Plan(coats=45), 7), cast.organisation)


def query(coat: CoatKind = LIME, beside: CoatKind | None = CEMENT) -> str:
    return urlencode({"organisation": "larch-row", "coat": str(coat), "beside": str(beside or "")})


def address(name: str, asked: str = "") -> str:
    return f"{reverse(name)}?{asked or query()}"


def lend(cast: Cast) -> SharedCoatSheet:
    return share_coat_sheet(
        organisation=cast.organisation,
        coat=str(LIME),
        beside=str(CEMENT),
        user=cast.owner,
        for_whom="the mason",
        days=30,
    )


def words_of(response: HttpResponse) -> str:
    document = pypdfium2.PdfDocument(response.content)
    assert len(document) == 1
    return re.sub(r"\s+", " ", document[0].get_textpage().get_text_range())


def test_its_numbers_are_those_of_what_lasts(cast: Cast, coats: list[Treatment]) -> None:
    found = coat_evidence(cast.organisation, CoatQuestion(LIME, CEMENT))
    by = ("kind", "binder")
    whole = {
        (one.group["kind"], one.group["binder"]): one
        for one in lasting.failure_rates(cast.organisation, by).groups
    }
    for one in found.kinds:
        assert one.rates == whole[one.what.kind, one.what.binder]
    own = Treatment.objects.filter(pk__in=[one.pk for one in coats]).exclude(binder="lime_putty")
    assert found.test == lasting.failure_rates(cast.organisation, by, chosen=own).test
    assert found.houses == own.values("section__building").distinct().count()
    assert [paid.currency for one in found.kinds for paid in one.costs] == ["EUR", "EUR"]


def test_the_page_tells_it_without_statistics(cast: Cast, coats: list[Treatment]) -> None:
    said = text_of(client_of(cast.analyst), address("coat-sheet"))
    found = coat_evidence(cast.organisation, CoatQuestion(LIME, CEMENT))
    assert "NHL 3.5 lime parge coat beside cement parge coat: how long each lasts" in said
    for one, name in zip(found.kinds, NAMES, strict=True):
        assert (
            f"“{name}”: of {one.rates.coats} coats, watched for {one.rates.section_years:.0f} years" in said
        )
    assert said.count("A year of service costs") == 2
    assert "Nobody drew lots for which wall got which coat" in said
    assert "Another wall, another mason or another mix" in said
    for jargon in ("p under", "95 %", "Weibull", "interval", "hazard", "censored", "median"):
        assert jargon not in said


def test_one_kind_alone_and_one_with_too_few(cast: Cast, coats: list[Treatment]) -> None:
    client = client_of(cast.owner)
    alone = text_of(client, address("coat-sheet", query(LIME, None)))
    assert "NHL 3.5 lime parge coat: how long it lasts, and what a year of it costs" in alone
    assert "no proof that they last alike" not in alone
    Treatment.objects.filter(pk__in=[one.pk for one in coats[:3]]).update(binder="clay", cost=None)
    few = text_of(client, address("coat-sheet", query(CoatKind("parge_coat", "clay"), CEMENT)))
    assert "Too few coats were watched to say how long they last: “clay parge coat”." in few
    assert "“clay parge coat”: what a year of it costs is not known." in few


def test_a_difference_is_called_only_where_the_test_shows_one(cast: Cast) -> None:
    """Lime that keeps for good beside cement that is taken off as failed after one to six years."""
    kept = store(simulate(Plan(coats=60), 3), cast.organisation, binders=("NHL 3.5", "portland_cement"))
    for number, one in enumerate(kept):
        gone = one.binder == "portland_cement" and number % 7 != 1
        days = dt.timedelta(days=400 + number * 331 % 1800)
        Treatment.objects.filter(pk=one.pk).update(
            removed_on=one.applied_on + days if gone else None,
            removal_reason="failed" if gone else "",
        )
    Reading.objects.update(value=0)
    said = text_of(client_of(cast.owner), address("coat-sheet"))
    assert "“NHL 3.5 lime parge coat” has lasted longer than “cement parge coat” on these walls." in said
    assert "no proof that they last alike" not in said
    assert "“NHL 3.5 lime parge coat”: none failed so far, so how such coats end is hardly seen yet." in said


def test_what_is_asked_for_must_be_there(cast: Cast, coats: list[Treatment]) -> None:
    client = client_of(cast.owner)
    for wrong in ("organisation=larch-row", f"{query()}x", query(LIME, LIME), "coat=luck,"):
        assert client.get(f"{reverse('coat-sheet')}?{wrong}").status_code == 404
    said = text_of(client, address("coat-sheet", query(CoatKind("paint", "acrylic"), None)))
    assert "No coat of this kind is on record" in said
    assert (
        client.get(address("coat-sheet-file", query(CoatKind("paint", "acrylic"), None))).status_code == 404
    )
    with pytest.raises(Conflict):
        coat_evidence(cast.organisation, CoatQuestion(CoatKind("paint", "acrylic")))
    with pytest.raises(Invalid):
        coat_question("", str(LIME))
    for name in ("coat-sheets", "coat-sheet", "coat-sheet-file", "lend-coat-sheet"):
        assert client_of(cast.outsider).get(address(name)).status_code == 404
        assert Client().get(address(name)).status_code == 302


def test_the_choice_lists_what_there_is_most_first(cast: Cast, coats: list[Treatment]) -> None:
    Treatment.objects.filter(pk=coats[0].pk).update(binder="unknown")
    kinds = coat_kinds(cast.organisation)
    assert kinds[-1] == (CoatKind("parge_coat", "unknown"), 1)
    page = client_of(cast.analyst).get(address("coat-sheets", "organisation=larch-row")).content.decode()
    assert "Parge coat of a binder that is not known (1 coat)" in page
    assert "Sheets that were lent" not in page
    assert "No coat is entered yet" in text_of(client_of(cast.outsider), reverse("coat-sheets"))


def test_the_file_says_what_the_page_says(cast: Cast, coats: list[Treatment]) -> None:
    client = client_of(cast.owner)
    page = client.get(address("coat-sheet")).content.decode()
    said = words_of(client.get(address("coat-sheet-file")))
    shown = re.findall(r"<(?:h1|h2|li|p)[^>]*>([^<]+)</", page[page.index("<main") :])
    assert len(shown) > 9
    for line in shown:
        assert line.strip().replace("\u00a0", " ") in said


def test_it_is_lent_until_its_end_or_taken_back(cast: Cast, coats: list[Treatment], client: Client) -> None:
    manager = client_of(cast.manager)
    assert (
        "from 1 to 366"
        in manager.post(address("lend-coat-sheet"), {"for_whom": "the mason", "days": "0"}).content.decode()
    )
    answer = manager.post(address("lend-coat-sheet"), {"for_whom": "the mason", "days": "7"})
    assert answer.status_code == 302
    made = SharedCoatSheet.objects.get()
    assert (made.coat, made.beside, made.made_by) == (str(LIME), str(CEMENT), cast.manager)
    page = manager.get(answer["Location"]).content.decode()
    link = re.search(r'href="http://testserver(/evidence/[^"]+)"', page)
    assert link
    said = text_of(client, link[1])
    assert "has lasted" in said or "is not shown" in said
    assert "Lent to the mason until" in said
    assert "Lend it by a link" not in said
    file = client.get(f"{link[1]}sheet.pdf")
    assert "Lent to the mason until" in words_of(file)
    for member, status in ((cast.inspector, 403), (cast.analyst, 403), (cast.outsider, 404)):
        other = client_of(member)
        sent = {"for_whom": "a friend", "days": "7"}
        assert other.post(address("lend-coat-sheet"), sent).status_code == status
        assert other.post(reverse("take-back-sheet", args=[made.pk])).status_code == status
    assert manager.post(reverse("take-back-sheet", args=[made.pk])).status_code == 302
    assert client.get(link[1]).status_code == client.get(f"{link[1]}sheet.pdf").status_code == 410
    SharedCoatSheet.objects.update(revoked_at=None, expires_at=timezone.now() - dt.timedelta(seconds=1))
    assert client.get(link[1]).status_code == 410


def test_photos_of_one_wall_before_its_coat_and_since_are_shown_and_lent(
    cast: Cast, coats: list[Treatment], client: Client, settings: object, tmp_path: object
) -> None:
    settings.MEDIA_ROOT = tmp_path  # type: ignore[attr-defined]
    one = next(coat for coat in coats if coat.binder == LIME.binder and coat.removed_on is None)
    other = next(coat for coat in coats if coat.binder == "lime_putty")

    def photo(coat: Treatment, days: int, colour: int) -> Photo:
        return store_photo(
            building=coat.section.building,
            section=coat.section,
            visit=None,
            file=io.BytesIO(encoded(quarters(160, 80 + colour))),
            taken_on=coat.applied_on + dt.timedelta(days=days),
            caption="",
            user=cast.owner,
        )[0]

    before, after, elsewhere = photo(one, -10, 1), photo(one, 100, 2), photo(other, 5, 3)
    lent = lend(cast)
    page = client.get(reverse("lent-sheet", args=[key_of(lent)])).content.decode()
    shown = re.findall(r'<img src="([^"]+)" alt="([^"]+)"', page)
    assert [text.partition(",")[0] for _, text in shown] == ["Before", "Last seen"]
    for (href, _), kept in zip(shown, (before, after), strict=True):
        assert str(kept.pk) in href
        assert b"".join(client.get(href)).startswith(b"\xff\xd8")  # type: ignore[arg-type]
    assert client.get(reverse("lent-photo", args=[key_of(lent), elsewhere.pk])).status_code == 404
    file = client.get(reverse("lent-sheet-file", args=[key_of(lent)]))
    images = [one for one in pypdfium2.PdfDocument(file.content)[0].get_objects(max_depth=3) if one.type == 3]
    assert len(images) == 2
    revoke_sheet(lent)
    assert client.get(shown[0][0]).status_code == 404
