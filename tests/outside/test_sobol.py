"""Sobol indices against closed forms and against SALib on the same rows."""

from __future__ import annotations

import numpy as np
import pytest

from explorer.estimators import sensitivity
from tests.saltelli import evaluated, indices, ishigami, sobol_g, unit_design

# Ishigami & Homma 1990, a = 7, b = 0.1; numbers recomputed from the formulas.
ISHIGAMI = {"first": (0.31391, 0.44241, 0.0), "total": (0.55759, 0.44241, 0.24368), "variance": 13.845}
# Saltelli & Sobol 1995, G function; numbers recomputed from V_i = 1 / (3 (1 + a_i)^2).
SOBOL_G = {
    "first": (0.71619, 0.17905, 0.023676, 0.0071620),
    "total": (0.78714, 0.24220, 0.034317, 0.010460),
    "variance": 0.46542,
}


def checked(found: sensitivity.Sensitivity, truth: dict[str, object], names: list[str]) -> None:
    index = {one.name: one for one in found.indices}
    for kind in ("first", "total"):
        for name, value in zip(names, truth[kind], strict=False):  # type: ignore[call-overload]
            estimate = getattr(index[name], kind)
            # 99.99 % intervals: all of them hold at once.
            assert estimate.low <= value <= estimate.high, (kind, name)
            assert estimate.high - estimate.low < 0.08
    assert found.variance == pytest.approx(truth["variance"], rel=0.02)


def test_ishigami() -> None:
    """Source: Ishigami & Homma, ISUMA 1990, pp. 398-403, closed form."""
    names = ["x1", "x2", "x3"]
    evaluations = evaluated(ishigami, unit_design(3, 2048, 16, seed=1))
    (found,) = indices(evaluations, names, pairs=True, confidence=0.9999)
    checked(found, ISHIGAMI, names)
    # Only x1 and x3 act together: S13 = 0.55759 - 0.31391.
    assert found.pairs[0].names == ("x1", "x3")
    for pair in found.pairs:
        truth = 0.24368 if pair.names == ("x1", "x3") else 0.0
        assert pair.value.low <= truth <= pair.value.high


def test_sobol_g() -> None:
    """Source: Saltelli & Sobol, Reliability Engineering & System Safety 50 (1995), pp. 225-239.

    Closed form.
    """
    names = [f"x{j}" for j in range(1, 9)]
    evaluations = evaluated(sobol_g, unit_design(8, 1024, 16, seed=2))
    (found,) = indices(evaluations, names, confidence=0.9999)
    checked(found, SOBOL_G, names)
    assert [index.name for index in found.indices[:4]] == names[:4]


def test_same_as_salib_on_the_same_rows() -> None:
    """Independent library: SALib's sobol on A, AB and B of the same rows, first and total order."""
    from SALib.analyze import sobol

    names = ["x1", "x2", "x3"]
    design = evaluated(ishigami, unit_design(3, 2048, 16, seed=3))
    (ours,) = indices(design, names, confidence=0.9999)
    plain = np.concatenate([design[:, :, :4], design[:, :, -1:]], axis=2)
    problem = {"num_vars": 3, "names": names, "bounds": [[0, 1]] * 3}
    theirs = sobol.analyze(problem, plain.ravel(), calc_second_order=False, num_resamples=200, seed=1)
    for one in ours.indices:
        for found, key in ((one.first, "S1"), (one.total, "ST")):
            place = names.index(one.name)
            # Theirs are of half the evaluations and another formula: twice the half-width of their 95 %.
            room = 2 * theirs[f"{key}_conf"][place]
            assert found.low - room <= theirs[key][place] <= found.high + room, (one.name, key)
