"""What measurements are worth against closed forms and other libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from explorer.estimators.measuring import (
    Accuracy,
    Measurement,
    Stake,
    Worth,
)
from explorer.estimators.regression import cross_fitted, normal_scores
from explorer.estimators.two_levels import OfCars
from explorer.graph.arrays import Array
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
    """Value from memory: y = 2 x1 + x2 + x3 / 2, sd 1, 2, 4: the reading cuts a^2 sd^4 / (sd^2 + s^2)."""
    generator = np.random.default_rng(1)
    x = {f"x{j + 1}": sd * generator.normal(size=SAMPLES) for j, sd in enumerate((1.0, 2.0, 4.0))}
    found = one_worth(x, 2 * x["x1"] + x["x2"] + x["x3"] / 2, name, noise)
    assert within(found.before.variance.value, 12.0, found.before.variance.error)
    assert within(found.after.variance.value, left, found.after.variance.error)
    assert within(found.variance_removed.value, 12.0 - left, found.variance_removed.error)


def normal_pair(required: float) -> dict[str, float]:
    """Integrate over what is read: Y ~ N(0.5, 1), of which a reading resolves 80 % of the variance."""
    m = np.linspace(-6, 7, 200_001)
    density = np.exp(-((m - 0.5) ** 2) / 1.6) / math.sqrt(1.6 * math.pi)
    passed = m >= ndtri(required) * math.sqrt(0.2)
    conforms = ndtr(m / math.sqrt(0.2))
    consumer = float(np.trapezoid(passed * density * (1 - conforms), m))
    producer = float(np.trapezoid(~passed * density * conforms, m))
    return {
        "passes": float(ndtr((0.5 - ndtri(required) * math.sqrt(0.2)) / math.sqrt(0.8))),
        "consumer": consumer,
        "producer": producer,
        "loss": producer + required / (1 - required) * consumer,
    }


@pytest.mark.parametrize("required", [0.5, 0.6, 0.8, 0.95, 0.99])
def test_the_loss_of_a_verdict_at_its_threshold(required: float) -> None:
    """Source: DeGroot, Optimal Statistical Decisions (1970), section 8.11: losses in the ratio p to 1 - p.

    Before: 69 % conform, so the limit passes up to that and its loss is p/(1 - p) x 0.30854, and fails
    beyond at a loss of 0.69146.
    """
    generator = np.random.default_rng(2)
    x = {
        "a": math.sqrt(0.8) * generator.normal(size=SAMPLES),
        "b": math.sqrt(0.2) * generator.normal(size=SAMPLES),
    }
    found = one_worth(x, 0.5 + x["a"] + x["b"], "a", 0.0, required)
    truth = normal_pair(required)
    conforming = float(ndtr(0.5))
    passes = conforming >= required
    before = required / (1 - required) * (1 - conforming) if passes else conforming
    assert found.before.passes.value == passes
    assert within(found.before.loss.value, before, found.before.loss.error)
    assert within(found.after.loss.value, truth["loss"], found.after.loss.error)
    assert within(found.loss_saved.value, before - truth["loss"], found.loss_saved.error)
    assert within(found.after.passes.value, truth["passes"], found.after.passes.error)
    assert within(found.after.consumer_risk.value, truth["consumer"], found.after.consumer_risk.error)
    assert within(found.after.producer_risk.value, truth["producer"], found.after.producer_risk.error)
    turns = 1 - truth["passes"] if passes else truth["passes"]
    assert within(found.turns.value, turns, found.turns.error)


@pytest.mark.parametrize(("day", "required"), [(0.5, 0.9), (4.0, 1 - 26 / 257)])
def test_the_loss_of_a_verdict_on_cars_with_their_days(day: float, required: float) -> None:
    """Source: DeGroot, Optimal Statistical Decisions (1970), section 8.11: losses as sure to 1 - sure.

    A car's part is N(day z + 0.5, 1) and the day adds N(0, day^2): it holds the limit often enough where its
    part reaches day z, z the normal quantile of the required probability, so the pair above is its margin.
    The second probability is where the counted day is the quantile of 256 without bias.
    """
    generator, cars, days = np.random.default_rng(5), 4096, 256
    x = {
        "a": math.sqrt(0.8) * generator.normal(size=cars),
        "b": math.sqrt(0.2) * generator.normal(size=cars),
    }
    part = day * ndtri(required) + 0.5 + x["a"] + x["b"]
    kept = OfCars.of(part[:, None] + day * generator.normal(size=(cars, days)), required).margins_of_cars(x)
    for sure in (0.6, 0.9):
        (found,) = worth_of_measurements(
            x, {"y": kept}, [Measurement("m", "m", {"a": Accuracy()}, 1.0)], [Stake("y", sure)], seed=1
        )
        truth, often = normal_pair(sure), float(ndtr(0.5))
        before = sure / (1 - sure) * (1 - often) if often >= sure else often
        assert found.before.passes.value == (often >= sure)
        assert within(found.before.loss.value, before, found.before.loss.error)
        assert within(found.after.loss.value, truth["loss"], found.after.loss.error)
        assert within(found.loss_saved.value, before - truth["loss"], found.loss_saved.error)
        assert within(found.after.passes.value, truth["passes"], found.after.passes.error)


def test_wrong_verdict_at_one_half_with_most_of_the_variance_resolved() -> None:
    """Value from memory: Y ~ N(0.5, 1), 80 % of the variance resolved: 0.30854 -> 0.12898."""
    truth = normal_pair(0.5)
    assert truth["consumer"] + truth["producer"] == pytest.approx(0.12898, abs=1e-4)


@pytest.mark.parametrize("required", [0.8, 0.9])
def test_a_margin_that_is_the_smaller_of_two_against_a_nested_monte_carlo(required: float) -> None:
    """Independent solver: numpy.random.default_rng, readings drawn, the posterior of each drawn again."""
    generator = np.random.default_rng(11)
    noise = 0.3
    x = {name: generator.normal(size=SAMPLES) for name in "abc"}

    def margin(a: Array, b: Array, c: Array) -> Array:
        return np.minimum(1 + 2 * a + 0.3 * c, 0.9 + 0.5 * b)

    found = one_worth(x, margin(x["a"], x["b"], x["c"]), "a", noise, required)
    outer, inner = 4000, 2000
    reading = generator.normal(size=outer) * math.sqrt(1 + noise**2)
    share, left = 1 / (1 + noise**2), math.sqrt(noise**2 / (1 + noise**2))
    holds = np.empty(outer)
    for k, seen in enumerate(reading):
        a = share * seen + left * generator.normal(size=inner)
        holds[k] = np.mean(margin(a, *generator.normal(size=(2, inner))) >= 0)
    passed = holds >= required
    losses = np.where(passed, required / (1 - required) * (1 - holds), holds)
    error = math.hypot(float(np.std(losses)) / math.sqrt(outer), found.after.loss.error)
    assert within(found.after.loss.value, float(losses.mean()), error)
    error = math.hypot(float(np.std(passed)) / math.sqrt(outer), found.after.passes.error)
    assert within(found.after.passes.value, float(passed.mean()), error)


def test_both_parts_of_a_smaller_of_two_read() -> None:
    """Independent library: scipy's ndtr; independent parts, the chance is the product of two normal ones."""
    generator = np.random.default_rng(12)
    a, b, c, d = generator.normal(size=(4, SAMPLES))
    margin = np.minimum(1 + 2 * a + 0.5 * c, 0.9 + 0.5 * b + 0.2 * d)
    measurement = Measurement("m", "m", {"a": Accuracy(), "b": Accuracy()}, 1.0)
    (found,) = worth_of_measurements(
        {"a": a, "b": b}, {"y": margin}, [measurement], [Stake("y", 0.9)], seed=1
    )
    passed = ndtr((1 + 2 * a) / 0.5) * ndtr((0.9 + 0.5 * b) / 0.2) >= 0.9
    assert within(found.after.passes.value, float(passed.mean()), found.after.passes.error)


@pytest.mark.parametrize(("name", "first"), [("x0", 0.31391), ("x1", 0.44241), ("x2", 0.0)])
def test_full_knowledge_is_the_first_order_index_times_the_variance(name: str, first: float) -> None:
    """Source: Ishigami & Homma, ISUMA 1990, pp. 398-403, closed form; V = 13.845."""
    points = np.random.default_rng(5).random((SAMPLES, 3))
    x = {f"x{j}": points[:, j] for j in range(3)}
    found = one_worth(x, ishigami(points), name, 0.0)
    assert within(found.variance_removed.value, first * 13.845, found.variance_removed.error)


def test_correlated_inputs_linear_gaussian() -> None:
    """Value from memory: Gauss-Markov, y = x1 + 2 x2, unit sd, correlation 0.6, x1 read with noise 0.5."""
    generator = np.random.default_rng(6)
    first, other = generator.normal(size=(2, SAMPLES))
    x = {"x1": first, "x2": 0.6 * first + 0.8 * other}
    found = one_worth(x, x["x1"] + 2 * x["x2"], "x1", 0.5)
    # Covariance of y and the reading 1 + 2 x 0.6; variance of the reading 1 + 0.25.
    removed = (1 + 2 * 0.6) ** 2 / 1.25
    assert within(found.variance_removed.value, removed, found.variance_removed.error)


def test_regression_of_jointly_normal_values() -> None:
    """Independent solver: numpy.linalg.solve for the conditional mean of a normal vector, S_yz S_zz^-1 z."""
    generator = np.random.default_rng(7)
    z = generator.multivariate_normal([0, 0, 0], [[1, 0.5, 0.3], [0.5, 1, 0.4], [0.3, 0.4, 1]], SAMPLES).T
    expected = np.linalg.solve([[1, 0.5], [0.5, 1]], [0.3, 0.4]) @ z[:2]
    fitted = cross_fitted(np.stack([normal_scores(one) for one in z[:2]]), z[2:])[0]
    residual = 1 - np.array([0.3, 0.4]) @ np.linalg.solve([[1, 0.5], [0.5, 1]], [0.3, 0.4])
    # About sixty terms fitted to 80 000 samples: an excess of 60 / 80 000 of the residual variance.
    assert np.mean((fitted - expected) ** 2) < 2 * 60 / 80_000 * residual
