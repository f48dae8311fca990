"""The adaptive procedure against the worked figures of JCGM 101:2008."""

from __future__ import annotations

import math

import numpy as np
import pytest

from explorer.estimators.stopping import BATCH, Batches, numerical_tolerance, stability
from tests.statistics_help import batch_of


@pytest.mark.parametrize(
    ("uncertainty", "figures", "tolerance"),
    [(0.00035, 2, 0.000005), (0.00035, 1, 0.00005), (2.0, 1, 0.5), (0.0996, 2, 0.005), (9.96, 2, 0.5)],
)
def test_numerical_tolerance(uncertainty: float, figures: int, tolerance: float) -> None:
    """Source: JCGM 101:2008, 7.9.2, the 100 g mass standard and the 2 K examples (values from memory).

    The last two follow from the rule: 0.0996 is 10 x 10^-2 in two figures, and 9.96 is 10 x 10^0.
    """
    assert numerical_tolerance(uncertainty, figures) == pytest.approx(tolerance)


def test_four_normal_inputs_added() -> None:
    """Source: JCGM 101:2008, 9.2.2: u = 2.0, 95 % interval +-3.92; two figures, so a tolerance of 0.05."""
    generator = np.random.default_rng(1)
    drawn, found = [], None
    while found is None or not found.settled:
        drawn.append(batch_of(generator.normal(size=(4, BATCH)).sum(axis=0)))
        found = stability(Batches.of(drawn))
    assert found.tolerance == 0.05
    figures = np.mean([(one.mean, one.sd, one.low, one.high) for one in drawn], axis=0)
    # The procedure promises the tolerance at about 95 %; twice that must hold.
    np.testing.assert_allclose(figures, [0.0, 2.0, -3.92, 3.92], atol=2 * found.tolerance)
    # Ends of the interval settle last: 2 x 2.67 x 2 / 100 / sqrt(h) <= 0.05 from about h = 5 on.
    assert 2 <= found.batches <= 20


def test_standard_error_is_that_of_the_batches() -> None:
    """Source: JCGM 101:2008, 7.9.4 g: s^2 = sum (y_r - y)^2 / (h (h - 1)); against 2 u / sqrt(h M)."""
    generator = np.random.default_rng(2)
    drawn = [batch_of(generator.normal(0.0, 3.0, 2000)) for _ in range(200)]
    found = stability(Batches.of(drawn))
    expected = 2 * 3.0 / math.sqrt(200 * 2000)
    # Relative scatter of a standard deviation from 200 values: 1 / sqrt(2 x 199) = 5 %.
    assert found.mean == pytest.approx(expected, rel=4 * 0.05)
    assert found.sd == pytest.approx(expected / math.sqrt(2), rel=4 * 0.05)
