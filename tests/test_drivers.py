"""What drives each limit: only what can matter is ranked, correlated inputs as one, nothing done twice."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from study_help import DEMO

from explorer.drivers import make_design, run_drivers
from explorer.engine import make_plan, margin_of
from explorer.sampling import saltelli_blocks, saltelli_columns
from explorer.study import load_study

Writer = Callable[..., Path]

BRAKING = """
[conditions.braking]
speed = "0 m/s"
longitudinal_acceleration = { low = -12, high = -6, unit = "m/s^2" }
"""
MORE = """
[[limits]]
name = "mass"
quantity = "weight"
condition = "rest"
at_least = "40 N"
"""


def test_blocks_are_those_of_evaluating_everything_everywhere() -> None:
    study = load_study(DEMO)
    design = make_design(study)
    first, second = saltelli_columns(study.seed, design.plan.uncertain, 0, design.rows.bit_length() - 1)
    blocks = saltelli_blocks(design.plan.draw(first), design.plan.draw(second), design.groups)
    wanted = [(limit.quantity, c) for limit in study.limits for c in (limit.condition, limit.minus) if c]
    plan = make_plan(study, wanted)
    brute = [
        np.stack([margin_of(limit, found) for limit in study.limits], axis=1)
        for found in (plan.evaluate(block) for block in blocks)
    ]
    np.testing.assert_array_equal(design.replicate(0), np.stack(brute, axis=1))


def test_inputs_that_are_not_upstream_are_left_out(small_study: Writer) -> None:
    study = load_study(small_study(limits=MORE))
    ranked = {name: {index.name for index in found.indices} for name, found in run_drivers(study).items()}
    assert ranked == {"front load": {"mass", "cg_station"}, "mass": {"mass"}}


def test_correlated_inputs_are_one_group(small_study: Writer) -> None:
    pair = '[[correlations]]\nbetween = ["mass", "cg_station"]\nvalue = -0.7\n'
    (found,) = run_drivers(load_study(small_study(inputs=pair))).values()
    (index,) = found.indices
    assert index.members == ("mass", "cg_station")
    assert index.total.value == pytest.approx(1.0, abs=0.01)


def test_an_uncertain_condition_is_an_input_of_its_own(small_study: Writer) -> None:
    limit = (
        '[[limits]]\nname = "nose"\nquantity = "load_transfer"\ncondition = "braking"\nat_least = "-99 N"\n'
    )
    height = 'cg_height = { mean = 50, sd = 4, unit = "mm", source = "test" }\n'
    found = run_drivers(load_study(small_study(height, BRAKING, limit)))["nose"]
    assert found.indices[0].name == "longitudinal_acceleration@braking"


def test_a_study_without_uncertainty_ranks_nothing(small_study: Writer) -> None:
    folder = small_study()
    text = (folder / "study.toml").read_text()
    for old, new in (("mean = 5.0, sd = 0.1", "value = 5.0"), ("mean = 190, sd = 5", "value = 190")):
        text = text.replace(old, new)
    (folder / "study.toml").write_text(text)
    assert run_drivers(load_study(folder)) == {}
