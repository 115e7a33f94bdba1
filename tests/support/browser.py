"""Chromium for the browser tests, found on the machine: Playwright's own download is never used."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, ViewportSize, sync_playwright

from tests.support.services import missing

NAMES = ("chromium", "chromium-browser", "google-chrome-stable", "google-chrome")
QUIET = (
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
PHONE: ViewportSize = {"width": 390, "height": 844}
DESK: ViewportSize = {"width": 1440, "height": 900}


def chromium_path() -> str:
    """The browser's path: `WYTHE_CHROMIUM` if set, else the first known name on the PATH."""
    named = os.environ.get("WYTHE_CHROMIUM")
    found = named or next(filter(None, map(shutil.which, NAMES)), None)
    if not found or not os.access(found, os.X_OK):
        missing(f"no Chromium ({named or ', '.join(NAMES)}); install it, or name it in WYTHE_CHROMIUM")
    return found


@contextmanager
def running_chromium() -> Iterator[Browser]:
    as_root = ("--no-sandbox",) if os.geteuid() == 0 else ()
    path = chromium_path()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=[*QUIET, *as_root])
        try:
            yield browser
        finally:
            browser.close()


def accessibility_faults(page: Page) -> list[str]:
    """What axe-core finds wrong with the page as it stands, one line per rule, with the places."""
    violations = Axe().run(page).response["violations"]
    return [
        f"{rule['id']} ({rule['impact']}): {rule['help']}: "
        + "; ".join(" ".join(node["target"]) for node in rule["nodes"])
        for rule in violations
    ]
