"""Given-data indices and screening against closed forms and SALib."""

from __future__ import annotations

import math

import numpy as np
import pytest

from explorer.estimators.given_data import first_order_given_data
from explorer.estimators.screening import screen_outputs
from tests.saltelli import ishigami, sobol_g, unit_design

NAMES = ["x1", "x2", "x3"]


@pytest.mark.long
def test_intervals_of_300_samples_of_correlated_inputs_hold_their_shares() -> None:
    """Value from memory: y = a + 2 b + a b / 10, correlation 0.6: variances of E(y | a), E(y | b)."""
    variance = 1 + 4 + 4 * 0.6 + 0.01 * 1.36
    truth = {"a": (2.2**2 + 0.0072) / variance, "b": (2.6**2 + 0.0072) / variance}
    held, repeats = np.zeros(2), 300
    for seed in range(repeats):
        a, rest = np.random.default_rng(seed).standard_normal((2, 4000))
        b = 0.6 * a + 0.8 * rest
        found = first_order_given_data({"a": a, "b": b}, a + 2 * b + 0.1 * a * b)
        held += [found[name].low <= truth[name] <= found[name].high for name in "ab"]
    assert np.all(np.abs(held / repeats - 0.95) <= 3 * math.sqrt(0.95 * 0.05 / repeats)), held


def test_ishigami_from_plain_samples() -> None:
    """Source: Ishigami & Homma, ISUMA 1990, pp. 398-403, closed form.

    Independent library: SALib's rbd_fast on the same samples.
    """
    from SALib.analyze import rbd_fast

    points = np.random.default_rng(1).random((20_000, 3))
    output = ishigami(points)
    found = first_order_given_data(dict(zip(NAMES, points.T, strict=True)), output, confidence=0.9999)
    problem = {"num_vars": 3, "names": NAMES, "bounds": [[0, 1]] * 3}
    theirs = rbd_fast.analyze(problem, points, output, seed=1, num_resamples=2)["S1"]
    for name, truth, other in zip(NAMES, (0.31391, 0.44241, 0.0), theirs, strict=True):
        assert found[name].low <= truth <= found[name].high
        # Two estimators on the same samples: each is within 0.02 of the truth.
        assert found[name].value == pytest.approx(other, abs=0.03)


def test_correlated_linear_gaussian() -> None:
    """Value from memory: E[y | x1] = (1 + 2 r) x1 for y = x1 + 2 x2: share (1 + 2 r)^2 / (5 + 4 r)."""
    generator = np.random.default_rng(2)
    first, other = generator.normal(size=(2, 20_000))
    for r in (-0.5, 0.0, 0.6):
        second = r * first + math.sqrt(1 - r * r) * other
        found = first_order_given_data(
            {"x1": first, "x2": second, "both": np.stack([first, second])},
            first + 2 * second,
            confidence=0.9999,
        )
        total = 5 + 4 * r
        assert found["x1"].low <= (1 + 2 * r) ** 2 / total <= found["x1"].high
        assert found["x2"].low <= (2 + r) ** 2 / total <= found["x2"].high
        assert found["both"].value == pytest.approx(1.0, abs=1e-3)


def test_screening_bounds_the_total_index() -> None:
    """Source: Saltelli & Sobol, Reliability Engineering & System Safety 50 (1995), pp. 225-239, recomputed.

    Totals 0.78714, 0.24220, 0.034317, 0.010460, then nearly zero.
    """
    design = unit_design(8, 512, 1, seed=3)[0]
    (found,) = screen_outputs(
        sobol_g(design)[..., None], [f"x{j}" for j in range(8)], ["y"], confidence=0.9999
    )
    share = {one.name: one for one in found.inputs}
    for name, total in zip(("x0", "x1", "x2", "x3"), (0.78714, 0.24220, 0.034317, 0.010460), strict=True):
        assert share[name].share == pytest.approx(total, rel=0.25)
        assert share[name].share_at_most >= total
    assert not any(share[name].matters for name in ("x4", "x5", "x6", "x7"))


def test_elementary_effects_of_a_linear_output() -> None:
    """Value from memory: for independent uniform draws E|u - u'| = 1/3, E(u - u')^2 / 2 = 1/12."""
    design = unit_design(3, 512, 1, seed=4)[0]
    (found,) = screen_outputs((design @ np.array([3.0, -2.0, 0.0]))[..., None], NAMES, ["y"])
    share = {one.name: one for one in found.inputs}
    for name, slope in (("x1", 3.0), ("x2", 2.0), ("x3", 0.0)):
        assert abs(share[name].change - slope / 3) <= 4 * share[name].change_error
        assert share[name].share == pytest.approx(slope**2 / 13, rel=0.1, abs=1e-12)
