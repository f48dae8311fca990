"""The cheap looks: screening many inputs, and first-order indices from kept samples."""

from __future__ import annotations

import numpy as np
import pytest

from explorer.errors import SampleError
from explorer.estimators.given_data import first_order_given_data
from explorer.estimators.screening import screen_outputs
from explorer.graph.arrays import Array
from tests.saltelli import unit_design


def many(points: Array) -> Array:
    return 3 * points[..., 4] + np.sin(6 * points[..., 11]) + 0.01 * points[..., 2]


def test_few_of_many_inputs_matter_and_only_these_are_kept() -> None:
    design = unit_design(30, 64, 1, seed=1)[0]
    names = [f"x{j}" for j in range(30)]
    (found,) = screen_outputs(many(design)[..., None], names, ["y"])
    assert [one.name for one in found.inputs if one.matters] == ["x4", "x11"]
    assert found.rows == 64
    assert all(one.share_at_most < 0.01 for one in found.inputs[2:])


def test_screening_odd_outputs() -> None:
    design = unit_design(3, 32, 1, seed=2)[0]
    outputs = np.stack([np.full(design.shape[:-1], 1e6), 1e9 + design[..., 0]], axis=-1)
    outputs[3, 1, 1] = np.nan
    constant, offset = screen_outputs(outputs, ["a", "b", "c"], ["constant", "offset"])
    assert constant.note.startswith("does not vary")
    assert not any(one.matters for one in constant.inputs)
    assert offset.left_out == 1
    assert [one.matters for one in offset.inputs] == [True, False, False]
    outputs[..., 0] = np.nan
    with pytest.raises(SampleError, match="too few rows"):
        screen_outputs(outputs, ["a", "b", "c"], ["none", "offset"])
    with pytest.raises(SampleError, match="do not fit"):
        screen_outputs(outputs[:, :3], ["a", "b", "c"], ["none", "offset"])


def test_given_data_odd_outputs() -> None:
    x = np.random.default_rng(1).normal(size=(2, 2000))
    assert first_order_given_data({"a": x[0]}, np.full(2000, 3.0))["a"].value == 0
    near = first_order_given_data({"a": x[0], "b": x[1]}, x[0] + 0.5 * x[1])
    far = first_order_given_data({"a": x[0], "b": x[1]}, 1e6 + x[0] + 0.5 * x[1])
    assert list(near) == ["a", "b"]
    assert near["a"].value == pytest.approx(far["a"].value, abs=1e-6)
    damaged = x[0] + 0.5 * x[1]
    damaged[::50] = np.inf
    assert first_order_given_data({"a": x[0]}, damaged)["a"].value == pytest.approx(0.8, abs=0.04)
    with pytest.raises(SampleError, match="too few finite"):
        first_order_given_data({"a": x[0]}, np.full(2000, np.nan))
