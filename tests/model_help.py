"""Evaluate quantities of the models from plain numbers, the way a study would."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.graph import Graph
from explorer.graph.program import compile_program
from explorer.model import modules
from tests.checking import handed_out, with_altered_record


@cache
def graph_of(
    choices: tuple[tuple[str, str], ...], families: tuple[tuple[str, tuple[str, ...]], ...]
) -> Graph:
    """Return the graph of some models, built once."""
    return Graph.build(modules(dict(choices)), dict(families))


def defaults(graph: Graph, throttle: str = "holding") -> dict[str, float]:
    """Return what stands for each quantity where nothing is given, in a car driven so."""
    found = {q.name: q.default for q in graph.quantities.values() if q.default is not None}
    if throttle != "holding":
        del found["longitudinal_acceleration"]
    return found | ({"driving_force": 0.0} if throttle == "coasting" else {})


def evaluate(
    wanted: Sequence[str],
    given: Mapping[str, Any],
    choices: Mapping[str, str] | None = None,
    families: Mapping[str, tuple[str, ...]] | None = None,
    throttle: str = "holding",
) -> dict[str, Any]:
    """Return the wanted quantities in one condition, driven so; defaults are filled in."""
    graph = graph_of(tuple((choices or {}).items()), tuple((families or {}).items()))
    values = {**defaults(graph, throttle), **given}
    program = compile_program(
        graph, [(name, "only") for name in wanted], {"only": {name: name for name in values}}
    )
    program = with_altered_record(program, graph)
    found = program.run({name: values[name] for name in program.leaves})
    return handed_out({name: found[name, "only"] for name in wanted}, given, graph)


def value(name: str, choices: Mapping[str, str] | None = None, **given: Any) -> Array:
    """Return one quantity in one condition."""
    return np.asarray(evaluate([name], given, choices)[name])


DEGREE = np.pi / 180

#: An invented car of the kind the project is for; its nose comes up at speed with the flap closed.
#: Its grip is out of any tyre's reach: tests that are about grip say what it is.
SPRINT_CAR: dict[str, Any] = {
    # Closed forms and solvers here take the mass on the scales.
    "rotating_mass_factor": 1.0,
    "mass": 4.6,
    "wheelbase": 0.325,
    "cg_station": 0.172,
    "cg_height": 0.05,
    "static_pitch": -0.46 * DEGREE,
    "body_drag_area": 0.03,
    "wing_area": 0.03,
    "wing_drag_coefficient_closed": 0.32,
    "wing_drag_coefficient_open": 0.09,
    "wing_downforce_coefficient_closed": 1.55,
    "wing_downforce_coefficient_open": 0.35,
    "wing_pitch_slope": 2.6,
    "wing_station": 0.4,
    "wing_height": 0.16,
    "splitter_area": 0.02,
    "splitter_downforce_coefficient": 0.55,
    "splitter_pitch_slope": 2.6,
    "splitter_station": -0.085,
    "floor_area": 0.065,
    "floor_downforce_coefficient": 0.05,
    "floor_pitch_slope": 0.9,
    "floor_station": 0.1,
    "front_wheel_rate": 3000.0,
    "rear_wheel_rate": 2600.0,
    "rolling_resistance": 0.025,
    "tyre_friction": 100.0,
    "shaft_power": 4200.0,
    "drive_efficiency": 0.83,
    "air_density": 1.2,
}

#: Standard deviations that go with it.
SPRINT_CAR_SPREAD = {
    "mass": 0.03,
    "cg_station": 0.004,
    "cg_height": 0.004,
    "static_pitch": 0.11 * DEGREE,
    "body_drag_area": 0.003,
    "wing_drag_coefficient_closed": 0.03,
    "wing_drag_coefficient_open": 0.015,
    "wing_downforce_coefficient_closed": 0.12,
    "wing_downforce_coefficient_open": 0.08,
    "wing_pitch_slope": 0.4,
    "wing_station": 0.006,
    "splitter_downforce_coefficient": 0.1,
    "splitter_pitch_slope": 0.5,
    "splitter_station": 0.01,
    "floor_downforce_coefficient": 0.05,
    "floor_pitch_slope": 0.25,
    "floor_station": 0.02,
    "front_wheel_rate": 200.0,
    "rear_wheel_rate": 250.0,
    "rolling_resistance": 0.005,
    "shaft_power": 250.0,
    "drive_efficiency": 0.03,
}


def scattered_cars(samples: int, seed: int = 20) -> dict[str, Any]:
    """Return the sprint car with its spread, normal and independent."""
    stream = np.random.Generator(np.random.Philox(seed))
    return {
        name: centre + SPRINT_CAR_SPREAD[name] * stream.standard_normal(samples)
        if name in SPRINT_CAR_SPREAD
        else centre
        for name, centre in SPRINT_CAR.items()
    }


def bare_car(**changes: Any) -> dict[str, Any]:
    """Return a car without any downforce, for checks that want drag or springs alone."""
    nothing = {
        name: 0.0
        for name in SPRINT_CAR
        if name.startswith(("wing_", "splitter_", "floor_", "static_", "body_", "rolling_"))
    }
    return {**SPRINT_CAR, **nothing, **changes}
