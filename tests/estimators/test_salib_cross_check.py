"""The cross-check against SALib on outputs that are not sound."""

from __future__ import annotations

import warnings

import numpy as np

from explorer.estimators import sensitivity
from explorer.graph.arrays import Array
from tests.saltelli import evaluated, ishigami, unit_design


def test_cross_check_survives_what_salib_does_not() -> None:
    """A value that is not a number, a constant, and a huge offset beside a sound output."""
    sound = evaluated(ishigami, unit_design(3, 256, 1, seed=5))[0]
    damaged, constant, offset = sound.copy(), np.full_like(sound, 2.0), sound + 1e6
    damaged[7, 1] = np.nan
    outputs: Array = np.concatenate([sound, damaged, constant, offset], axis=-1)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        differences = sensitivity.cross_check_with_salib(outputs, ["a", "b", "c"])
    assert differences[2] is None
    for difference, tolerance in zip(
        (differences[0], differences[1], differences[3]), (1e-12, 1e-12, 1e-8), strict=True
    ):
        assert difference is not None
        assert difference < tolerance
