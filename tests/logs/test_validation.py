"""Bands laid over logged runs: right models pass, and wrong ones are told where."""

from __future__ import annotations

import numpy as np
import pytest

from explorer.errors import SampleError
from explorer.graph.arrays import Array
from explorer.logs.validation import Validation, validate_curves
from tests.statistics_help import within
from tests.synthetic import Roughness, random_stream, roughened

AT = np.linspace(0.0, 50.0, 51)


def curves(count: int, seed: int) -> Array:
    """Draw pitch-like curves along the speed whose errors hang together: an offset, a slope and a wave."""
    random = random_stream(seed)
    offset, slope, wave = (random.standard_normal((count, 1)) for _ in range(3))
    return 5 + 0.1 * AT + 0.2 * offset + 0.3 * slope * AT / 50 + 0.15 * wave * np.sin(AT / 8)


SAMPLES = curves(1000, 1)
MEDIAN = np.median(SAMPLES, axis=0)
#: Runs a simulation, and curves that do for each: levels down to one in a hundred.
REPEATS, FEW = 300, SAMPLES[:300]


def run_of(seed: int, error: Array | float = 0.0, rows: int = 150) -> tuple[Array, Array]:
    random = random_stream(10_000 + seed)
    speed = np.sort(random.uniform(0, 50, rows))
    truth = np.interp(speed, AT, curves(1, 20_000 + seed)[0] + error)
    return speed, roughened(truth, Roughness(noise=0.1), random)


def judged(speed: Array, logged: Array, curves: Array = SAMPLES, noise: float | None = None) -> Validation:
    return validate_curves(AT, curves, speed, logged, quantity="pitch", noise=noise)


@pytest.mark.long
def test_coverage_over_many_runs_is_that_of_the_band() -> None:
    """The band holds the points of 300 runs, and what is expected of one run holds its share, as told."""
    found = [judged(*run_of(seed, rows=60), FEW) for seed in range(REPEATS)]
    coverage = np.array([one.coverage for one in found])
    assert within(float(coverage.mean()), 0.9, float(np.std(coverage, ddof=1)) / np.sqrt(REPEATS), z=3)
    # Shares of so many points come in steps, so the interval holds at least as often.
    held = np.mean([one.expected_low <= one.coverage <= one.expected_high for one in found])
    assert held >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / REPEATS), held


@pytest.mark.long
def test_an_offset_is_found_although_all_points_hang_together() -> None:
    found = [judged(*run_of(seed, 1.5)) for seed in range(20)]
    assert not any(v.explains for v in found)
    assert all(0.8 < v.bias < 2.4 for v in found)


def test_a_model_that_fails_at_speed_is_told_where() -> None:
    bend = np.maximum(AT - 35, 0) * 0.2
    validation = judged(*run_of(3, bend))
    assert not validation.explains
    longest = validation.stretches[0]
    assert longest.side == "above"
    assert longest.start > 35
    assert longest.end == pytest.approx(50, abs=1.0)
    below = judged(*run_of(3, -bend))
    assert below.stretches[0].side == "below"


def test_a_log_that_counts_pitch_the_other_way_is_told_so() -> None:
    speed, logged = run_of(4)
    told = [[one for one in judged(speed, way * logged).notes if "sign turned" in one] for way in (1, -1)]
    assert told[0] == []
    (note,) = told[1]
    assert 'positive = "nose_down"' in note
    assert not [one for one in judged(*run_of(3, 50.0)).notes if "sign turned" in one]


def test_single_dropouts_do_not_condemn_a_model() -> None:
    speed, logged = run_of(4)
    logged[[20, 60, 100]] = 0.0
    validation = judged(speed, logged)
    assert validation.explains
    assert validation.stretches == ()


def test_the_scatter_of_the_logger_is_found_and_allowed_for() -> None:
    speed, logged = run_of(5, rows=600)
    validation = judged(speed, logged)
    assert validation.noise == pytest.approx(0.1, rel=0.2)
    narrow = MEDIAN + 1e-3 * random_stream(2).standard_normal((200, 1))
    noisy = roughened(np.interp(speed, AT, MEDIAN), Roughness(noise=0.5), random_stream(6))
    assert judged(speed, noisy, narrow).explains
    assert not judged(speed, noisy, narrow, noise=0.0).explains


def test_what_weakens_a_verdict_is_said() -> None:
    speed, logged = run_of(8)
    outside = judged(np.append(speed, [60.0, 70.0]), np.append(logged, [0.0, 0.0]))
    assert outside.outside_range == 2
    assert any("2 rows were left out: nothing was predicted at their speed" in note for note in outside.notes)
    wide = MEDIAN + 5 * random_stream(2).standard_normal((200, 1))
    assert any("band is wide" in note for note in judged(speed, logged, wide).notes)
    hanging = judged(speed, np.interp(speed, AT, MEDIAN) + 0.3)
    assert hanging.effective_rows < 5
    assert any("agreement is weak evidence" in note for note in hanging.notes)


def test_too_little_to_judge_by_is_refused() -> None:
    with pytest.raises(SampleError, match="hardly overlap") as caught:
        judged(np.linspace(60, 90, 50), np.zeros(50))
    assert "0 of 50 rows" in str(caught.value.found)
    lost = SAMPLES.copy()
    lost[50:, 10] = np.nan
    with pytest.raises(SampleError, match="too few predicted curves"):
        judged(*run_of(1), lost)


def repeated(repeating: float, rows: int, deviation: float, random: np.random.Generator) -> Array:
    fresh = random.standard_normal(rows)
    values = np.empty(rows)
    values[0] = fresh[0]
    for row in range(1, rows):
        values[row] = repeating * values[row - 1] + np.sqrt(1 - repeating**2) * fresh[row]
    return deviation * values


@pytest.mark.long
@pytest.mark.parametrize(
    ("repeating", "step", "noise"),
    [
        (0.0, 0.0, None),
        (0.5, 0.0, None),
        (0.7, 0.0, None),
        (0.9, 0.0, None),
        (0.9, 0.0, 0.3),
        (0.0, 0.25, None),
    ],
)
def test_a_right_model_is_doubted_no_more_often_than_said(
    repeating: float, step: float, noise: float | None
) -> None:
    """Common practice, no source: a chance below its level comes no more often than the level says.

    Scatter is new in each row, repeated from row to row, or rounded; found, or given.
    """
    chances = []
    for seed in range(REPEATS):
        random = random_stream(50_000 + seed)
        speed = np.sort(random.uniform(0, 50, 150))
        logged = np.interp(speed, AT, curves(1, 60_000 + seed)[0]) + repeated(repeating, 150, 0.3, random)
        logged = np.round(logged / step) * step if step else logged
        chances.append(judged(speed, logged, FEW, noise).chance)
    for level in (0.01, 0.05):
        below = np.count_nonzero(np.array(chances) < level)
        assert below <= level * REPEATS + 3 * np.sqrt(REPEATS * level), (level, below)


@pytest.mark.long
def test_a_wrong_model_is_found_under_scatter_that_repeats_itself() -> None:
    bend = np.maximum(AT - 35, 0) * 0.2
    for seed in range(10):
        speed, logged = run_of(seed, bend)
        logged = logged + repeated(0.7, len(logged), 0.1, random_stream(seed))
        assert not judged(speed, logged).explains
