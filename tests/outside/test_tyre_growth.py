"""Tyres that grow with speed raise the car: points under it, the splitter, and where it touches the road."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from tests.checking import checks
from tests.model_help import SPRINT_CAR, evaluate

POINT = {"edge_station": 0.385, "edge_clearance_at_rest": 0.010}
FAMILY = {"point": ("edge",)}
SPEED = 50.0
#: 1 mm at 50 m/s, of tyres of 50 mm: 2 % of their radius.
BY_RISE, BY_RADIUS = {"tyre_rise_per_speed_squared": 4e-7}, {"tyre_radius": 0.05, "tyre_growth": 8e-6}


@checks("drive_power.tyre_rise")
def test_a_millimetre_at_fifty_is_a_quarter_at_half_the_speed() -> None:
    """Value from memory: centrifugal load, and with it growth, goes with the square of the speed."""
    found = evaluate(["tyre_rise"], {**BY_RISE, "speed": np.array([0.0, 25.0, SPEED])})["tyre_rise"]
    np.testing.assert_allclose(found, [0, 0.00025, 0.001], rtol=1e-9, atol=1e-15)


@pytest.mark.parametrize(("drive", "growth"), [("power", BY_RISE), ("electric", BY_RADIUS)])
@checks("point_clearance", "front_rise", "rear_rise")
def test_without_air_the_car_rises_by_what_its_tyres_gain(drive: str, growth: dict[str, float]) -> None:
    """Value from memory: geometry, radius times growth times speed squared, the same at every point."""
    car: dict[str, Any] = {**SPRINT_CAR, **POINT, **growth, "air_density": 1e-15}
    names = ["tyre_rise", "edge_clearance", "front_rise", "rear_rise"]
    speeds = np.array([0.0, 25.0, SPEED])
    found = evaluate(names, {**car, "speed": speeds}, {"drive": drive}, FAMILY)
    np.testing.assert_allclose(found["tyre_rise"], [0, 0.00025, 0.001], rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(found["edge_clearance"], 0.010 + found["tyre_rise"], rtol=1e-9)
    for axle in ("front_rise", "rear_rise"):
        np.testing.assert_allclose(found[axle], [0, 0.00025, 0.001], rtol=1e-9, atol=1e-15)


@checks("front_ride_height", "rear_ride_height")
def test_the_ride_heights_of_a_map_rise_too() -> None:
    """Value from memory: geometry, height at rest, less what the axle goes down, and what the tyres gain."""
    car = {**BY_RISE, "speed": SPEED, "front_compression": 0.002, "rear_compression": 0.005}
    car |= {"front_ride_height_at_rest": 0.012, "rear_ride_height_at_rest": 0.025}
    found = evaluate(["front_ride_height", "rear_ride_height"], car, {"aero": "map"})
    assert found["front_ride_height"] == pytest.approx(0.011, rel=1e-12)
    assert found["rear_ride_height"] == pytest.approx(0.021, rel=1e-12)


@checks("splitter_ground_effect")
def test_a_splitter_that_rises_gains_less() -> None:
    """Value from memory: the power law of the gap by hand, on springs that hold the car where it is."""
    car = {**SPRINT_CAR, **BY_RISE, "speed": SPEED, "front_wheel_rate": 1e9, "rear_wheel_rate": 1e9}
    car |= {"splitter_ground_gain": 0.8, "splitter_gap_at_rest": 0.008, "splitter_reference_gap": 0.010}
    found = evaluate(["splitter_ground_force", "dynamic_pressure", "pitch"], car)
    alone = found["dynamic_pressure"] * 0.02 * (0.55 - 2.6 * found["pitch"])
    assert found["splitter_ground_force"] == pytest.approx(alone * ((10 / 9) ** 0.8 - 1), rel=1e-4)


@checks("front_axle_load", "contact_load")
def test_a_point_touches_the_road_later_by_what_the_tyres_gain() -> None:
    """Independent solver: brentq on the load that the road takes at a point of a car on two springs."""
    slopes = {name: 0.0 for name in SPRINT_CAR if name.endswith("_pitch_slope")}
    car = {**SPRINT_CAR, **slopes, **POINT, **BY_RISE, "speed": SPEED, "contact_friction": 0.3}
    car |= {"edge_clearance_at_rest": 0.005}
    names = ["front_axle_load", "contact_load", "front_level_compression", "rear_level_compression"]
    found = evaluate([*names, "front_static_load"], car, {"contact": "points"}, FAMILY)
    share, rates = 0.385 / 0.325, (6000.0, 5200.0)
    down = [found["front_level_compression"], found["rear_level_compression"]]

    def spare(load: float) -> float:
        front, rear = down[0] - load * (1 - share) / rates[0], down[1] - load * share / rates[1]
        return float(1e5 * (front + (rear - front) * share - 0.006) - load)

    load = brentq(spare, 0.0, 500.0, xtol=1e-12)
    assert load > 5
    assert found["contact_load"] == pytest.approx(load, rel=1e-9)
    carried = found["front_static_load"] + rates[0] * down[0] - load * (1 - share)
    assert found["front_axle_load"] == pytest.approx(carried, rel=1e-9)
