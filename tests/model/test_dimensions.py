"""Every quantity has the unit that it says: in other units of length, mass, time and current it scales so."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from study_help import AIRFIELD, CHASE

from explorer.analyses.nominal import computable, nominal_along
from explorer.study.distributions import Exact
from explorer.study.inputs import Input
from explorer.study.study import Study, load_study
from tests.test_outside import graphs

# What each of our base units would be in units that nobody uses.
SCALES = {"m": 1.3, "kg": 1.7, "s": 1.9, "A": 1.4, "K": 1.0, "rad": 1.0, "1": 1.0}
SCALES["N"] = SCALES["kg"] * SCALES["m"] / SCALES["s"] ** 2
SCALES["J"] = SCALES["N"] * SCALES["m"]
SCALES["Pa"] = SCALES["N"] / SCALES["m"] ** 2
SCALES["W"] = SCALES["J"] / SCALES["s"]
SCALES["V"] = SCALES["W"] / SCALES["A"]
SCALES["ohm"] = SCALES["V"] / SCALES["A"]
SCALES["Hz"] = 1 / SCALES["s"]
#: A speed, a load, a stiffness or a time that the model itself takes as a number in SI units bounds them.
BOUNDED = {
    "lowest_front_load_speed",  # no lower than 1 m/s
    "run_out_distance",  # down to 1 m/s
    "run_out_time",
    "side_distance",
    "snap_margin",  # no more than a cap
    "front_wheel_hop_frequency",  # wheels without mass
    "rear_wheel_hop_frequency",
}


def scale(unit: str) -> float:
    """Return what a number in a unit of ours is multiplied by."""
    found, sign = 1.0, 1
    for part in re.split(r"([*/ ]+)", unit):
        if part.strip() in ("", "*", "/"):
            sign = -1 if "/" in part else 1
            continue
        base, power = re.fullmatch(r"([a-zA-Z1]+?)\*{0,2}(-?\d*)", part).groups()
        found *= SCALES[base] ** (sign * int(power or 1))
    return found


def scaled(study: Study, condition: str) -> dict[str, tuple[float, float]]:
    """Evaluate all that a condition can, in our units and in the others: quantity -> both, in ours."""
    # Its formula holds constants of moist air in SI units.
    density = float(nominal_along(study, condition, {}, ["air_density"])["air_density"])
    air = Input("air_density", "air_density", Exact(density), "kg/m3")
    study = replace(study, inputs={**study.inputs, "air_density": air})
    graph = study.graph
    known = {name: float(one.distribution.nominal) for name, one in study.given_in(condition).items()}
    names = [name for name in computable(study, condition) if name not in known and not graph[name].record]
    found = []
    for factor in (lambda name: 1.0, lambda name: scale(graph[name].unit)):
        car = {name: value * factor(name) for name, value in known.items()}
        values = nominal_along(study, condition, car, names)
        found.append({name: values[name] / factor(name) for name in names if np.ndim(values[name]) == 0})
    return {name: (float(found[0][name]), float(found[1][name])) for name in found[0]}


@pytest.mark.long
@pytest.mark.parametrize(
    ("folder", "condition", "least"),
    [(AIRFIELD, "closed_gaining", 100), (CHASE, "chasing", 300), (CHASE, "over_a_bump", 250)],
)
def test_a_quantity_scales_as_its_unit_says(folder: Path, condition: str, least: int) -> None:
    found = scaled(load_study(folder), condition)
    answered = {name: pair for name, pair in found.items() if math.isfinite(pair[0]) and name not in BOUNDED}
    assert len(answered) >= least
    # Straights are followed in steps and tables of speeds that do not scale.
    off = {name: pair for name, pair in answered.items() if pair[1] != pytest.approx(pair[0], rel=1e-2)}
    gaps = {"gap_at_braking_point", "pass_margin", "pass_metres_gained"}
    assert off.keys() <= gaps


def test_a_wrong_unit_is_seen() -> None:
    study = load_study(AIRFIELD)
    names = study.graph.quantities
    wrong = {**names, "weight": replace(names["weight"], unit="1")}
    changed = replace(study, graph=replace(study.graph, quantities=wrong))
    ours, theirs = scaled(changed, "closed")["weight"]
    assert theirs != pytest.approx(ours, rel=0.1)


def test_what_is_in_kelvin_is_a_temperature_and_no_difference_of_two() -> None:
    """Degrees Celsius have a zero of their own: a motor 60 degC warmer would be read as one at 333 K."""
    hot = {one.name for graph in graphs() for one in graph.quantities.values() if one.unit == "K"}
    assert {"air_temperature", "motor_temperature"} <= hot
    assert all(name.endswith("_temperature") for name in hot)
