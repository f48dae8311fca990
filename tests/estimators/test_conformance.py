"""Verdicts from margins and counts: what counts against a limit, what decides, what the numbers say."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given as over
from hypothesis import settings
from hypothesis import strategies as st
from scipy.special import ndtr, ndtri

from explorer.errors import SampleError
from explorer.estimators import conformance
from explorer.estimators.assessment import surpluses
from tests.statistics_help import within


def normal_margins(mean: float, count: int, seed: int = 1) -> conformance.Array:
    return np.random.default_rng(seed).normal(mean, 1.0, count)


def test_pass_fail_and_undecided() -> None:
    required = 0.95
    verdicts = [
        conformance.judge_margins(normal_margins(mean, 4000), required).verdict for mean in (2.5, 1.65, 1.0)
    ]
    assert verdicts == ["pass", "undecided", "fail"]


def test_a_sample_without_an_answer_counts_against_the_limit() -> None:
    margins = np.ones(1000)
    margins[:80] = np.nan
    judged = conformance.judge_margins(margins, 0.95)
    assert (judged.verdict, judged.failed, judged.conforming) == ("fail", 80, 920)
    assert judged.margin.surplus == -math.inf
    assert judged.margin.mean == 1.0


def test_nothing_answered_is_a_fail_that_says_so() -> None:
    judged = conformance.judge_margins(np.full(200, np.nan), 0.9)
    assert (judged.verdict, judged.failed, judged.probability) == ("fail", 200, 0.0)
    assert math.isnan(judged.margin.mean)


def test_margin_of_zero_conforms() -> None:
    assert conformance.judge_margins(np.zeros(500), 0.9).probability == 1.0


def test_few_samples_support_no_pass_even_when_all_conform() -> None:
    assert conformance.judge_margins(np.ones(50), 0.95).verdict == "undecided"
    # Two-sided at 95 %: 0.95^n must fall to 0.025.
    assert conformance.judge_margins(np.ones(72), 0.95).verdict == "pass"
    assert conformance.judge_margins(np.ones(71), 0.95).verdict == "undecided"
    assert conformance.judge_margins(np.ones(71), 0.95).more_samples == 1


@pytest.mark.parametrize(("conforming", "verdict"), [(1437, "pass"), (1413, "fail")])
def test_more_samples_is_the_number_that_decides_at_the_present_estimate(
    conforming: int, verdict: str
) -> None:
    judged = conformance.judge_margins(np.where(np.arange(1500) < conforming, 1.0, -1.0), 0.95)
    assert judged.verdict == "undecided"
    assert judged.more_samples is not None
    trials = judged.trials + judged.more_samples
    enough = conformance.binomial_interval(judged.probability * trials, trials)
    short = conformance.binomial_interval(judged.probability * (trials - 1), trials - 1)
    if verdict == "pass":
        assert short[0] < 0.95 <= enough[0]
    else:
        assert enough[1] < 0.95 <= short[1]
    assert "more cars" in judged.decides


def test_estimate_at_the_requirement_is_never_decided_by_sampling() -> None:
    margins = np.where(np.arange(1000) < 950, 1.0, -1.0)
    judged = conformance.judge_margins(margins, 0.95)
    assert judged.more_samples is None
    assert judged.decides.startswith("sampling alone will not decide")


def test_guard_band_and_surplus_of_a_normal_margin() -> None:
    count, required = 200_000, 0.95
    judged = conformance.judge_margins(normal_margins(2.0, count), required)
    quantile = ndtri(required)
    density = math.exp(-(quantile**2) / 2) / math.sqrt(2 * math.pi)
    error = math.sqrt(required * (1 - required) / count) / density
    # Guard factor z = 1.6449 of JCGM 106:2012, 8.3.2, for a normal distribution.
    assert within(judged.guard_band, quantile, error + math.sqrt(math.pi / 2 / count))
    assert within(judged.margin.surplus, 2.0 - quantile, error)


@pytest.mark.long
@settings(deadline=None)
@over(
    st.integers(1, 400).flatmap(
        lambda n: st.tuples(
            st.lists(st.floats(-5, 5) | st.just(math.nan), min_size=n, max_size=n), st.floats(0.05, 0.95)
        )
    )
)
def test_surplus_agrees_with_the_estimate(drawn: tuple[list[float], float]) -> None:
    margins, required = np.array(drawn[0]), drawn[1]
    judged = conformance.judge_margins(margins, required)
    # A quantile between two samples may fall on either side; one sample decides no more than that.
    if judged.probability >= required + 1 / len(margins):
        assert judged.margin.surplus >= 0
    if judged.probability < required - 1 / len(margins):
        assert judged.margin.surplus <= 0
    assert judged.low <= judged.probability <= judged.high


@pytest.mark.long
def test_the_surplus_is_known_as_well_as_it_says() -> None:
    """What a margin may lose before its limit turns is a quantile, and its interval one of 95 %."""
    repeats, held = 1000, 0
    for seed in range(repeats):
        sure, _, possible = surpluses(normal_margins(0.0, 2000, seed), 0.9)
        held += sure <= float(ndtri(0.1)) <= possible
    assert held / repeats >= 0.95 - 3 * math.sqrt(0.95 * 0.05 / repeats)


def test_streamed_counts_give_the_same_verdict_as_kept_margins() -> None:
    margins = normal_margins(1.8, 5000)
    kept = conformance.judge_margins(margins, 0.95)
    streamed = conformance.judge_counts(
        conforming=kept.conforming,
        trials=kept.trials,
        failed=kept.failed,
        required=0.95,
        margin=conformance.summarise_margins(margins, 0.95),
    )
    assert streamed == kept


def test_replicates_give_a_narrower_interval_when_they_agree_better_than_chance() -> None:
    levels = (np.arange(1024) + 0.5) / 1024
    shifts = np.random.default_rng(2).random((8, 1))
    stratified = 1.0 + ndtri(np.clip((levels + shifts / 1024) % 1, 1e-9, 1 - 1e-9))
    by_replicates = conformance.judge_margins(stratified, 0.9)
    by_count = conformance.judge_margins(stratified.ravel(), 0.9)
    assert by_replicates.method == conformance.REPLICATES
    assert by_count.method == conformance.EXACT
    assert by_replicates.high - by_replicates.low < (by_count.high - by_count.low) / 5
    assert by_replicates.low - 1 / 1024 <= ndtr(1.0) <= by_replicates.high + 1 / 1024


def test_replicates_that_all_agree_do_not_claim_certainty() -> None:
    judged = conformance.judge_margins(np.ones((8, 100)), 0.999)
    assert judged.method == conformance.EXACT
    assert judged.low < 0.999
    assert judged.verdict == "undecided"


def test_replicate_interval_covers_as_often_as_it_says() -> None:
    generator = np.random.default_rng(5)
    estimates = generator.normal(0.7, 0.02, (4000, 8))
    ends = np.array([conformance.replicate_interval(row, 0.9) for row in estimates])
    covered = np.mean((ends[:, 0] <= 0.7) & (ends[:, 1] >= 0.7))
    assert within(covered, 0.9, math.sqrt(0.09 / 4000))


def test_joint_conformance_needs_every_limit_in_the_same_sample() -> None:
    generator = np.random.default_rng(7)
    common = generator.normal(size=20_000)
    margins = np.stack([1000 * (common + 1), 0.001 * (1 - common)])
    judged = conformance.judge_joint(margins, 0.6)
    truth = ndtr(1.0) - ndtr(-1.0)
    assert within(judged.probability, truth, math.sqrt(truth * (1 - truth) / 20_000))
    margins[0, :500] = np.nan
    assert conformance.judge_joint(margins, 0.6).failed == 500


@pytest.mark.parametrize("required", [0.0, 1.0, 1.2, math.nan])
def test_a_requirement_no_sampling_can_show_is_refused(required: float) -> None:
    with pytest.raises(SampleError, match="strictly between 0 and 1"):
        conformance.judge_margins(np.ones(10), required)


def test_no_samples_is_an_error() -> None:
    with pytest.raises(SampleError):
        conformance.judge_margins(np.empty(0), 0.9)
