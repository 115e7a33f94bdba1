"""A photo from the phone, and records in and out, in a browser."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from django.contrib.auth.models import AbstractBaseUser
from django.urls import reverse
from playwright.sync_api import Page, ViewportSize, expect
from pytest_django.live_server_helper import LiveServer

from inspections.models import Photo
from portfolio.models import Building
from tests.folders.sending import BOOK, WALLS, zipped
from tests.photos import pictures
from tests.support.browser import DESK, PHONE, accessibility_faults
from tests.support.cast import Cast, assemble
from tests.web.houses import Kiln, kiln_row
from tests.web.test_entry_browser import SMALL, THUMB

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(params=[PHONE, DESK], ids=["phone", "desk"])
def viewport(request: pytest.FixtureRequest) -> ViewportSize:
    return request.param


@pytest.fixture
def cast(transactional_db: None) -> Cast:
    return assemble()


@pytest.fixture
def kiln(cast: Cast) -> Kiln:
    return kiln_row(cast.organisation)


def fits(page: Page, viewport: ViewportSize) -> None:
    for scheme in ("dark", "light"):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        assert accessibility_faults(page) == [], (page.url, scheme)
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"], page.url
    if viewport == PHONE:
        assert page.evaluate(SMALL, THUMB) == [], page.url


def test_a_photo_is_taken_at_the_wall(
    page: Page,
    live_server: LiveServer,
    sign_in: Callable[[AbstractBaseUser], None],
    cast: Cast,
    kiln: Kiln,
    viewport: ViewportSize,
    tmp_path: Path,
) -> None:
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    picture = tmp_path / "wall.jpg"
    picture.write_bytes(pictures.camera_jpeg(taken="2020:05:04 09:15:00"))
    sign_in(cast.inspector)
    page.goto(live_server.url + reverse("section", args=[kiln.wet.pk]))
    page.get_by_text("Add a photo").click()
    assert page.get_by_label("Picture").get_attribute("capture") == "environment"
    fits(page, viewport)
    page.get_by_label("Picture").set_input_files(picture)
    page.get_by_label("What it shows").fill("the foot of the wall")
    page.get_by_role("button", name="Keep the photo").click()
    shown = page.get_by_role("img", name="Photo of 4 May 2020: the foot of the wall")
    shown.scroll_into_view_if_needed()
    expect(shown).to_have_js_property("complete", True)
    assert shown.evaluate("one => one.naturalWidth") == 160
    fits(page, viewport)
    whole = page.request.get(live_server.url + reverse("photo", args=[Photo.objects.get().pk]))
    assert whole.headers["content-type"] == "image/jpeg"
    picture.write_bytes(b"no picture")
    page.goto(live_server.url + reverse("add-photo", args=[kiln.wet.pk]))
    page.get_by_label("Picture").set_input_files(picture)
    page.get_by_role("button", name="Keep the photo").click()
    expect(page.get_by_role("alert")).to_contain_text("JPEG, PNG or WebP")
    fits(page, viewport)


def test_a_folder_is_checked_loaded_and_taken_out(
    page: Page,
    live_server: LiveServer,
    sign_in: Callable[[AbstractBaseUser], None],
    cast: Cast,
    viewport: ViewportSize,
    tmp_path: Path,
) -> None:
    for name, text in {**BOOK, "sections.csv": WALLS.replace("brick", "brik")}.items():
        (tmp_path / name).write_text(text)
    (tmp_path / "book.zip").write_bytes(zipped(BOOK))
    sign_in(cast.manager)
    page.goto(live_server.url)
    page.get_by_role("link", name="Records in and out").click()
    fits(page, viewport)
    page.get_by_label("CSV files").set_input_files([tmp_path / name for name in BOOK])
    page.get_by_role("button", name="Check the files").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Refused: nothing was saved")
    expect(page.get_by_role("row", name="sections.csv")).to_contain_text("substrate")
    fits(page, viewport)
    page.get_by_role("link", name="Send other files").click()
    page.get_by_label("CSV files").set_input_files(tmp_path / "book.zip")
    page.get_by_role("button", name="Check the files").click()
    expect(page.get_by_role("row", name="sections.csv")).to_contain_text("1")
    fits(page, viewport)
    assert not Building.objects.exists()
    page.get_by_role("button", name="Load").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Loaded")
    fits(page, viewport)
    assert Building.objects.count() == 1
    page.get_by_role("link", name="Send other files").click()
    with page.expect_download() as download:
        page.get_by_role("link", name="All records", exact=True).click()
    assert download.value.suggested_filename.startswith("larch-row-")
    fits(page, viewport)
