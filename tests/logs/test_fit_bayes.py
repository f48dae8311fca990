"""Updates of what the study believed: weighted samples against the closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from explorer.errors import SampleError
from explorer.graph.arrays import Array
from explorer.logs.fitting.bayes import reweighted
from tests.statistics_help import within
from tests.synthetic import random_stream

# Linear and normal, so the closed form is the precision-weighted mean: two quantities believed to be
# N(1, 0.5) and N(2, 1), of which the log reads the sum, 3.8 with standard deviation 0.3.
MEAN, SD = np.array([1.0, 2.0]), np.array([0.5, 1.0])
PRECISION = np.diag(1 / SD**2) + np.ones((2, 2)) / 0.3**2
AFTER = np.linalg.inv(PRECISION)
AFTER_MEAN = AFTER @ (MEAN / SD**2 + 3.8 / 0.3**2)


def log_likelihood(read: float, predicted: Array, sd: float) -> Array:
    """Of one reading with normal scatter, up to a constant."""
    return -(((predicted - read) / sd) ** 2) / 2


def believed(count: int, seed: int = 1) -> Array:
    return MEAN + SD * random_stream(seed).standard_normal((count, 2))


def test_weighting_agrees_with_the_closed_form() -> None:
    samples = believed(40_000)
    update = reweighted(samples, ["a", "b"], log_likelihood(3.8, samples.sum(axis=1), 0.3))
    assert update.weakness == ""
    for i in range(2):
        spread = math.sqrt(AFTER[i, i])
        assert within(update.mean[i], AFTER_MEAN[i], spread / math.sqrt(update.effective_samples))
        assert within(update.sd[i], spread, spread / math.sqrt(2 * update.effective_samples), z=5)
    assert update.covariance[0, 1] == pytest.approx(AFTER[0, 1], rel=0.1)
    assert update.before_sd == pytest.approx(SD, rel=0.02)


def test_effective_samples_of_normal_weights_have_a_closed_form() -> None:
    # Belief N(0, 1), reading x with standard deviation s: n (E w)^2 / E w^2 for normal densities.
    samples = random_stream(2).standard_normal((200_000, 1))
    s, x = 0.5, 0.7
    update = reweighted(samples, ["a"], log_likelihood(x, samples[:, 0], s))
    one = math.exp(-(x**2) / 2 / (1 + s**2)) / math.sqrt(1 + s**2) * s
    two = math.exp(-(x**2) / (2 * (1 + s**2 / 2))) / math.sqrt(1 + s**2 / 2) * s / math.sqrt(2)
    assert update.effective_samples / 200_000 == pytest.approx(one**2 / two, rel=0.02)


def test_too_few_effective_samples_are_refused_with_the_estimate() -> None:
    samples = believed(300)
    update = reweighted(samples, ["a", "b"], log_likelihood(3.8, samples[:, 0], 0.05))
    assert "worth only" in update.weakness
    assert np.isfinite(update.mean).all()
    fit = update.as_fit(["m", "m"])
    assert fit.names == ("a", "b")
    assert fit.standard_uncertainties == pytest.approx(update.sd)
    with pytest.raises(SampleError, match="worth only") as caught:
        fit.require()
    assert f"a = {update.mean[0]:.5g}" in str(caught.value.found)


def test_samples_without_an_answer_count_as_impossible() -> None:
    samples = believed(5000)
    lost = np.where(samples[:, 0] > 1, np.nan, 0.0)
    update = reweighted(samples, ["a", "b"], lost)
    possible = samples[samples[:, 0] <= 1]
    assert update.effective_samples == pytest.approx(len(possible))
    assert update.mean == pytest.approx(possible.mean(axis=0))
    with pytest.raises(SampleError, match="no sample of the study explains"):
        reweighted(samples, ["a", "b"], np.full(5000, np.nan))
