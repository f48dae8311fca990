"""Small probabilities of failure: regions, missing answers, margins that give no direction."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ndtr, ndtri
from scipy.stats import chi2

from explorer.errors import SampleError
from explorer.estimators import rare
from explorer.graph.arrays import Array
from tests.statistics_help import within


def bent(points: Array) -> Array:
    """Compute a margin with a curved limit, which has two most likely failing points."""
    return 4 - points[:, 0] - 0.3 * points[:, 1] ** 2 - 0.2 * np.sin(points[:, 2])


def test_agrees_with_plain_sampling() -> None:
    generator, failed, drawn = np.random.default_rng(1), 0, 2_000_000
    for _ in range(4):
        failed += int(np.count_nonzero(bent(generator.standard_normal((drawn // 4, 3))) < 0))
    plain = failed / drawn
    found = rare.rare_failure(bent, 3, seed=1)
    assert found.agree
    assert within(found.probability, plain, math.hypot(found.variation * plain, math.sqrt(plain / drawn)))


def test_coefficient_of_variation_is_what_repetition_shows() -> None:
    runs = [
        rare.rare_failure(bent, 3, seed=seed, samples=400, walks=6, weighted_samples=1500)
        for seed in range(60)
    ]
    estimates = np.array([run.weighted for run in runs])
    shown = float(np.std(estimates, ddof=1) / np.mean(estimates))
    # A standard deviation from 60 runs is known to 9 %.
    assert np.mean([run.weighted_variation for run in runs]) == pytest.approx(shown, rel=4 * 0.09)
    walked = np.array([run.subset for run in runs])
    stated = np.sqrt(np.mean([(run.subset_variation * run.subset) ** 2 for run in runs]))
    assert stated == pytest.approx(np.std(walked, ddof=1), rel=4 * 0.09)


@pytest.mark.long
@pytest.mark.parametrize("limit", ["all around", "on one side"])
def test_intervals_of_300_searches_hold_the_truth_95_times_in_100(limit: str) -> None:
    """Beyond a ball the chi-square tail of three degrees of freedom, beyond a plane the normal one."""

    def margin(u: Array) -> Array:
        if limit == "all around":
            return np.asarray(4.6 - np.linalg.norm(u, axis=1))
        return np.asarray(3.5 - u.sum(axis=1) / math.sqrt(3))

    truth = float(chi2.sf(4.6**2, 3)) if limit == "all around" else float(ndtr(-3.5))
    repeats, held = 300, 0
    for seed in range(repeats):
        found = rare.rare_failure(margin, 3, seed=seed, walks=5)
        held += found.low <= truth <= found.high
    assert abs(held / repeats - 0.95) <= 3 * math.sqrt(0.95 * 0.05 / repeats), held


def test_most_likely_failing_point_lies_on_the_limit_nearest_to_the_middle() -> None:
    found = rare.rare_failure(bent, 3, seed=2)
    point = np.array(found.most_likely)
    assert bent(point[None])[0] == pytest.approx(0, abs=1e-6)
    # Nearest point of a smooth limit: the slope points along it.
    slope = np.array([-1.0, -0.6 * point[1], -0.2 * math.cos(point[2])])
    np.testing.assert_allclose(slope / np.linalg.norm(slope), -point / np.linalg.norm(point), atol=1e-3)
    assert np.argmax(np.square(point)) == 1


def test_two_ways_to_fail_are_both_counted() -> None:
    one = rare.rare_failure(lambda u: 4 - u[:, 0], 4, seed=3)
    two = rare.rare_failure(lambda u: 4 - np.abs(u[:, 0]), 4, seed=3)
    assert within(two.probability / one.probability, 2.0, 2 * math.hypot(one.variation, two.variation))


def test_a_car_without_an_answer_fails() -> None:
    found = rare.rare_failure(lambda u: np.where(u[:, 0] > 4, np.nan, 10 - u[:, 0]), 3, seed=4)
    assert within(found.probability, 3.1671e-5, found.variation * 3.1671e-5)
    assert found.distance == pytest.approx(4, abs=0.05)


def test_common_failures_are_no_exception() -> None:
    found = rare.rare_failure(lambda u: 0.5 - u[:, 0], 2, seed=5)
    assert within(found.probability, 0.30854, found.variation * 0.30854)


def test_margin_that_jumps_gives_no_direction_and_a_wide_interval() -> None:
    found = rare.rare_failure(lambda u: np.where(u[:, 0] > 3.4, -1.0, 1.0), 2, seed=6)
    truth = 3.3693e-4
    assert found.low <= truth <= found.high


def test_nothing_found_says_how_far_it_looked() -> None:
    never = rare.rare_failure(lambda u: 100 + np.tanh(u[:, 0]), 2, seed=7, samples=500)
    assert never.probability == 0
    assert 0 < never.high < 1e-9
    assert never.note.startswith("no failure found down to about 1 car in 1")
    assert "e-" not in never.note
    assert (never.distance, never.most_likely) == (math.inf, ())
    flat = rare.rare_failure(lambda u: np.full(len(u), 5.0), 2, seed=7, samples=500, walks=4)
    assert "no direction leads on" in flat.note
    # Upper Clopper-Pearson bound of none in 2000.
    assert flat.high == pytest.approx(1 - 0.025 ** (1 / 2000))


def test_half_capped_margin_still_leads_to_the_failures() -> None:
    """Half of all samples share one margin, as of a top speed at its cap."""
    found = rare.rare_failure(lambda u: np.minimum(3.7190, 3.7190 - u[:, 0]), 2, seed=8)
    assert within(found.probability, 1e-4, found.variation * 1e-4)


def test_disagreement_takes_the_higher_and_says_so() -> None:
    found = rare._combined(2e-5, 0.05, 1e-6, 0.05, 8)
    assert (found.probability, found.method, found.agree) == (2e-5, rare.SUBSET, False)
    assert "the two methods disagree" in found.note
    missed = rare._combined(2e-5, 0.05, 0.0, math.inf, 8)
    assert (missed.probability, missed.agree) == (2e-5, False)


def test_same_seed_same_numbers() -> None:
    first, again, other = (rare.rare_failure(bent, 3, seed=seed, samples=200) for seed in (9, 9, 10))
    assert first.probability == again.probability
    assert first.probability != other.probability
    np.testing.assert_array_equal(first.most_likely, again.most_likely)


def test_cost_grows_with_the_logarithm_of_the_probability() -> None:
    """One more factor of ten costs one more step, where plain sampling would cost ten times as much."""
    distances = -ndtri([3e-3, 3e-5, 3e-7])
    spent = [
        rare.rare_failure(lambda u, b=b: b - u[:, 0], 2, seed=1, samples=2000).evaluations for b in distances
    ]
    # Two steps of 1800 in each of eight walks; two or three walks may need one step more or less.
    assert spent[1] - spent[0] == pytest.approx(2 * 8 * 1800, abs=3 * 1800)
    assert spent[2] - spent[1] == pytest.approx(2 * 8 * 1800, abs=3 * 1800)


def test_too_few_samples_are_refused() -> None:
    with pytest.raises(SampleError, match="too few samples"):
        rare.rare_failure(bent, 3, seed=1, walks=1)


def islands(points: Array) -> Array:
    """Fail beyond 3.2 on one side, where the margin leads; and in a small box, where nothing leads."""
    box = (np.abs(points[:, 0] + 1.5) < 0.1) & (np.abs(points[:, 1] + 1.5) < 0.1)
    return np.where(box, -1.0, 3.2 - points[:, 0])


def test_an_abrupt_second_way_to_fail_is_told_by_the_count() -> None:
    counted = islands(np.random.default_rng(20).standard_normal((200_000, 2)))
    failed = int(np.count_nonzero(counted < 0))
    found = rare.rare_failure(lambda u: 3.2 - u[:, 0], 2, seed=1)
    held = rare.held_against(found, failed, counted.size)
    truth = float(ndtr(-3.2) + (ndtr(-1.4) - ndtr(-1.6)) ** 2)
    assert (held.method, held.agree) == (rare.COUNTED, False)
    assert held.low <= truth <= held.high
    assert "missed a way to fail" in held.note
    # What agrees stays as it is.
    assert rare.held_against(found, round(found.probability * 200_000), 200_000) is found


@pytest.mark.long
def test_count_and_estimate_that_are_both_right_hardly_ever_contradict() -> None:
    drawn, truth, repeats = np.random.default_rng(21), 1e-3, 5000
    contradicted, kept = 0, 0
    for failed in drawn.binomial(16_384, truth, repeats):
        logarithm = math.log(truth) + 0.05 * drawn.standard_normal()
        estimate = rare._combined(math.exp(logarithm), 0.05, math.exp(logarithm), 0.05, 8)
        held = rare.held_against(estimate, int(failed), 16_384)
        contradicted += not held.agree
        kept += held.low <= truth <= held.high
    assert contradicted / repeats <= 1 / 400
    assert kept / repeats >= 0.95 - 3 * math.sqrt(0.95 * 0.05 / repeats)
