"""What measurements are worth against closed forms and other libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ndtr

from explorer.estimators.measuring import (
    Accuracy,
    Measurement,
    Stake,
    Worth,
)
from explorer.estimators.regression import cross_fitted, normal_scores
from explorer.graph.quantity import Array
from tests.measuring_help import worth_of_measurements
from tests.saltelli import ishigami
from tests.statistics_help import within

SAMPLES = 100_000


def one_worth(x: dict[str, Array], margin: Array, name: str, noise: float, required: float = 0.95) -> Worth:
    measurement = Measurement("m", "m", {name: Accuracy(noise=noise)}, 1.0)
    (found,) = worth_of_measurements(x, {"y": margin}, [measurement], [Stake("y", required)], seed=1)
    return found


@pytest.mark.parametrize(
    ("name", "noise", "left"), [("x1", 0.5, 8.8), ("x2", 0.5, 8.2353), ("x3", 1.0, 8.2353)]
)
def test_linear_gaussian_variance(name: str, noise: float, left: float) -> None:
    """Source: y = 2 x1 + x2 + x3 / 2, sd 1, 2, 4: the reading cuts a^2 sd^4 / (sd^2 + s^2) (formula)."""
    generator = np.random.default_rng(1)
    x = {f"x{j + 1}": sd * generator.normal(size=SAMPLES) for j, sd in enumerate((1.0, 2.0, 4.0))}
    found = one_worth(x, 2 * x["x1"] + x["x2"] + x["x3"] / 2, name, noise)
    assert within(found.before.variance.value, 12.0, found.before.variance.error)
    assert within(found.after.variance.value, left, found.after.variance.error)
    assert within(found.variance_removed.value, 12.0 - left, found.variance_removed.error)


def test_wrong_call_with_most_of_the_variance_resolved() -> None:
    """Source: Y ~ N(0.5, 1), 80 % of the variance resolved: 0.30854 -> 0.12898 (formula).

    The other columns are closed forms of the same normal pair: with m ~ N(0.5, 0.8) and residual sd 0.44721,
    the limit is known to hold with 95 % where m >= 1.64485 x 0.44721.
    """
    generator = np.random.default_rng(2)
    x = {
        "a": math.sqrt(0.8) * generator.normal(size=SAMPLES),
        "b": math.sqrt(0.2) * generator.normal(size=SAMPLES),
    }
    found = one_worth(x, 0.5 + x["a"] + x["b"], "a", 0.0)
    known = 1.644854 * math.sqrt(0.2)
    passes, fails = ndtr((0.5 - known) / math.sqrt(0.8)), ndtr((-known - 0.5) / math.sqrt(0.8))
    assert within(found.before.wrong_call.value, 0.30854, found.before.wrong_call.error)
    assert within(found.after.wrong_call.value, 0.12898, found.after.wrong_call.error)
    assert within(found.wrong_calls_avoided.value, 0.30854 - 0.12898, found.wrong_calls_avoided.error)
    assert within(found.after.passes.value, passes, found.after.passes.error)
    assert within(found.after.fails.value, fails, found.after.fails.error)
    assert within(found.turns.value, passes, found.turns.error)


def test_global_risks() -> None:
    """Source: JCGM 106:2012, 9.5, as a double integral over the normal pair, done here by quadrature."""
    generator = np.random.default_rng(3)
    x = {
        "a": math.sqrt(0.8) * generator.normal(size=SAMPLES),
        "b": math.sqrt(0.2) * generator.normal(size=SAMPLES),
    }
    found = one_worth(x, 0.5 + x["a"] + x["b"], "a", 0.0)
    m = np.linspace(-6, 7, 200_001)
    density = np.exp(-((m - 0.5) ** 2) / 1.6) / math.sqrt(1.6 * math.pi)
    accepted = m >= 1.644854 * math.sqrt(0.2)
    conforms = ndtr(m / math.sqrt(0.2))
    consumer = np.trapezoid(accepted * density * (1 - conforms), m)
    producer = np.trapezoid(~accepted * density * conforms, m)
    assert within(found.after.consumer_risk.value, consumer, found.after.consumer_risk.error)
    assert within(found.after.producer_risk.value, producer, found.after.producer_risk.error)
    # Nothing known: 69 % is short of 95 %, so every car is turned down.
    assert found.before.consumer_risk.value == 0
    assert within(found.before.producer_risk.value, ndtr(0.5), found.before.producer_risk.error)


@pytest.mark.parametrize(("name", "first"), [("x0", 0.31391), ("x1", 0.44241), ("x2", 0.0)])
def test_full_knowledge_is_the_first_order_index_times_the_variance(name: str, first: float) -> None:
    """Source: Ishigami & Homma 1990, closed form; V = 13.845."""
    points = np.random.default_rng(5).random((SAMPLES, 3))
    x = {f"x{j}": points[:, j] for j in range(3)}
    found = one_worth(x, ishigami(points), name, 0.0)
    assert within(found.variance_removed.value, first * 13.845, found.variance_removed.error)


def test_correlated_inputs_linear_gaussian() -> None:
    """Source: Gauss-Markov: y = x1 + 2 x2, unit sd, correlation 0.6, x1 read with noise 0.5 (formula)."""
    generator = np.random.default_rng(6)
    first, other = generator.normal(size=(2, SAMPLES))
    x = {"x1": first, "x2": 0.6 * first + 0.8 * other}
    found = one_worth(x, x["x1"] + 2 * x["x2"], "x1", 0.5)
    # Covariance of y and the reading 1 + 2 x 0.6; variance of the reading 1 + 0.25.
    removed = (1 + 2 * 0.6) ** 2 / 1.25
    assert within(found.variance_removed.value, removed, found.variance_removed.error)


def test_regression_of_jointly_normal_values() -> None:
    """Source: conditional mean of a normal vector, S_yz S_zz^-1 z (formula)."""
    generator = np.random.default_rng(7)
    z = generator.multivariate_normal([0, 0, 0], [[1, 0.5, 0.3], [0.5, 1, 0.4], [0.3, 0.4, 1]], SAMPLES).T
    expected = np.linalg.solve([[1, 0.5], [0.5, 1]], [0.3, 0.4]) @ z[:2]
    fitted = cross_fitted(np.stack([normal_scores(one) for one in z[:2]]), z[2:])[0]
    residual = 1 - np.array([0.3, 0.4]) @ np.linalg.solve([[1, 0.5], [0.5, 1]], [0.3, 0.4])
    # About sixty terms fitted to 80 000 samples: an excess of 60 / 80 000 of the residual variance.
    assert np.mean((fitted - expected) ** 2) < 2 * 60 / 80_000 * residual
