"""Cars that miss a limit beside the rest."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import norm

from explorer.estimators.groups import apart, enough, fifths, missed_together


def test_medians_of_a_cut_normal_lie_where_its_quantiles_say() -> None:
    """Source: common practice, no source; medians of both halves of a normal cut at one quantile."""
    random = np.random.default_rng(5)
    values = 3 + 2 * random.standard_normal(20_000)
    missing = values > 3 + 2 * norm.ppf(0.7)
    found = apart(values, missing)
    expected = norm.ppf(0.85) - norm.ppf(0.35)
    assert found.shift == pytest.approx(expected, abs=0.05)
    assert found.rest.low < found.rest.median < found.rest.high < found.missing.low


def test_an_input_of_no_influence_does_not_stand_out() -> None:
    random = np.random.default_rng(6)
    shifts = []
    for _ in range(200):
        found = apart(random.standard_normal(400), random.random(400) < 0.2)
        # The error is that of means; medians scatter by sqrt(pi/2) more.
        shifts.append(found.shift / (found.error * np.sqrt(np.pi / 2)))
    assert np.std(shifts) == pytest.approx(1.0, abs=0.2)


def test_fifths_count_every_car_once() -> None:
    values = np.arange(103.0)
    slices = fifths(values, values < 30)
    assert sum(part.cars for part in slices) == 103
    assert [part.missing for part in slices] == [21, 9, 0, 0, 0]
    assert all(a.high < b.low for a, b in pairwise(slices))


def test_cars_that_miss_two_limits_are_counted() -> None:
    one, other = np.array([True, True, False, True]), np.array([True, False, False, True])
    assert missed_together([one, other]) == ((3, 2), (2, 2))
    assert not enough(one)
