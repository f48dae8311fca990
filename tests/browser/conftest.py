"""A real browser, driven without a window; what needs a tool that is not installed is left out."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from explorer.results.stored import Results
from reports import render
from tests.report_analyses import with_analyses
from tests.report_fixture import hostile_results

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
PDFTOPPM = shutil.which("pdftoppm")
collect_ignore = [] if PDFTOPPM else ["test_pictures.py"]
if CHROMIUM is None:
    collect_ignore += ["test_page.py", "test_whatif.py", "test_desk.py", "test_desk_job.py"]

_SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def pytest_report_collectionfinish() -> str:
    """Say whether the browser tests are part of this run."""
    missing = [
        f"{tool} (Debian: apt install {package})"
        for tool, package, found in (
            ("chromium", "chromium", CHROMIUM),
            ("pdftoppm", "poppler-utils", PDFTOPPM),
        )
        if found is None
    ]
    if missing:
        return f"browser and picture tests left out for want of {' and '.join(missing)}"
    return f"browser tests with {CHROMIUM}"


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One browser for the session, with an empty profile of its own."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=CHROMIUM, args=_SWITCHES)
        yield started
        started.close()


@pytest.fixture(scope="session")
def results() -> Results:
    """Return the made-up run of the page under test."""
    return with_analyses()


def _written(results: Results, folder: Path) -> str:
    return render(results, folder, forms=("html",)).paths["html"].as_uri()


@pytest.fixture(scope="session")
def address(results: Results, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Where the page under test lies."""
    return _written(results, tmp_path_factory.mktemp("page"))


@pytest.fixture(scope="session")
def hostile_address(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Where the page lies whose every text tries to be a program."""
    return _written(hostile_results(), tmp_path_factory.mktemp("hostile"))


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """Open a fresh tab that is offline."""
    context = browser.new_context(
        viewport={"width": 1200, "height": 900}, offline=True, accept_downloads=True
    )
    # The driver gives up after half a minute otherwise, which a busy machine may need.
    context.set_default_timeout(180_000)
    yield context.new_page()
    context.close()
