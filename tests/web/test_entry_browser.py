"""A whole visit on a phone: reached with a thumb, read aloud without a fault, and entered to its end."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.contrib.auth.models import AbstractBaseUser
from django.urls import reverse
from playwright.sync_api import Page, ViewportSize, expect
from pytest_django.live_server_helper import LiveServer

from inspections.models import Flag, Reading
from portfolio.models import Treatment
from tests.support.browser import PHONE, accessibility_faults
from tests.support.cast import Cast, assemble
from tests.web.houses import Kiln, kiln_row, trial

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

#: A phone's target in a cellar, px.
THUMB = 48
#: Everything that is touched and is smaller; links inside a sentence and the skip link apart.
SMALL = """least => [...document.querySelectorAll("a, button, summary, input, select, textarea")]
  .filter(one => one.type !== "hidden" && one.checkVisibility() && !one.closest("p, .lines li > a, .skip"))
  .map(one => [one.name || one.textContent.trim(), one.getBoundingClientRect()])
  .filter(([, box]) => box.height < least - 0.5 || box.width < least - 0.5)
  .map(([name, box]) => `${name} ${Math.round(box.width)} × ${Math.round(box.height)}`)"""


@pytest.fixture
def viewport() -> ViewportSize:
    return PHONE


@pytest.fixture
def cast(transactional_db: None) -> Cast:
    return assemble()


@pytest.fixture
def kiln(cast: Cast) -> Kiln:
    return kiln_row(cast.organisation)


def fits(page: Page) -> None:
    """Nothing is wrong with the page for a thumb, an ear or a narrow screen, by light and by dark."""
    for scheme in ("dark", "light"):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        assert accessibility_faults(page) == [], (page.url, scheme)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], page.url
    assert page.evaluate(SMALL, THUMB) == [], page.url


def test_a_whole_visit_of_a_house_of_three_sections(
    page: Page, live_server: LiveServer, sign_in: Callable[[AbstractBaseUser], None], cast: Cast, kiln: Kiln
) -> None:
    sign_in(cast.inspector)
    page.goto(live_server.url + reverse("building", args=[kiln.building.pk]))
    page.get_by_role("link", name="Enter a visit").click()
    fits(page)
    page.get_by_label("Your initials").fill("GH")
    page.get_by_role("button", name="Begin").click()

    # The primary action is in view without scrolling, at the thumb.
    save = page.get_by_role("button", name="Save and go on")
    for number, name in enumerate(("North wall", "East wall", "South wall"), 1):
        expect(page.get_by_role("heading", level=1)).to_have_text(name)
        expect(save).to_be_in_viewport()
        fits(page)
        page.get_by_role("textbox", name="300 mm up").fill(str(30 + number))
        page.get_by_label("Face moisture, 300 mm up: as read, below or above").select_option(">")
        page.get_by_role("textbox", name="Hollow area", exact=True).fill("0,4" if number == 1 else "drummy")
        if number > 1:
            save.click()
            expect(page.get_by_role("alert")).to_contain_text("'drummy' is not a number")
            expect(page.get_by_role("textbox", name="300 mm up")).to_have_value(str(30 + number))
            fits(page)
            page.get_by_role("textbox", name="Hollow area", exact=True).fill("0.4")
        save.click()

    expect(page.get_by_role("heading", level=1)).to_have_text("The house as a whole")
    fits(page)
    page.get_by_role("textbox", name="Radon").fill("98")
    page.get_by_role("button", name="Save and look it over").click()
    expect(page.get_by_text("7 readings entered")).to_be_visible()
    expect(page.get_by_text("Not read: deep moisture (80 mm deep)").first).to_be_visible()
    fits(page)
    entered = Reading.objects.filter(visit__inspector="GH")
    assert entered.filter(quantity="surface_moisture", qualifier=">").count() == 3
    page.get_by_role("link", name="Take back Radon").click()
    fits(page)
    page.get_by_role("link", name="Back to the visit").click()
    # Back to a wall and saved again, all is as it was.
    page.get_by_role("link", name="Correct or add at North wall").click()
    expect(page.get_by_role("textbox", name="300 mm up")).to_have_value("31")
    save.click()
    assert entered.count() == 7


def test_every_other_form_fits_a_thumb_and_an_ear(
    page: Page, live_server: LiveServer, sign_in: Callable[[AbstractBaseUser], None], cast: Cast, kiln: Kiln
) -> None:
    sign_in(cast.owner)
    flag = Flag.objects.get(section=kiln.wet)
    made = trial(cast.organisation, (kiln.wet,), "random", "T1")
    coat = Treatment.objects.get(section=kiln.wet)
    for address in (
        reverse("new-treatment", args=[kiln.wet.pk]),
        reverse("remove-treatment", args=[coat.pk]),
        reverse("new-event", args=[kiln.wet.pk]),
        reverse("flag", args=[flag.pk]),
        reverse("new-trial"),
        reverse("trial", args=[made.pk]),
        reverse("people"),
    ):
        page.goto(live_server.url + address)
        for summary in page.locator("main summary").all():
            summary.click()
        fits(page)
    page.goto(live_server.url + reverse("new-treatment", args=[kiln.wet.pk]))
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("alert")).to_contain_text("Choose what was put on.")
    fits(page)
    page.goto(live_server.url + reverse("flag", args=[flag.pk]))
    page.get_by_role("textbox", name="What you saw").first.fill("Drummy from door to corner.")
    page.get_by_role("button", name="Confirm").click()
    expect(page.get_by_role("status")).to_contain_text("The flag is confirmed.")
    fits(page)
    page.get_by_role("textbox", name="What you looked at").fill("Downpipe split.")
    page.get_by_role("button", name="Save the source check").click()
    fits(page)
    page.get_by_label("What was done", exact=True).select_option("source_mended")
    page.get_by_role("button", name="Save what was done").click()
    expect(page.get_by_role("status")).to_contain_text("The flag is closed.")
    fits_section = page.evaluate("document.documentElement.scrollWidth")
    assert fits_section <= PHONE["width"]
