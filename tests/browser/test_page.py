"""The page in a real browser: it works offline, by keyboard, in print, and for everyone."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from explorer.estimators.conformance import judge_margins
from explorer.results.stored import Results
from reports import render
from tests.browser.browser_help import Watch, draw_all, wait_until
from tests.report_fixture import HOSTILE

if TYPE_CHECKING:
    from playwright.sync_api import Page

AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")
# Levels A and AA of WCAG 2.0, 2.1 and 2.2, as axe-core names them.
LEVELS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def violations(page: Page) -> list[str]:
    page.evaluate(AXE)
    found: list[dict[str, Any]] = page.evaluate(
        "(levels) => axe.run(document, { runOnly: { type: 'tag', values: levels } })"
        ".then((found) => found.violations)",
        LEVELS,
    )
    return [f"{v['id']}: {v['nodes'][0]['html'][:160]} {v['nodes'][0]['failureSummary']}" for v in found]


def test_it_opens_offline_without_a_complaint(page: Page, address: str) -> None:
    watch = Watch(page)
    page.goto(address)
    draw_all(page)
    assert watch.complaints == []
    assert [url for url in watch.requests if not url.startswith(("data:", "file:"))] == []
    assert [url for url in watch.requests if url.startswith("file:")] == [address]


@pytest.mark.long
def test_charts_show_their_numbers_under_the_pointer(page: Page, address: str) -> None:
    page.goto(address)
    draw_all(page)
    chart = page.locator("#distributions .picture.live").first
    bars = chart.locator("g.mark-rect path")
    bars.nth(bars.count() // 2).hover(force=True)
    page.wait_for_selector("#tip:not([hidden])")
    assert "share of cars" in page.inner_text("#tip")
    page.keyboard.press("Escape")
    assert page.locator("#tip").is_hidden()


@pytest.mark.long
def test_units_switch_for_the_whole_page(page: Page, address: str) -> None:
    page.goto(address)
    draw_all(page)
    before = page.inner_text("#verdicts")
    assert "5 N" in before.replace("\xa0", " ")
    page.select_option("#units", label="imperial")
    words = "document.querySelector('{}').innerText"
    wait_until(page, words.format("#limit-front-wheels-carry-load .picture") + ".includes('lbf')")
    wait_until(page, r"!/\d\sN\b/.test(" + words.format("#verdicts") + ")")
    after = page.inner_text("#verdicts").replace("\xa0", " ")
    assert "lbf" in after
    assert not re.search(r"\d N\b", after)
    assert "front axle load [lbf]" in page.inner_text("#limit-front-wheels-carry-load .picture")
    page.select_option("#units", "0")
    wait_until(page, f"{words.format('#verdicts')} === {json.dumps(before)}")


@pytest.mark.long
def test_tables_sort_by_keyboard(page: Page, address: str) -> None:
    page.goto(address)
    table = page.locator("#verdicts table").first
    button = table.locator("thead button").nth(3)
    button.focus()
    page.keyboard.press("Enter")
    assert table.locator("thead th").nth(3).get_attribute("aria-sort") == "ascending"
    order = [
        float(cell.get_attribute("data-order") or "")
        for cell in table.locator("tbody tr td:nth-child(4)").all()
    ]
    assert order == sorted(order)
    page.keyboard.press("Enter")
    order = [
        float(cell.get_attribute("data-order") or "")
        for cell in table.locator("tbody tr td:nth-child(4)").all()
    ]
    assert order == sorted(order, reverse=True)
    assert "descending" in page.inner_text("#spoken")


@pytest.mark.long
def test_everything_is_reached_by_the_tab_key(page: Page, address: str) -> None:
    page.goto(address)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("location.hash") == "#content"
    page.reload()
    total = page.evaluate(
        "[...document.querySelectorAll('a[href], button, input, select, summary')]"
        ".filter((e) => e.checkVisibility()).length"
    )
    seen = set()
    for _ in range(total + 20):
        page.keyboard.press("Tab")
        place = page.evaluate("[...document.querySelectorAll('*')].indexOf(document.activeElement)")
        if page.evaluate("document.activeElement === document.body"):
            break
        seen.add(place)
    # Regions that scroll take the focus too, so that they can be scrolled by keyboard.
    assert len(seen) >= total


def test_the_focus_can_be_seen(page: Page, address: str) -> None:
    page.goto(address)
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"


@pytest.mark.long
@pytest.mark.parametrize("width", [1200, 320])
def test_nobody_is_shut_out(page: Page, address: str, width: int) -> None:
    """Axe-core's rules for WCAG 2.2 AA; 320 CSS pixels is the width of success criterion 1.4.10 (reflow)."""
    page.set_viewport_size({"width": width, "height": 800})
    page.goto(address)
    draw_all(page)
    page.evaluate("document.querySelectorAll('details').forEach((part) => { part.open = true; })")
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.long
def test_hostile_text_runs_nothing(page: Page, hostile_address: str) -> None:
    watch = Watch(page)
    page.goto(hostile_address)
    draw_all(page)
    assert watch.dialogs == []
    assert watch.complaints == []
    assert page.locator("b").count() == 0
    assert HOSTILE in page.inner_text("h1")
    assert page.title() == HOSTILE


@pytest.mark.long
def test_it_prints_whole(page: Page, address: str, results: Results, tmp_path: Path) -> None:
    from pypdf import PdfReader

    page.goto(address)
    draw_all(page)
    page.emulate_media(media="print")
    for hidden in (".contents", ".save", "details", "#whatif"):
        assert not page.locator(hidden).first.is_visible()
    colour = page.locator(".verdict-fail").first.evaluate("(mark) => getComputedStyle(mark).color")
    assert colour != "rgb(255, 255, 255)"
    target = tmp_path / "printed.pdf"
    page.pdf(path=target, format="A4")
    text = " ".join(" ".join(p.extract_text() for p in PdfReader(target).pages).split())
    for limit in results.summary.limits:
        assert limit.name in text
        assert limit.conformance.verdict in text


@pytest.mark.long
def test_saved_tables_hold_no_formula(page: Page, address: str, tmp_path: Path) -> None:
    """Cells that begin with =, +, - or @ start a formula in a spreadsheet (common practice, no source)."""
    page.goto(address)
    page.evaluate(
        "(texts) => texts.forEach((text, i) => {"
        " document.querySelector('#verdicts tbody').rows[i].cells[0].textContent = text; })",
        ['=HYPERLINK("x")', "+1+cmd|' /C calc'!A0", "@SUM(A1)", "-2"],
    )
    with page.expect_download() as started:
        page.locator("#verdicts .save").first.click()
    target = tmp_path / "table.csv"
    started.value.save_as(target)
    text = target.read_bytes().decode("utf-8-sig")
    rows = text.splitlines()
    assert started.value.suggested_filename == "compliance.csv"
    assert [row.split('","')[0] for row in rows[1:5]] == [
        '"\'=HYPERLINK(""x"")',
        "\"'+1+cmd|' /C calc'!A0",
        "\"'@SUM(A1)",
        '"-2',
    ]


def test_a_saved_table_is_data(page: Page, address: str, results: Results, tmp_path: Path) -> None:
    """One number a column, its unit in the head: pandas reads the verdicts back as they are."""
    import pandas as pd

    page.goto(address)
    with page.expect_download() as started:
        page.locator("#verdicts .save").first.click()
    target = tmp_path / "table.csv"
    started.value.save_as(target)
    read = pd.read_csv(target)
    shares = [name for name in read if str(name).endswith("[%]") and read[name].dtype.kind in "fi"]
    found = [limit.conformance for limit in results.summary.limits]
    for wanted in ("probability", "low", "high"):
        close = [
            name
            for name in shares
            if all(abs(read[name][i] - 100 * getattr(one, wanted)) < 0.06 for i, one in enumerate(found))
        ]
        assert close, f"no column holds {wanted} in per cent: {list(read)}"
    lows = next(name for name in read if str(name).startswith("Required from"))
    asked = [limit.low for limit in results.summary.limits]
    assert read[lows][:2].tolist() == pytest.approx(asked[:2])
    assert read["Required unit"].tolist() == ["N", "N", "km/h", "mm"]
    # No cell holds a number with its unit, an interval, or a sign that no program reads.
    for column in read.columns[2:]:
        for text in read[column].dropna().astype(str):
            assert not re.search(r"\d (to|±) \d|[\u2212\u202f]|\d\s?%", text), (column, text)


@pytest.mark.long
def test_long_tables_can_be_searched(page: Page, address: str) -> None:
    page.goto(address)
    page.evaluate("document.querySelectorAll('details').forEach((part) => { part.open = true; })")
    fields = page.locator("input[type='search']")
    assert fields.count() > 0
    rows = page.locator(".find + .scroll table").first.locator("tbody tr")
    before = rows.count()
    word = rows.nth(2).locator("th, td").first.inner_text()
    page.locator(".find input").first.fill(word)
    shown = sum(row.is_visible() for row in rows.all())
    assert 0 < shown < before
    page.locator(".find input").first.fill("")
    assert all(row.is_visible() for row in rows.all())


@pytest.mark.long
def test_dark_by_preference_and_readable(page: Page, address: str) -> None:
    page.emulate_media(color_scheme="dark")
    page.goto(address)
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(20, 24, 28)"
    assert violations(page) == []
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"


def test_contents_are_folded_on_a_phone(page: Page, address: str) -> None:
    page.set_viewport_size({"width": 400, "height": 800})
    page.goto(address)
    wait_until(page, "!document.querySelector('.contents details').open")
    assert page.locator(".contents ol").is_hidden()


@pytest.mark.long
@pytest.mark.parametrize("width", [320, 400])
def test_charts_of_named_rows_need_no_scrolling_on_a_phone(page: Page, address: str, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 800})
    page.goto(address)
    draw_all(page)
    fitted = page.locator(".picture.fitted svg")
    assert fitted.count() > 0
    for chart in fitted.all():
        assert chart.evaluate("(drawn) => drawn.closest('.scroll').scrollWidth") <= width - 32
        size = chart.locator("text").first.evaluate("(text) => text.getBoundingClientRect().height")
        assert size > 9


@pytest.mark.parametrize(("margin", "words"), [(90.0, "far inside"), (-90.0, "far short")])
def test_a_phone_shows_where_a_limit_is_met_or_missed_by_far(
    page: Page, tmp_path: Path, results: Results, margin: float, words: str
) -> None:
    """Beyond the ends of the picture there is no bar: words in it say which way the cars lie."""
    margins = margin + np.linspace(-1, 1, 1000)
    limits = [replace(one, conformance=judge_margins(margins, 0.9)) for one in results.summary.limits]
    summary = replace(results.summary, limits=tuple(limits), candidates=None, design=None)
    done = render(replace(results, summary=summary), tmp_path, forms=("html",))
    page.set_viewport_size({"width": 320, "height": 800})
    page.goto(done.paths["html"].as_uri())
    draw_all(page)
    shown = page.locator("#limits .picture.fitted svg")
    assert shown.count() == 1
    assert shown.locator("text", has_text=words).count() == len(limits)
    assert shown.locator("text", has_text="required").count() == 0


def test_without_scripts_the_page_still_shows_everything(
    browser: Any, address: str, results: Results
) -> None:
    context = browser.new_context(java_script_enabled=False, offline=True)
    context.set_default_timeout(180_000)
    page = context.new_page()
    page.goto(address)
    for limit in results.summary.limits:
        assert limit.name in page.inner_text("#verdicts")
    assert page.locator("#distributions svg").count() == page.locator("#distributions .picture").count() > 0
    context.close()
