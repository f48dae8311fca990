"""Updates of what the study believed: weighted samples and a Markov chain against the closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from explorer.errors import SampleError
from explorer.graph.quantity import Array
from explorer.logs.fitting.bayes import (
    log_likelihood_of_fit,
    normal_log_likelihood,
    reweighted,
    updated_by_chain,
)
from explorer.logs.fitting.readings import fit_readings
from explorer.logs.synthetic import random_stream
from tests.statistics_help import within

# Linear and normal, so the closed form is the precision-weighted mean: two quantities believed to be
# N(1, 0.5) and N(2, 1), of which the log reads the sum, 3.8 with standard deviation 0.3.
MEAN, SD = np.array([1.0, 2.0]), np.array([0.5, 1.0])
PRECISION = np.diag(1 / SD**2) + np.ones((2, 2)) / 0.3**2
AFTER = np.linalg.inv(PRECISION)
AFTER_MEAN = AFTER @ (MEAN / SD**2 + 3.8 / 0.3**2)


def likelihood(values: Array) -> Array:
    return normal_log_likelihood(np.array([3.8]), values.sum(axis=-1, keepdims=True), 0.3)


def believed(count: int, seed: int = 1) -> Array:
    return MEAN + SD * random_stream(seed).standard_normal((count, 2))


def test_weighting_agrees_with_the_closed_form() -> None:
    samples = believed(40_000)
    update = reweighted(samples, ["a", "b"], likelihood(samples))
    assert update.weakness == ""
    for i in range(2):
        spread = math.sqrt(AFTER[i, i])
        assert within(update.mean[i], AFTER_MEAN[i], spread / math.sqrt(update.effective_samples))
        assert within(update.sd[i], spread, spread / math.sqrt(2 * update.effective_samples), z=5)
    assert update.covariance[0, 1] == pytest.approx(AFTER[0, 1], rel=0.1)
    assert update.before_sd == pytest.approx(SD, rel=0.02)
    median = update.quantiles([0.5])[0]
    assert median == pytest.approx(AFTER_MEAN, abs=0.02)


def test_effective_samples_of_normal_weights_have_a_closed_form() -> None:
    # Belief N(0, 1), reading x with standard deviation s: n (E w)^2 / E w^2 for normal densities.
    samples = random_stream(2).standard_normal((200_000, 1))
    s, x = 0.5, 0.7
    update = reweighted(samples, ["a"], normal_log_likelihood(np.array([x]), samples, s))
    one = math.exp(-(x**2) / 2 / (1 + s**2)) / math.sqrt(1 + s**2) * s
    two = math.exp(-(x**2) / (2 * (1 + s**2 / 2))) / math.sqrt(1 + s**2 / 2) * s / math.sqrt(2)
    assert update.effective_samples / 200_000 == pytest.approx(one**2 / two, rel=0.02)


def test_too_few_effective_samples_are_refused_with_the_estimate() -> None:
    samples = believed(300)
    update = reweighted(samples, ["a", "b"], normal_log_likelihood(np.array([3.8]), samples[:, :1], 0.05))
    assert "worth only" in update.weakness
    assert np.isfinite(update.mean).all()
    with pytest.raises(SampleError, match="not good enough") as caught:
        update.require()
    assert f"a = {update.mean[0]:.5g}" in str(caught.value.found)
    assert "effective samples" in str(caught.value.allowed)


def test_samples_without_an_answer_count_as_impossible() -> None:
    samples = believed(5000)
    lost = np.where(samples[:, 0] > 1, np.nan, 0.0)
    update = reweighted(samples, ["a", "b"], lost)
    assert update.failed == int(np.isnan(lost).sum())
    assert update.quantiles([1.0])[0, 0] <= 1.0
    with pytest.raises(SampleError, match="no sample of the study explains"):
        reweighted(samples, ["a", "b"], np.full(5000, np.nan))


def test_repeating_rows_weaken_the_likelihood() -> None:
    # Ten rows that repeat one reading say no more than one row.
    once = normal_log_likelihood(np.array([1.0]), np.zeros((1, 1)), 0.5)
    repeated = normal_log_likelihood(np.ones(10), np.zeros((1, 10)), 0.5, repeats=10)
    assert repeated == pytest.approx(once)


def test_a_fit_may_stand_for_its_log() -> None:
    random = random_stream(3)
    readings = fit_readings(
        {"a": 1.4 + 0.2 * random.standard_normal(30), "b": 2.1 + 0.2 * random.standard_normal(30)},
        {"a": "m", "b": "m"},
    )
    samples = believed(60_000)
    update = reweighted(samples, ["a", "b"], log_likelihood_of_fit(readings, samples))
    added = np.linalg.inv(np.diag(1 / SD**2) + np.linalg.inv(readings.covariance))
    closed = added @ (MEAN / SD**2 + np.linalg.solve(readings.covariance, readings.estimates))
    for i in range(2):
        assert within(update.mean[i], closed[i], math.sqrt(added[i, i] / update.effective_samples))


def test_a_markov_chain_agrees_with_the_closed_form_and_repeats_itself() -> None:
    def density(values: Array) -> Array:
        return likelihood(values) - np.sum(((values - MEAN) / SD) ** 2, axis=-1) / 2

    update = updated_by_chain(density, believed(16), ["a", "b"], seed=5)
    assert update.weakness == ""
    for i in range(2):
        spread = math.sqrt(AFTER[i, i])
        assert within(update.mean[i], AFTER_MEAN[i], spread / math.sqrt(update.effective_samples))
        assert update.sd[i] == pytest.approx(spread, rel=0.1)
    again = updated_by_chain(density, believed(16), ["a", "b"], seed=5)
    assert np.array_equal(update.samples, again.samples)
    fit = update.as_fit(["m", "m"])
    assert fit.names == ("a", "b")
    assert fit.standard_uncertainties == pytest.approx(update.sd)
    assert "accepted" in fit.notes[0]


def test_a_short_chain_and_a_bad_start_are_refused() -> None:
    def density(values: Array) -> Array:
        return likelihood(values) - np.sum(((values - MEAN) / SD) ** 2, axis=-1) / 2

    short = updated_by_chain(density, believed(16), ["a", "b"], seed=5, most_steps=60)
    assert "is short against" in short.weakness
    with pytest.raises(SampleError, match="more walkers"):
        updated_by_chain(density, believed(3), ["a", "b"], seed=5)
    with pytest.raises(SampleError, match="where the log is impossible") as caught:
        updated_by_chain(lambda v: np.where(v[:, 0] > 1, np.nan, 0.0), believed(16), ["a", "b"], seed=5)
    assert "of 16" in str(caught.value.found)
