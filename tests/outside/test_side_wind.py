"""Side wind: strip areas, slopes of low plates, statics, and the turn of a two-wheel model."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.checking import checks
from tests.model_help import SPRINT_CAR, evaluate, scattered_cars, value

SIDE: dict[str, Any] = {
    "side_wind": 5.0,
    "side_area": 0.07,
    "side_height": 0.115,
    "side_pressure_station": 0.02,
    "end_plate_area": 0.024,
    "end_plate_height": 0.1,
    "end_plate_station": 0.4,
    "tyre_friction": 1.2,
    "speed": 45.0,
}


@pytest.mark.parametrize(("aspect", "slope"), [(0.1, 0.157), (0.3, 0.471), (0.5, 0.785)])
def test_slope_of_low_plates(aspect: float, slope: float) -> None:
    """Value from memory: half pi times the aspect ratio below one (Jones; Hoerner, Fluid-Dynamic Lift)."""
    car = {**SIDE, "side_height": np.sqrt(aspect * 0.07 / 2), "end_plate_height": np.sqrt(aspect * 0.012)}
    found = evaluate(["side_force_slope", "end_plate_slope"], car)
    assert found["side_force_slope"] == pytest.approx(slope, rel=0.06)
    assert found["end_plate_slope"] == pytest.approx(slope, rel=0.06)


def test_slope_of_wider_plates() -> None:
    """Value from memory: Helmbold's equation, 1.4833 and 2.6026 per radian for aspect ratios of 1 and 2."""
    heights = np.sqrt(np.array([1.0, 2.0]) * 0.07 / 2)
    np.testing.assert_allclose(
        value("side_force_slope", **{**SIDE, "side_height": heights}), [1.4833, 2.6026], atol=5e-5
    )


@checks("side_force", "side_force_station", "yaw_moment")
def test_side_force_by_strips() -> None:
    """Value from memory: slope and cross flow on strips along the car, summed here."""
    car = {**SPRINT_CAR, **SIDE}
    found = evaluate(["side_force", "side_force_station", "yaw_moment"], car)
    air = np.array([45.0, 5.0])
    pressure, angle = 0.6 * air @ air, np.arctan(5.0 / 45.0)
    force = moment = 0.0
    for area, height, station in ((0.07, 0.115, 0.02), (0.024, 0.1, 0.4)):
        aspect = 2 * height**2 / area
        slope = 2 * np.pi * aspect / (2 + np.sqrt(4 + aspect**2))
        strips = np.linspace(-0.1, 0.1, 201)[:-1] + 0.0005
        pushes = pressure * area / len(strips) * (slope * np.sin(2 * angle) / 2 + np.sin(angle) ** 2)
        force += pushes * len(strips)
        moment += np.sum(pushes * (station + strips))
    assert found["side_force"] == pytest.approx(force, rel=1e-9)
    assert found["side_force_station"] == pytest.approx(moment / force, rel=1e-9)
    assert found["yaw_moment"] == pytest.approx(moment - 0.172 * force, rel=1e-9)


@checks("front_side_load", "rear_side_load")
def test_axles_hold_force_and_moment() -> None:
    """Value from memory: statics, both axles hold the force.

    Their moment about the centre of gravity the yaw.
    """
    names = ["side_force", "front_side_load", "rear_side_load", "yaw_moment"]
    cars = {**scattered_cars(20), **SIDE}
    found = evaluate(names, cars)
    np.testing.assert_allclose(found["front_side_load"] + found["rear_side_load"], found["side_force"])
    held = found["rear_side_load"] * (0.325 - cars["cg_station"])
    held -= found["front_side_load"] * cars["cg_station"]
    np.testing.assert_allclose(held, found["yaw_moment"], rtol=1e-9)


@pytest.mark.parametrize("station", [-0.05, 0.1, 0.2, 0.3])
def test_weathercock_sense_of_a_two_wheel_model(station: float) -> None:
    """Independent solver: numpy.linalg.solve for the bicycle model in the wind, steering held straight."""
    car = {**SPRINT_CAR, **SIDE, "side_pressure_station": station, "end_plate_area": 0.0}
    names = ["weathercock_lever", "front_axle_load", "rear_axle_load", "side_force"]
    found = {name: float(each) for name, each in evaluate(names, car).items()}
    # Tyres as stiff as loaded; wind from the left pushes to the right, a turn to the left is into the wind.
    front, rear = (40.0 * found[f"{end}_axle_load"] for end in ("front", "rear"))
    ahead, behind, speed = 0.172, 0.325 - 0.172, 45.0
    push, lever = -found["side_force"], ahead - station
    matrix = np.array(
        [
            [-(front + rear) / speed, (behind * rear - ahead * front) / speed - 4.6 * speed],
            [(behind * rear - ahead * front) / speed, -(ahead**2 * front + behind**2 * rear) / speed],
        ]
    )
    assert np.linalg.det(matrix) > 0
    _, turn = np.linalg.solve(matrix, [-push, -lever * push])
    assert np.sign(turn) == np.sign(found["weathercock_lever"])


@checks("front_grip_left", "rear_grip_left")
def test_grip_left_at_each_axle() -> None:
    """Value from memory: friction circle, push and side force at right angles use up friction times load."""
    names = ["front_grip_left", "rear_grip_left", "front_axle_load", "rear_axle_load", "held_push"]
    names += ["front_side_load", "rear_side_load", "resistance_force"]
    found = {name: float(each) for name, each in evaluate(names, {**SPRINT_CAR, **SIDE}).items()}
    assert found["held_push"] == pytest.approx(found["resistance_force"], rel=1e-12)
    front = 1.2 * found["front_axle_load"] - abs(found["front_side_load"])
    assert found["front_grip_left"] == pytest.approx(front, rel=1e-12)
    # The side force that would just slide the tail, found by closing in on the circle.
    left = found["rear_grip_left"] + found["rear_side_load"]
    assert np.hypot(left, found["held_push"]) == pytest.approx(1.2 * found["rear_axle_load"], rel=1e-12)


def test_a_lifted_front_turns_away_from_the_wind() -> None:
    """Common practice, no source: a car that stands on its rear wheels alone is blown round by its nose."""
    car = {**SPRINT_CAR, **SIDE, "speed": 70.0, "front_axle_load": -1.0, "rear_axle_load": 80.0}
    found = evaluate(["weathercock_lever", "front_grip_left", "neutral_steer_station"], car)
    assert found["neutral_steer_station"] == pytest.approx(0.325)
    assert found["weathercock_lever"] < 0
    assert found["front_grip_left"] < 0
    none = evaluate(["side_force", "yaw_moment", "side_force_station"], {**car, "side_wind": 0.0})
    assert none["side_force"] == none["yaw_moment"] == 0
    assert none["side_force_station"] == 0.02
