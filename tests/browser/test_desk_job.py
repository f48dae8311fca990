"""The desk in a real browser: the whole job from an empty folder, by mouse or by keyboard, wide or narrow."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import pytest

from explorer.analyses.live_verdicts import FIRST_CARS, live_verdicts
from explorer.desk import firming
from explorer.study.study import load_study
from tests.browser.browser_help import Watch, wait_until
from tests.browser.test_page import violations
from tests.desk_help import Served, serving

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Locator, Page

MOST_TABS = 800


@dataclass
class Hand:
    """Works on a page by mouse alone, or by keyboard alone, and counts what it does."""

    page: Page
    by: Literal["mouse", "keyboard"]
    clicks: int = 0
    keys: int = 0

    def press(self, found: Locator) -> None:
        """Press a button, or follow a link."""
        if self.by == "mouse":
            self.clicks += 1
            found.click()
        else:
            self._go_to(found)
            self._key("Enter")

    def write(self, found: Locator, text: str) -> None:
        """Put a text into a field."""
        if self.by == "mouse":
            self.clicks += 1
            found.click(click_count=3)
        else:
            self._go_to(found)
            self._key("Control+A")
        self.page.keyboard.type(text)

    def _key(self, key: str) -> None:
        self.keys += 1
        self.page.keyboard.press(key)

    def _go_to(self, found: Locator) -> None:
        found.wait_for()
        for _ in range(MOST_TABS):
            if found.evaluate("one => one === document.activeElement"):
                return
            self._key("Tab")
        raise AssertionError(f"not to be reached by keyboard: {found}")


@pytest.fixture
def empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    """Serve an empty folder; of each change the first cars alone, which is what moves the rows."""
    monkeypatch.setattr(
        firming, "live_verdicts", lambda study, execution, known: live_verdicts(study, most=FIRST_CARS)
    )
    monkeypatch.setattr(firming, "live_leads", lambda study, execution, known: ())
    with serving(tmp_path) as desk:
        yield desk


def the_job(hand: Hand, served: Served) -> None:
    """Begin a study, put a number and a bound in, look for a name, save, ask for the packet."""
    page = hand.page
    page.goto(served.address)
    hand.press(page.get_by_role("button", name="Write the study and open it"))
    page.get_by_role("heading", name="To find out").wait_for()
    many = page.get_by_role("link", name="numbers to find out").inner_text()
    mass = page.locator('[id="input-inputs.mass"]')
    hand.write(mass.locator('[name="mean"]'), "5.4")
    hand.write(mass.locator('[name="source"]'), "kitchen scales")
    hand.press(mass.get_by_role("button", name="Set"))
    mass.wait_for(state="detached")
    assert page.get_by_role("link", name="numbers to find out").inner_text() != many
    hand.press(page.get_by_role("link", name="Limits", exact=True))
    limit = page.locator('[id="sheet-limits.0"]')
    hand.write(limit.locator('[name="key.at_least"]'), "50 kg")
    hand.press(limit.get_by_role("button", name="Set"))
    limit.locator(".fault").wait_for()
    assert limit.locator("[aria-invalid]").get_attribute("name") == "key.at_least"
    hand.write(limit.locator('[name="key.at_least"]'), "50 m/s")
    hand.press(limit.get_by_role("button", name="Set"))
    limit.locator(".fault").wait_for(state="detached")
    hand.write(page.get_by_label("Find"), "rear wheel")
    hand.press(page.get_by_role("button", name="Find", exact=True))
    rate = page.locator('[id="input-inputs.rear_wheel_rate"]')
    hand.write(rate.locator('[name="mean"]'), "8.0")
    # The next page asked for takes the place of an answer under way.
    with page.expect_response(lambda answer: "find=rear" in answer.url):
        hand.press(rate.get_by_role("button", name="Set"))
    wait_until(page, "document.querySelectorAll('.row .verdict').length === 4")
    hand.press(page.get_by_role("link", name="Save …"))
    page.locator(".difference .added").first.wait_for()
    assert violations(page) == []
    hand.press(page.get_by_role("button", name="Save these changes"))
    page.get_by_text("Nothing to save").wait_for()
    hand.press(page.get_by_role("link", name="Packet …"))
    hand.write(page.get_by_label("cars to draw"), "100")
    hand.press(page.get_by_role("button", name="Write the packet"))
    page.get_by_text("It is being written").wait_for()


@pytest.mark.long
@pytest.mark.parametrize("width", [1280, 400])
@pytest.mark.parametrize("by", ["mouse", "keyboard"])
def test_from_an_empty_folder_to_the_packet(
    browser: Browser, empty: Served, by: Literal["mouse", "keyboard"], width: int
) -> None:
    context = browser.new_context(viewport={"width": width, "height": 900})
    context.set_default_timeout(180_000)
    page = context.new_page()
    watch, hand = Watch(page), Hand(page, by)
    the_job(hand, empty)
    complaints = [one for one in watch.complaints if "422" not in one]  # the browser notes each refusal
    assert complaints == []
    assert (hand.clicks == 0, hand.keys == 0) == (by == "keyboard", by == "mouse")
    study = load_study(empty.desk.file)
    assert study.inputs["mass"].source == "kitchen scales"
    assert study.inputs["rear_wheel_rate"].distribution.mean == pytest.approx(8000)
    assert study.limits[0].asked.ends[0] == 50
    assert re.search(r"(?m)^# Every input", empty.desk.file.read_text())
    context.close()
