"""Intervals of counted probabilities against printed values and other libraries."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from explorer.estimators.conformance import binomial_interval


def test_five_failures_in_a_thousand() -> None:
    """Source: Clopper & Pearson, Biometrika 26 (1934), pp. 404-413, recomputed: [0.0016254, 0.011629]."""
    low, high = binomial_interval(5, 1000)
    assert low == pytest.approx(0.0016254, abs=5e-8)
    assert high == pytest.approx(0.011629, abs=5e-7)


def test_no_failure_in_a_thousand_one_sided() -> None:
    """Value from memory: 1 - 0.05^(1/1000) = 0.0029912, upper bound of a one-sided 95 % interval."""
    assert binomial_interval(0, 1000, confidence=0.90)[1] == pytest.approx(0.0029912, abs=5e-8)


@pytest.mark.parametrize(
    ("conforming", "trials"), [(0, 10), (10, 10), (3, 10), (950, 1000), (99_990, 100_000)]
)
@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.999])
def test_against_scipy(conforming: int, trials: int, confidence: float) -> None:
    """Independent library: scipy's stats.binomtest, method exact."""
    theirs = stats.binomtest(conforming, trials).proportion_ci(confidence, method="exact")
    assert binomial_interval(conforming, trials, confidence) == pytest.approx(
        tuple(theirs), rel=1e-9, abs=1e-12
    )


def test_exact_interval_covers_at_least_as_often_as_it_says() -> None:
    """Independent library: scipy's stats.binom; the property that defines the interval, summed exactly."""
    trials = 40
    for probability in (0.02, 0.3, 0.5, 0.91):
        covered = math.fsum(
            stats.binom.pmf(count, trials, probability)
            for count in range(trials + 1)
            if binomial_interval(count, trials)[0] <= probability <= binomial_interval(count, trials)[1]
        )
        assert covered >= 0.95
