"""The sheet as a PDF, read back by a library of others: the same words, letters of any alphabet, tags."""

from __future__ import annotations

import ctypes
import datetime as dt
import io
import re
from collections.abc import Iterator
from pathlib import Path

import pypdfium2
import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from pypdfium2 import raw

from inspections.domain.photos import store_photo
from inspections.domain.sheets import key_of, revoke_sheet, share_sheet
from inspections.models import Allocation, Trial
from portfolio.models import User
from tests.photos.pictures import encoded, quarters
from tests.support.cast import Cast, client_of
from tests.trials.books import QUESTION, Hand, build, write_folder
from tests.trials.test_comparison import FAST, SLOW, pairs
from tests.web.test_pages import text_of

pytestmark = pytest.mark.django_db

#: A lime coat in Polish, a cement coat in Greek.
LIME, CEMENT = "tynk wapienny, ściana wilgotna – żółty łuk", "τσιμεντοκονία"


def load(cast: Cast, folder: Path, walls: list[Hand]) -> Trial:
    write_folder(folder, QUESTION, *build(walls))
    call_command("load_records", str(folder), organisation=cast.organisation.slug, verbosity=0)
    return Trial.objects.get()


@pytest.fixture
def trial(cast: Cast, tmp_path: Path) -> Trial:
    return load(cast, tmp_path / "book", pairs(SLOW, FAST))


def opened(client: Client, address: str) -> pypdfium2.PdfDocument:
    response = client.get(address)
    assert response.status_code == 200
    assert response["Content-Type"] == "application/pdf"
    content = b"".join(response)  # type: ignore[arg-type]
    # Whole fonts would be 1.7 MB.
    assert len(content) < 150_000
    return pypdfium2.PdfDocument(content)


def words_of(document: pypdfium2.PdfDocument) -> str:
    pages = (document[number].get_textpage().get_text_range() for number in range(len(document)))
    return re.sub(r"\s+", " ", " ".join(pages))


def objects(document: pypdfium2.PdfDocument, kind: int) -> int:
    return sum(1 for one in document[0].get_objects(max_depth=3) if one.type == kind)


def tags(document: pypdfium2.PdfDocument) -> Iterator[tuple[str, str]]:
    """Kind and alternative text of each element under the document's, on the first page."""
    page = document[0]
    tree = raw.FPDF_StructTree_GetForPage(page.raw)
    assert raw.FPDF_StructTree_CountChildren(tree) == 1
    root = raw.FPDF_StructTree_GetChildAtIndex(tree, 0)
    for number in range(raw.FPDF_StructElement_CountChildren(root)):
        child = raw.FPDF_StructElement_GetChildAtIndex(root, number)
        yield _said(raw.FPDF_StructElement_GetType, child), _said(raw.FPDF_StructElement_GetAltText, child)
    raw.FPDF_StructTree_Close(tree)


def _said(asked: object, element: object) -> str:
    held = ctypes.create_string_buffer(4000)
    used = asked(element, held, len(held))  # type: ignore[operator]
    return held.raw[: max(used - 2, 0)].decode("utf-16-le")


def test_it_says_what_the_page_says_on_one_page(cast: Cast, trial: Trial) -> None:
    client = client_of(cast.analyst)
    document = opened(client, reverse("trial-sheet-file", args=[trial.pk]))
    assert len(document) == 1
    said = words_of(document)
    page = client.get(reverse("trial-sheet", args=[trial.pk])).content.decode()
    main = page[page.index("<main") : page.index("</main>")]
    shown = re.findall(r"<(?:h1|h2|li|p)[^>]*>([^<]+)</(?:h1|h2|li|p)>", main)
    assert len(shown) >= 10
    for line in shown:
        assert line.strip().replace("\u00a0", " ") in said
    assert "page 1 of 1" in said
    assert {one.get_base_name()[6:7] for one in _fonts(document)} == {"+"}


def _fonts(document: pypdfium2.PdfDocument) -> list[pypdfium2.PdfFont]:
    objects = document[0].get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT])
    return [one.get_font() for one in objects]


def test_names_of_other_alphabets_and_signs_print(cast: Cast, tmp_path: Path) -> None:
    named = {"A": LIME, "B": CEMENT}
    walls = [Hand(**{**vars(one), "arm": named[one.arm]}) for one in pairs(SLOW, FAST)]
    trial = load(cast, tmp_path / "book", walls)
    Trial.objects.update(question="Czy −5 °C szkodzi „zaprawie” na ścianie Żółkiewskich — 10 m² pod ziemią?")
    said = words_of(opened(client_of(cast.owner), reverse("trial-sheet-file", args=[trial.pk])))
    assert LIME in said
    assert CEMENT in said
    assert "−5 °C szkodzi „zaprawie” na ścianie Żółkiewskich — 10 m² pod ziemią?" in said


def test_it_is_tagged_named_and_drawn_in_lines(
    cast: Cast, trial: Trial, settings: object, tmp_path: Path
) -> None:
    settings.MEDIA_ROOT = tmp_path / "media"  # type: ignore[attr-defined]
    one = Allocation.objects.filter(arm="A").select_related("section__building")[0]
    for day, colour in ((dt.date(2013, 1, 5), 1), (dt.date(2018, 1, 5), 2)):
        store_photo(
            building=one.section.building,
            section=one.section,
            visit=None,
            file=io.BytesIO(encoded(quarters(160, 80 + colour))),
            taken_on=day,
            caption="",
            user=cast.owner,
        )
    document = opened(client_of(cast.owner), reverse("trial-sheet-file", args=[trial.pk]))
    assert document.get_metadata_value("Title") == "Which coat lasts longer (invented)?"
    assert document.is_tagged()
    said = list(tags(document))
    kinds = [kind for kind, _ in said]
    assert kinds[:3] == ["H1", "P", "P"]
    assert kinds.count("H2") == 4
    assert kinds.count("H3") == 2
    alternatives = [alt for kind, alt in said if kind == "Figure"]
    assert [alt.partition(",")[0] for alt in alternatives[:2]] == ["Before", "Last seen"]
    assert alternatives[2].startswith(
        "What came loose or fell, by years since the coats went on. “A”: on six"
    )
    assert objects(document, raw.FPDF_PAGEOBJ_IMAGE) == 2
    # Twelve thin lines and two thick ones, and the axes.
    assert objects(document, raw.FPDF_PAGEOBJ_PATH) > 20


def test_paper_and_area_are_those_of_the_readers_country(cast: Cast, trial: Trial) -> None:
    address = reverse("trial-sheet-file", args=[trial.pk])
    client = client_of(cast.owner)
    for units, width in (("si", 595), ("us", 612)):
        User.objects.update(units=units)
        assert round(opened(client, address)[0].get_width()) == width


def test_whoever_holds_the_link_has_it_until_it_ends(cast: Cast, trial: Trial, client: Client) -> None:
    lent = share_sheet(trial=trial, user=cast.owner, for_whom="the mason Łukasz", days=30)
    page, file = (reverse(name, args=[key_of(lent)]) for name in ("lent-sheet", "lent-sheet-file"))
    assert f'href="{file}"' in client.get(page).content.decode()
    assert "Lent to the mason Łukasz until" in words_of(opened(client, file))
    response = client.get(file)
    assert response["X-Robots-Tag"] == "noindex, nofollow"
    assert "no-store" in response["Cache-Control"]
    assert client.post(file).status_code == 405
    revoke_sheet(lent)
    assert client.get(file).status_code == 410
    assert client.get(reverse("lent-sheet-file", args=["x"])).status_code == 404
    assert client_of(cast.outsider).get(reverse("trial-sheet-file", args=[trial.pk])).status_code == 404


def test_a_trial_that_can_not_be_answered_has_no_file(cast: Cast, trial: Trial) -> None:
    Trial.objects.update(started_on=None, planned_end_on=None)
    client = client_of(cast.owner)
    assert client.get(reverse("trial-sheet-file", args=[trial.pk])).status_code == 404
    said = text_of(client, reverse("trial-sheet", args=[trial.pk]))
    assert "enter its started_on" in said
    assert "Keep it as a PDF" not in said


def test_what_does_not_fit_one_page_goes_on_on_another(cast: Cast, trial: Trial) -> None:
    Trial.objects.update(question="Does it last, and on which of all these walls? " * 60)
    document = opened(client_of(cast.owner), reverse("trial-sheet-file", args=[trial.pk]))
    assert len(document) == 2
    assert "page 2 of 2" in words_of(document)
