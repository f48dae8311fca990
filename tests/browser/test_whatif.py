"""The what-if part of the page against the same weights worked out here, in numpy, from all kept samples."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from scipy.special import ndtri

from explorer.results.stored import Results
from reports.report import Report
from reports.whatif import FEWEST_EFFECTIVE, payload
from tests.browser.browser_help import wait_until
from tests.statistics_help import within

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.long

LOAD = "front_axle_load | closed_45"


def scores(values: np.ndarray) -> np.ndarray:
    ranks = np.argsort(np.argsort(values, kind="stable"), kind="stable")
    return np.asarray(ndtri((ranks + 0.5) / len(values)))


def log_density(z: np.ndarray, shift: float = 0.0, keep: float = 1.0) -> np.ndarray:
    return -(((z - shift) / keep) ** 2) / 2 - np.log(keep)


def weighted_share(good: np.ndarray, weights: np.ndarray) -> tuple[float, float]:
    """Probability and its standard error, by the delta method of a ratio."""
    p = float(np.sum(weights * good) / np.sum(weights))
    return p, float(np.sqrt(np.sum((weights * (good - p)) ** 2)) / np.sum(weights))


def shown(page: Page, position: int) -> float:
    match = re.match(r"[\d.]+", page.inner_text(f"[data-here='{position}']"))
    assert match is not None
    return float(match[0]) / 100


def names(results: Results) -> list[str]:
    data = payload(Report(results))
    assert data is not None
    return [entry["name"] for entry in data["inputs"]]


def test_unchanged_it_agrees_with_the_run(page: Page, address: str, results: Results) -> None:
    page.goto(address)
    for position, limit in enumerate(results.summary.limits):
        found = limit.conformance
        error = max(np.sqrt(found.probability * (1 - found.probability) / found.trials), 1e-4)
        assert within(shown(page, position), found.probability, error)


def test_moving_a_limit_moves_its_probability(page: Page, address: str, results: Results) -> None:
    assert results.samples is not None
    page.goto(address)
    page.fill("[data-limit='0'][data-side='low']", "0")
    p, error = weighted_share((results.samples[LOAD] >= 0).to_numpy(), np.ones(len(results.samples)))
    assert within(shown(page, 0), p, error)
    assert p > results.summary.limits[0].conformance.probability + 20 * error


def test_a_limit_moves_in_the_units_chosen(page: Page, address: str, results: Results) -> None:
    assert results.samples is not None
    page.goto(address)
    page.select_option("#units", label="imperial")
    page.fill("[data-limit='0'][data-side='low']", "2")
    p, error = weighted_share(
        (results.samples[LOAD] >= 2 * 4.4482216).to_numpy(), np.ones(len(results.samples))
    )
    assert within(shown(page, 0), p, error)


def test_a_shift_is_the_weight_of_the_shifted_density(page: Page, address: str, results: Results) -> None:
    assert results.samples is not None
    page.goto(address)
    position = names(results).index("rear wheel rate")
    page.focus(f"[data-shift='{position}']")
    for _ in range(8):
        page.keyboard.press("ArrowRight")
    z = scores(results.samples["rear_wheel_rate"].to_numpy())
    weights = np.exp(log_density(z, shift=0.8) - log_density(z))
    p, error = weighted_share((results.samples[LOAD] >= 5).to_numpy(), weights)
    assert within(shown(page, 0), p, error)
    effective = float(np.sum(weights) ** 2 / np.sum(weights**2))
    said = float(page.inner_text("#effective").split(" of ")[0])
    assert abs(said / effective - 1) < 0.02


def test_the_shift_agrees_with_cars_drawn_anew(page: Page, address: str, results: Results) -> None:
    """The made-up answer is linear in normal inputs, so the shifted cars can be drawn outright."""
    page.goto(address)
    position = names(results).index("rear wheel rate")
    page.focus(f"[data-shift='{position}']")
    for _ in range(10):
        page.keyboard.press("ArrowRight")
    rng = np.random.default_rng(99)
    slope, rate, splitter = rng.standard_normal((3, 400_000))
    load = 13.5 - 9.0 * slope + 7.0 * (rate + 1.0) / 1.5 + 4.0 * splitter
    good = (load >= 5) & (2.6 + 0.4 * slope <= 3.72)
    effective = float(page.inner_text("#effective").split(" of ")[0])
    p = float(good.mean())
    assert within(shown(page, 0), p, float(np.sqrt(p * (1 - p) / effective)))


def test_correlated_inputs_are_weighed_by_their_joint_density(
    page: Page, address: str, results: Results
) -> None:
    from scipy.stats import multivariate_normal

    assert results.samples is not None
    page.goto(address)
    first = names(results).index("splitter pitch slope")
    page.focus(f"[data-keep='{first}']")
    for _ in range(8):
        page.keyboard.press("ArrowLeft")
    z = np.column_stack(
        [
            scores(results.samples[name].to_numpy())
            for name in ("splitter_pitch_slope", "splitter_downforce_coefficient")
        ]
    )
    before = np.array([[1.0, 0.5], [0.5, 1.0]])
    kept = np.diag([0.6, 1.0])
    ratio = multivariate_normal(cov=kept @ before @ kept).logpdf(z) - multivariate_normal(cov=before).logpdf(
        z
    )
    p, error = weighted_share((results.samples[LOAD] >= 5).to_numpy(), np.exp(ratio))
    assert within(shown(page, 0), p, error)


def test_it_answers_as_far_as_its_sliders_go(page: Page, address: str) -> None:
    page.goto(address)
    for position in range(4):
        page.focus(f"[data-shift='{position}']")
        page.keyboard.press("End")
        page.focus(f"[data-keep='{position}']")
        page.keyboard.press("Home")
        assert "%" in page.inner_text("[data-here='0']")
    # With so many changes a slider stops before its end, says why, and the answer stays.
    assert "as far as the page can answer" in page.inner_text("#refusal")
    effective = float(page.inner_text("#effective").split(" of ")[0])
    assert effective >= FEWEST_EFFECTIVE
    ends = page.evaluate("[...document.querySelectorAll('[data-keep]')].map((field) => Number(field.value))")
    assert max(ends[:4]) > 20
    page.click("button[type='reset']")
    wait_until(page, "document.querySelector('#refusal').hidden")
    assert page.input_value("#study-lines") == ""


def test_changes_are_written_as_lines_of_a_study(page: Page, address: str, results: Results) -> None:
    page.goto(address)
    position = names(results).index("rear wheel rate")
    page.focus(f"[data-shift='{position}']")
    for _ in range(10):
        page.keyboard.press("ArrowRight")
    page.fill("[data-limit='0'][data-side='low']", "6.5")
    lines = page.input_value("#study-lines")
    assert '# limit "Front wheels carry load"' in lines
    read = tomllib.loads(lines)
    assert read["at_least"] == "6.5 N"
    entry = read["rear_wheel_rate"]
    # One standard deviation of 250 N/m above 2600 N/m.
    assert entry["unit"] == "N/mm"
    assert entry["mean"] == pytest.approx(2.85, rel=0.01)
    assert entry["sd"] == pytest.approx(0.25, rel=0.1)


def test_without_scripts_no_slider_stands_dead(browser: Any, address: str) -> None:
    context = browser.new_context(java_script_enabled=False, offline=True)
    context.set_default_timeout(180_000)
    page = context.new_page()
    page.goto(address)
    assert page.locator("#whatif-controls input:visible").count() == 0
    assert "needs scripts" in page.inner_text("#whatif")
    context.close()


def test_arrow_keys_move_a_limit_and_the_verdict_is_spoken(page: Page, address: str) -> None:
    page.goto(address)
    field = page.locator("[data-limit='0'][data-side='low']")
    field.focus()
    start = float(field.input_value())
    for _ in range(5):
        page.keyboard.press("ArrowDown")
    assert float(field.input_value()) < start
    wait_until(page, "document.querySelector('#spoken').textContent.includes('pass')")
