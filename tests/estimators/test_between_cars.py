"""How much of a limit lies between cars, against normal margins of car and day."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from explorer.estimators.between_cars import BetweenCars, between_cars
from explorer.graph.arrays import Array


def seen(mean: float, share: float, *, cars: int = 4096, seed: int = 1) -> Array:
    random = np.random.default_rng(seed)
    day = math.sqrt(1 - share) * random.standard_normal((cars, 2))
    return mean + math.sqrt(share) * random.standard_normal((cars, 1)) + day


def of_the_decision(mean: float, share: float) -> float:
    """Return the correlation of meeting the limit on two days, of normal margins that share so much."""
    both = float(multivariate_normal.cdf([mean, mean], cov=[[1, share], [share, 1]]))
    met = float(norm.cdf(mean))
    return (both - met**2) / (met * (1 - met))


@pytest.mark.parametrize(("mean", "share"), [(1.0, 0.2), (1.5, 0.7), (0.0, 0.5)])
def test_shares_are_those_of_normal_margins(mean: float, share: float) -> None:
    found = between_cars(seen(mean, share))
    assert found.margin is not None
    assert found.decision is not None
    assert found.margin.low <= share <= found.margin.high
    assert found.decision.low <= of_the_decision(mean, share) <= found.decision.high
    assert found.margin.high - found.margin.low < 0.1


def test_what_never_varies_has_no_share_and_no_answer_misses() -> None:
    assert between_cars(np.ones((200, 2))) == BetweenCars(200, None, None)
    margins = np.ones((200, 2))
    margins[:100] = np.nan
    found = between_cars(margins)
    assert found.margin is None
    assert found.decision is not None
    assert found.decision.value == pytest.approx(1.0)


@pytest.mark.long
@pytest.mark.parametrize(("mean", "share"), [(1.0, 0.2), (1.5, 0.7), (2.0, 0.5)])
def test_intervals_cover(mean: float, share: float) -> None:
    repeats = 1000
    true = (share, of_the_decision(mean, share))
    held = np.zeros(2)
    for seed in range(repeats):
        found = between_cars(seen(mean, share, cars=2048, seed=seed))
        for k, one in enumerate((found.margin, found.decision)):
            assert one is not None
            held[k] += one.low <= true[k] <= one.high
    error = math.sqrt(0.95 * 0.05 / repeats)
    assert abs(held[0] / repeats - 0.95) <= 3 * error
    # Conservative: an exact interval of a count.
    assert held[1] / repeats >= 0.95 - 3 * error
