"""The desk in a real browser: the whole job by mouse, by keyboard, on a phone, and without scripts."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.browser.browser_help import Watch, wait_until
from tests.browser.test_page import violations
from tests.desk.test_logs import WEIGHED
from tests.desk_help import Served, demo_study, judged, serving, small_study

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

OVER = "document.querySelector('#verdicts [hx-get]') === null"


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    with serving(small_study(tmp_path)) as desk:
        yield desk


@pytest.fixture
def online(browser: Browser) -> Iterator[Page]:
    """Open a fresh tab that may ask the server."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    context.set_default_timeout(180_000)
    yield context.new_page()
    context.close()


def fill(page: Page, place: str, **fields: str) -> None:
    form = page.locator(f'[id="input-{place}"]')
    for name, text in fields.items():
        form.locator(f'[name="{name}"]').fill(text)
    form.get_by_role("button").click()


@pytest.mark.long
def test_the_whole_job_by_mouse(online: Page, tmp_path: Path) -> None:
    with serving(demo_study(tmp_path)) as served:
        watch, file = Watch(online), served.desk.file
        online.goto(served.address)
        online.get_by_role("link", name="Springs").last.click()
        wait_until(online, OVER)
        floor = online.locator(".row").last
        assert "fail" in floor.inner_text()
        fill(online, "inputs.rear_wheel_rate", mean="8.0", sd="0.2")
        wait_until(online, "document.querySelector('.row:last-child').classList.contains('pass')")
        wait_until(online, OVER)
        assert re.search(r"saved: fail, [\d.]+", floor.inner_text())
        # Every limit is decided beyond doubt by then.
        assert "16 384 of 16 384" in online.inner_text("#verdicts")
        online.get_by_role("link", name="Save …").click()
        online.locator(".difference .added").wait_for()
        assert "mean = 8.0" in online.inner_text(".difference .added")
        fill_candidate = online.locator('form[action="candidate"]')
        fill_candidate.locator('[name="name"]').fill("stiff")
        fill_candidate.get_by_role("button").click()
        online.locator('[id="sheet-candidates.stiff"]').wait_for()
        online.get_by_role("button", name="Undo").click()
        online.locator('[id="sheet-candidates.stiff"]').wait_for(state="detached")
        online.get_by_role("link", name="Save …").click()
        online.get_by_role("button", name="Save these changes").click()
        online.get_by_text("Nothing to save").wait_for()
        assert "rear_wheel_rate = { mean = 8.0, sd = 0.2" in file.read_text()
        assert watch.complaints == []
        assert [url for url in watch.requests if not url.startswith((served.address, "data:"))] == []


def test_a_change_by_keyboard_keeps_the_place(online: Page, served: Served) -> None:
    online.goto(f"{served.address}?at=body")
    wait_until(online, OVER)
    online.locator('[id="input-inputs.mass"] [name="mean"]').focus()
    online.keyboard.press("Control+A")
    online.keyboard.type("5.6")
    online.keyboard.press("Enter")
    online.get_by_text("changed, not saved").wait_for()
    assert online.evaluate("document.activeElement.name") == "mean"
    assert served.desk._bench.study.inputs["mass"].distribution.mean == 5.6


def test_a_part_is_opened_on_the_drawing_by_keyboard(online: Page, tmp_path: Path) -> None:
    with serving(demo_study(tmp_path)) as served:
        online.goto(served.address)
        online.locator('.places a[aria-label="Wing"]').focus()
        online.keyboard.press("Enter")
        online.get_by_role("heading", name="Wing", exact=True).wait_for()
        assert online.locator('.parts a[aria-current="page"]').inner_text() == "Wing"


def test_bad_input_is_told_at_its_field_and_the_verdicts_stay(online: Page, served: Served) -> None:
    online.goto(f"{served.address}?at=body")
    wait_until(online, OVER)
    before = online.inner_text("#verdicts")
    fill(online, "inputs.mass", unit="mm")
    fault = online.locator('[id="fault-inputs.mass"]')
    fault.wait_for()
    assert "inputs.mass" in fault.inner_text()
    assert online.locator('[id="input-inputs.mass"] [name="unit"]').input_value() == "mm"
    assert online.inner_text("#verdicts") == before
    fill(online, "inputs.mass", unit="kg")
    fault.wait_for(state="detached")


@pytest.mark.long
def test_a_file_changed_by_an_editor_is_noticed(online: Page, served: Served) -> None:
    online.goto(f"{served.address}?at=body")
    file = served.desk.file
    file.write_text(file.read_text().replace("360 mm", "365 mm"))
    fill(online, "inputs.mass", mean="5.7")
    online.get_by_text("changed by another program").wait_for()
    online.get_by_role("link", name="look at the difference").click()
    online.get_by_role("button", name="Take the file as it is on the disk").click()
    online.get_by_text("Nothing to save").wait_for()
    assert "365 mm" in served.desk._bench.text


@pytest.mark.long
def test_two_tabs_change_one_study(browser: Browser, served: Served) -> None:
    context = browser.new_context()
    context.set_default_timeout(180_000)
    one, two = context.new_page(), context.new_page()
    for page in (one, two):
        page.goto(f"{served.address}?at=body")
    fill(one, "inputs.mass", mean="5.4")
    one.get_by_text("changed, not saved").wait_for()
    fill(two, "inputs.cg_station", mean="180")
    two.get_by_text("changed, not saved").wait_for()
    wait_until(two, "document.querySelector('[id=\"input-inputs.mass\"] [name=mean]').value === '5.4'")
    assert "mean = 180" in served.desk._bench.text
    context.close()


EVERY_ROOM = (
    "springs",
    "unknown",
    "limits",
    "conditions",
    "candidates",
    "measurements",
    "file",
    "save",
    "packet",
)


def hinders_nobody(page: Page, served: Served, width: int, rooms: Sequence[str]) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    judged(served.desk._bench.firming)
    for room in rooms:
        page.goto(f"{served.address}?at={room}")
        assert page.evaluate("document.documentElement.scrollWidth") <= width, room
        assert violations(page) == [], room


@pytest.mark.long
@pytest.mark.parametrize("width", [1280, 400])
def test_it_hinders_nobody(online: Page, served: Served, width: int) -> None:
    served.desk._bench.change(lambda text: text.replace("mean = 5.0", "mean = 5.1"))
    hinders_nobody(online, served, width, ("body", "limits", "save"))


@pytest.mark.long
@pytest.mark.parametrize("width", [1280, 400])
def test_no_room_hinders_anyone(online: Page, tmp_path: Path, width: int) -> None:
    with serving(demo_study(tmp_path)) as served:
        served.desk._bench.change(lambda text: text.replace("mean = 2.6, sd = 0.25", "mean = 8.0, sd = 0.25"))
        hinders_nobody(online, served, width, EVERY_ROOM)


@pytest.mark.long
def test_everything_works_without_scripts(browser: Browser, served: Served) -> None:
    context = browser.new_context(java_script_enabled=False)
    context.set_default_timeout(180_000)
    page = context.new_page()
    page.goto(f"{served.address}?at=body")
    fill(page, "inputs.mass", mean="5.3")
    page.get_by_text("changed, not saved").wait_for()
    assert page.locator(".row .verdict").count() == 1
    page.get_by_role("link", name="Save …").click()
    page.get_by_role("button", name="Save these changes").click()
    page.get_by_text("Nothing to save").wait_for()
    assert "mean = 5.3" in served.desk.file.read_text()
    context.close()


@pytest.mark.long
def test_a_page_that_loses_its_server_keeps_what_was_typed(online: Page, tmp_path: Path) -> None:
    with serving(small_study(tmp_path)) as served:
        online.goto(f"{served.address}?at=body")
        wait_until(online, OVER)
        field = online.locator('[id="input-inputs.mass"] [name="mean"]')
    field.fill("5.9")
    field.press("Enter")
    online.wait_for_timeout(500)
    assert field.input_value() == "5.9"


@pytest.mark.long
@pytest.mark.parametrize("width", [1280, 400])
def test_a_log_is_dropped_fitted_and_taken_over(online: Page, served: Served, width: int) -> None:
    online.set_viewport_size({"width": width, "height": 900})
    watch = Watch(online)
    online.goto(served.address)
    online.get_by_role("link", name="Logs").click()
    online.locator('input[type="file"]').set_input_files(
        {"name": "weighed.csv", "mimeType": "text/csv", "buffer": WEIGHED}
    )
    online.get_by_role("button", name="Keep it").click()
    online.get_by_label("What was done").select_option("scales")
    online.get_by_role("button", name="Show its columns").click()
    assert violations(online) == []
    online.get_by_role("button", name="Put it into the study").click()
    online.locator(".fitted svg").first.wait_for()
    assert violations(online) == []
    assert not online.evaluate("document.documentElement.scrollWidth > innerWidth")
    online.get_by_role("button", name="Take it over").click()
    online.get_by_text("the study includes what it found").wait_for()
    online.get_by_role("link", name="Save …").click()
    assert "fitted/scales.toml" in online.inner_text(".difference")
    assert watch.complaints == []


@pytest.mark.long
def test_the_picture_of_an_input_follows_what_is_typed(online: Page, served: Served) -> None:
    online.goto(f"{served.address}?at=body")
    form = online.locator('[id="input-inputs.mass"]')
    before = form.locator(".shape").inner_html()
    form.locator('[name="mean"]').fill("50")
    form.get_by_text("Odd: mass is 50").wait_for()
    assert form.locator(".shape").inner_html() != before
    assert served.desk._bench.text == served.desk._bench.saved
