"""Paired comparison and choice against printed examples and reference libraries."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from statistics_help import within
from study_help import SMALL

from explorer.design.comparison import compare
from explorer.estimators.paired_comparison import (
    difference_interval,
    gain_to_decision,
    mcnemar,
    paired_difference,
)
from explorer.estimators.regression import normal_scores
from explorer.study.study import load_study


def test_exact_mcnemar_of_two_culture_media() -> None:
    """Source: Armitage & Berry, Statistical Methods in Medical Research (1994), p. 127: P = 0.0129.

    As printed in the help pages of a statistics package: 12 specimens grew on one medium only, 2 on the
    other only.
    """
    assert mcnemar(12, 2) == pytest.approx(0.0129, abs=5e-5)


@pytest.mark.parametrize(("one", "other"), [(0, 0), (3, 3), (28, 35), (0, 7), (140, 96), (5000, 4800)])
def test_exact_mcnemar_is_the_binomial_test(one: int, other: int) -> None:
    """Independent library: scipy's binomtest, two-sided, that one in two falls on either side."""
    truth = stats.binomtest(one, one + other).pvalue if one + other else 1.0
    assert mcnemar(one, other) == pytest.approx(truth, rel=1e-9)


def test_interval_of_a_paired_difference() -> None:
    """Source: Agresti & Min, Statistics in Medicine 24 (2005), p. 729.

    As the R package PropCIs 0.3-0 prints it.

    40 and 20 of 160: 95 % interval of the second less the first -0.21601726 to -0.03089632.
    """
    low, high = difference_interval(20, 40, 160)
    assert low == pytest.approx(-0.21601726, abs=5e-9)
    assert high == pytest.approx(-0.03089632, abs=5e-9)


def test_paired_mean_and_its_error_are_those_of_the_paired_t_test() -> None:
    """Independent library: scipy's ttest_rel, the interval of the mean difference."""
    generator = np.random.Generator(np.random.Philox(11))
    first, noise = generator.standard_normal((2, 4000))
    second = first + 0.05 + 0.1 * noise
    found = paired_difference(first, second)
    low, high = stats.ttest_rel(first, second).confidence_interval(0.95)
    assert found.mean == pytest.approx((low + high) / 2, rel=1e-9)
    # The t factor of 4000 pairs is that of the normal distribution to three digits.
    assert found.error == pytest.approx((high - low) / 2 / 1.9605, rel=1e-3)


def test_value_of_information_for_two_actions() -> None:
    """Source: Raiffa & Schlaifer, Applied Statistical Decision Theory (1961), ch. 5, unit normal linear loss.

    Prior N(-0.5, 1): expected value of perfect information 0.19780, of a reading with noise 0.5 0.16117;
    numbers recomputed from the formula.
    """
    samples = 60_000
    truth, noise = np.random.Generator(np.random.Philox(12)).standard_normal((2, samples))
    benefit = truth - 0.5
    payoffs = np.stack([np.zeros(samples), benefit])
    everything = gain_to_decision(payoffs)
    assert within(everything.gain.value, 0.19780, everything.gain.error)
    assert within(everything.turns.value, float(stats.norm.cdf(-0.5)), everything.turns.error)
    reading = gain_to_decision(payoffs, normal_scores(benefit + 0.5 * noise)[None])
    assert within(reading.gain.value, 0.16117, reading.gain.error)


SURELY = """
[model_errors]
front_static_load = { offset = { mean = "0 N", sd = "0.3 N", varies = true }, source = "test" }
[candidates.light_tail]
cg_station = { mean = 170, sd = 15, unit = "mm" }
[candidates.weighed]
cg_station = { mean = 180, sd = 1, unit = "mm" }
[[objectives]]
quantity = "front_static_load"
condition = "rest"
"""


def test_no_build_is_recommended_that_is_not_surely_good_often_enough(tmp_path: Path) -> None:
    """Value from memory: load N(m, s), the day N(0, d): often enough in Phi((m - 23 - z d) / s) of cars.

    The build with more load holds its limit in 91 % of runs, 90 % asked, but only 88 % of such cars do so
    in nine runs of ten, 95 % asked.
    """
    text = SMALL.format(inputs="", conditions="", limits="") + SURELY
    surely = text.replace("probability = 0.5", "probability = 0.9\nsure = 0.95")
    (tmp_path / "study.toml").write_text(surely, encoding="utf-8")
    found, _ = compare(load_study(tmp_path), samples=20_000)
    z = float(stats.norm.ppf(0.9))
    two = found.candidates[:2]
    for one, rear, spread in zip(two, (0.170, 0.180), (0.015, 0.001), strict=True):
        mean = 9.80665 * 5 * (1 - rear / 0.36)
        car = 9.80665 * math.hypot(0.1 * (1 - rear / 0.36), 5 * spread / 0.36)
        (sure,) = one.sureness.values()
        assert sure.low <= float(stats.norm.cdf((mean - 23 - 0.3 * z) / car)) <= sure.high
    assert [one.limits[0].probability > 0.905 for one in two] == [True, True]
    assert [one.verdict for one in two] == ["fail", "pass"]
    assert (found.recommended, found.decision.best) == ("weighed", "weighed")
