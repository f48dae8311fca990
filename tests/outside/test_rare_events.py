"""Small probabilities against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.special import ndtr

from explorer.estimators.rare import RareFailure, rare_failure
from tests.statistics_help import within


def agrees(found: RareFailure, truth: float) -> None:
    assert found.agree
    assert within(found.probability, truth, found.variation * truth)
    assert within(found.subset, truth, found.subset_variation * truth)
    assert within(found.weighted, truth, found.weighted_variation * truth)


@pytest.mark.parametrize("dimensions", [2, 25])
@pytest.mark.parametrize("distance", [2.3263, 3.7190, 4.7534])
def test_straight_limit(dimensions: int, distance: float) -> None:
    """Independent library: scipy's ndtr, P = Phi(-distance) of a straight limit: 1e-2, 1e-4, 1e-6."""
    direction = np.arange(1.0, dimensions + 1)
    direction /= np.linalg.norm(direction)
    found = rare_failure(lambda u: distance - u @ direction, dimensions, seed=11)
    agrees(found, float(ndtr(-distance)))
    assert found.variation < 0.05
    assert found.distance == pytest.approx(distance, abs=1e-6)
    np.testing.assert_allclose(np.square(found.most_likely) / found.distance**2, direction**2, atol=1e-4)


def test_outside_a_ball() -> None:
    """Independent library: scipy's stats.chi2 with three degrees of freedom: failures in every direction."""
    found = rare_failure(lambda u: 30 - np.sum(u**2, axis=1), 3, seed=12)
    agrees(found, float(stats.chi2.sf(30, 3)))


def test_lognormal_strength_and_load() -> None:
    """Independent library: scipy's ndtr; the ratio of two lognormal values is lognormal."""
    sd_strength, sd_load = 0.10, 0.25
    distance = np.log(3.5) / np.hypot(sd_strength, sd_load)
    found = rare_failure(
        lambda u: 3.5 * np.exp(sd_strength * u[:, 0]) - np.exp(sd_load * u[:, 1]), 2, seed=13
    )
    agrees(found, float(ndtr(-distance)))
    # The load's spread leads to the failure: its share of the squared distance is that of its variance.
    assert (found.most_likely[1] / found.distance) ** 2 == pytest.approx(
        sd_load**2 / (sd_strength**2 + sd_load**2), abs=1e-3
    )


def test_sum_of_exponential_values() -> None:
    """Independent library: scipy's stats.erlang, P(sum of 5 exponentials > 30), inputs by their quantiles."""
    found = rare_failure(lambda u: 30 + np.sum(np.log(ndtr(-u)), axis=1), 5, seed=14)
    agrees(found, float(stats.erlang.sf(30, 5)))


def test_four_branch_series_system() -> None:
    """Value from memory: Waarts 2000, four-branch series system, P = 2.2e-3; here by quadrature."""

    def margin(u: np.ndarray) -> np.ndarray:
        difference, total = u[:, 0] - u[:, 1], (u[:, 0] + u[:, 1]) / np.sqrt(2)
        curved = 3 + 0.1 * difference**2
        return np.minimum(curved - np.abs(total), 7 / np.sqrt(2) - np.abs(difference))

    # Rotated by 45 degrees, the two coordinates separate: integrate one, the other is a normal tail.
    across = np.linspace(-10, 10, 200_001)
    weight = np.exp(-(across**2) / 2) / np.sqrt(2 * np.pi)
    beyond = np.abs(across) * np.sqrt(2) > 7 / np.sqrt(2)
    failing = np.where(beyond, 1.0, 2 * ndtr(-(3 + 0.2 * across**2)))
    truth = float(np.trapezoid(weight * failing, across))
    assert truth == pytest.approx(2.2e-3, abs=0.05e-3)
    agrees(rare_failure(margin, 2, seed=15), truth)
