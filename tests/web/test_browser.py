"""Pages in a browser, on a phone and at a desk, by light and by dark."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator

import pytest
from django.contrib.auth.models import AbstractBaseUser
from django.urls import reverse
from playwright.sync_api import Browser, BrowserContext, Page, ViewportSize
from pytest_django.live_server_helper import LiveServer

from inspections.models import Reading
from portfolio.models import Event
from tests.support.browser import DESK, PHONE, accessibility_faults
from tests.support.cast import PASSWORD, Cast, assemble
from tests.web.houses import Kiln, kiln_row, trial

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SIZES = {"phone": PHONE, "desk": DESK}
#: WCAG 2.2, 1.4.10: a page reflows down to 320 px.
NARROWEST: ViewportSize = {"width": 320, "height": 640}
#: Least size of what is touched, px: WCAG 2.2, 2.5.8 asks 24; a phone in a cellar gets 48.
LEAST_TARGET = {"desk": 24, "phone": 48}


@pytest.fixture
def cast(transactional_db: None) -> Cast:
    return assemble()


@pytest.fixture
def kiln(cast: Cast) -> Kiln:
    cast.organisation.is_invented = True
    cast.organisation.save()
    made = kiln_row(cast.organisation)
    trial(cast.organisation, (made.wet, made.quiet), "judgement", "T1")
    return made


@pytest.fixture(params=["light", "dark"])
def scheme(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(params=list(SIZES))
def size(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def viewport(size: str) -> ViewportSize:
    return SIZES[size]


@pytest.fixture
def browser_context(chromium: Browser, viewport: ViewportSize, scheme: str) -> Iterator[BrowserContext]:
    context = chromium.new_context(viewport=viewport, color_scheme=scheme)  # type: ignore[arg-type]
    yield context
    context.close()


@pytest.fixture
def complaints(page: Page) -> list[str]:
    """What the browser's console complains of, refusals by the content security policy among it."""
    found: list[str] = []
    page.on(
        "console",
        lambda message: found.append(message.text) if message.type in ("error", "warning") else None,
    )
    return found


def addresses(kiln: Kiln) -> list[str]:
    return [
        reverse("portfolio"),
        reverse("building", args=[kiln.building.pk]),
        reverse("section", args=[kiln.wet.pk]),
        reverse("section", args=[kiln.bare.pk]),
        reverse("how-verdicts-are-made"),
        reverse("what-lasts"),
        reverse("due"),
        reverse("due-month"),
        reverse("round", args=[kiln.building.pk]),
    ]


#: Sizes of links and buttons in view, those inside a sentence apart (2.5.8 excepts them).
TARGETS = """least => [...document.querySelectorAll("a, button, summary")]
  .filter(one => one.checkVisibility() && !one.closest("svg, p, .lines, .skip"))
  .map(one => [one.textContent.trim(), one.getBoundingClientRect()])
  .filter(([, box]) => box.height < least - 0.5 || box.width < Math.min(least, 24) - 0.5)
  .map(([name, box]) => `${name} ${Math.round(box.width)} × ${Math.round(box.height)}`)"""


def test_pages_are_accessible_fit_the_screen_and_raise_no_complaint(
    page: Page,
    complaints: list[str],
    live_server: LiveServer,
    sign_in: Callable[[AbstractBaseUser], None],
    cast: Cast,
    kiln: Kiln,
    size: str,
) -> None:
    sign_in(cast.owner)
    for address in addresses(kiln):
        page.goto(live_server.url + address)
        assert accessibility_faults(page) == [], address
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= SIZES[size]["width"], address
        assert page.evaluate(TARGETS, LEAST_TARGET[size]) == [], address
        if size == "phone":
            page.set_viewport_size(NARROWEST)
            assert page.evaluate("document.documentElement.scrollWidth") <= NARROWEST["width"], address
            page.set_viewport_size(PHONE)
    assert complaints == []


#: Text smaller than this on the screen, px: letters of drawings are scaled with them.
LEAST_LETTER = 13
SMALL_TEXT = """least => [...document.querySelectorAll("body *")]
  .filter(one => one.checkVisibility() && [...one.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
  .map(one => {
    const drawn = one instanceof SVGElement && one.getScreenCTM ? one.getScreenCTM() : {a: 1, b: 0};
    const scale = Math.hypot(drawn.a, drawn.b);
    return [one.textContent.trim(), parseFloat(getComputedStyle(one).fontSize) * scale];
  })
  .filter(([, size]) => size < least - 0.05)
  .map(([text, size]) => `${text} ${size.toFixed(1)}`)"""
#: Texts of drawings that are cut off at the drawing's edge.
CUT_TEXT = """() => [...document.querySelectorAll("svg text")]
  .filter(one => one.checkVisibility())
  .filter(one => {
    const own = one.getBoundingClientRect(), all = one.ownerSVGElement.getBoundingClientRect();
    return own.right > all.right + 1 || own.left < all.left - 1;
  })
  .map(one => one.textContent)"""
SIDEWAYS = """() => [...document.querySelectorAll(".scroll")]
  .filter(one => one.scrollWidth > one.clientWidth).length"""


@pytest.mark.parametrize("scheme", ["light"], indirect=True)
def test_text_is_large_enough_and_none_is_cut(
    page: Page,
    live_server: LiveServer,
    sign_in: Callable[[AbstractBaseUser], None],
    cast: Cast,
    kiln: Kiln,
) -> None:
    hygroscopic = {"quantity": "hygroscopic_moisture", "unit": "percent_mass", "entered_value": "2"}
    for reading in Reading.objects.filter(section=kiln.wet, quantity="spall_area"):
        place = {"visit": reading.visit, "taken_at": reading.taken_at, "building": reading.building}
        Reading.objects.create(section=kiln.wet, value=2.0, **hygroscopic, **place)
    sign_in(cast.owner)
    for address in addresses(kiln):
        page.goto(live_server.url + address)
        assert page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)") >= 16
        assert page.evaluate(SMALL_TEXT, LEAST_LETTER) == [], address
        assert page.evaluate(CUT_TEXT) == [], address


@pytest.mark.parametrize("scheme", ["light"], indirect=True)
def test_a_wide_table_is_a_labelled_list_on_a_phone_and_still_a_table(
    page: Page,
    live_server: LiveServer,
    sign_in: Callable[[AbstractBaseUser], None],
    cast: Cast,
    kiln: Kiln,
    size: str,
) -> None:
    sign_in(cast.owner)
    for address in (reverse("building", args=[kiln.building.pk]), reverse("section", args=[kiln.wet.pk])):
        page.goto(live_server.url + address)
        for summary in page.locator("summary").all():
            summary.click()
        assert page.evaluate(SIDEWAYS) == 0
        table = page.get_by_role("table").first
        assert table.get_by_role("columnheader").count() > 3
        assert table.get_by_role("row").count() > 1
        assert table.get_by_role("rowheader").first.inner_text()
        label = table.get_by_role("cell").first.evaluate("one => getComputedStyle(one, '::before').content")
        assert (label != "none") == (size == "phone")
        assert accessibility_faults(page) == []


def test_the_way_in_is_accessible_and_leads_to_the_portfolio(
    page: Page, complaints: list[str], live_server: LiveServer, cast: Cast, kiln: Kiln
) -> None:
    page.goto(live_server.url + reverse("portfolio"))
    assert accessibility_faults(page) == []
    page.get_by_label("Name").fill("owner")
    page.get_by_label("Password").fill("wrong")
    page.get_by_role("button", name="Sign in").click()
    assert "don’t belong together" in page.get_by_role("alert").inner_text()
    assert accessibility_faults(page) == []
    page.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Needs a person").wait_for()
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("heading", name="Sign in").wait_for()
    assert complaints == []


@pytest.mark.parametrize("scheme", ["light"], indirect=True)
def test_the_keyboard_reaches_a_section_on_the_drawing_and_shows_where_it_is(
    page: Page,
    live_server: LiveServer,
    sign_in: Callable[[AbstractBaseUser], None],
    cast: Cast,
    kiln: Kiln,
) -> None:
    sign_in(cast.owner)
    page.goto(live_server.url + reverse("building", args=[kiln.building.pk]))
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the page’s text"
    name = ""
    for _ in range(40):
        page.keyboard.press("Tab")
        name = page.evaluate("document.activeElement.getAttribute('aria-label') || ''")
        if name.startswith("N1"):
            break
    assert name == "N1, trapped water, 93 in 100, flag open"
    assert (
        page.evaluate("getComputedStyle(document.activeElement.querySelector('.edge')).strokeWidth") == "6px"
    )
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="North wall, 14 Kiln Row").wait_for()


@pytest.mark.parametrize("scheme", ["dark"], indirect=True)
def test_print_is_black_on_white_and_names_organisation_source_and_date(
    page: Page,
    live_server: LiveServer,
    sign_in: Callable[[AbstractBaseUser], None],
    cast: Cast,
    kiln: Kiln,
) -> None:
    sign_in(cast.owner)
    page.goto(live_server.url + reverse("section", args=[kiln.wet.pk]))
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    line = page.locator(".every-sheet").inner_text()
    for words in (cast.organisation.name, "North wall, 14 Kiln Row", "model 2026.1", "printed "):
        assert words in line
    assert page.locator(".strips.desk").is_visible()
    assert not page.locator("table").last.is_visible()
    assert not page.locator(".head nav").is_visible()


#: What A4 leaves between its margins, CSS px.
SHEET = 688


@pytest.mark.parametrize("scheme", ["light"], indirect=True)
def test_every_page_fits_its_sheet_and_prints_what_the_screen_folds_away(
    page: Page,
    live_server: LiveServer,
    sign_in: Callable[[AbstractBaseUser], None],
    cast: Cast,
    kiln: Kiln,
) -> None:
    for day in range(1, 32):
        Event.objects.create(building=kiln.building, happened_on=dt.date(2021, 5, day), kind="heavy_rain")
    sign_in(cast.owner)
    page.set_viewport_size({"width": SHEET, "height": 1000})
    page.emulate_media(media="print")
    for address in addresses(kiln):
        page.goto(live_server.url + address)
        assert page.evaluate("document.documentElement.scrollWidth") <= SHEET, address
    page.goto(live_server.url + reverse("building", args=[kiln.building.pk]))
    first = page.get_by_text("9 September 2020: flood.")
    assert first.evaluate("one => one.closest('details') && one.getBoundingClientRect().height") > 0
