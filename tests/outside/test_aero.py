"""Air forces: power balance of the trade, moments about the contact patches, wake, ground effect."""

from __future__ import annotations

import numpy as np
import pytest

from tests.checking import checks
from tests.model_help import SPRINT_CAR, bare_car, evaluate, value

MPH = 0.44704


def test_two_quoted_speeds_fix_wing_and_body_and_come_back() -> None:
    """Common practice, no source: 4800 W against drag, wing coefficient 0.28 to 0.07, 127 mph to 134 mph."""
    power, density = 4800.0, 1.225
    speeds = np.array([127.0, 134.0]) * MPH
    areas = power / (0.5 * density * speeds**3)
    wing = (areas[0] - areas[1]) / (0.28 - 0.07)
    body = areas[0] - 0.28 * wing
    assert wing == pytest.approx(0.03, abs=0.001)
    assert body == pytest.approx(0.034, abs=0.001)
    car = bare_car(
        wing_area=wing,
        wing_drag_coefficient_closed=0.28,
        wing_drag_coefficient_open=0.07,
        body_drag_area=body,
        air_density=density,
        shaft_power=power,
        drive_efficiency=1.0,
        flap_opening=np.array([0.0, 1.0]),
    )
    np.testing.assert_allclose(value("top_speed", **car), speeds, rtol=1e-9)


def test_balance_about_the_contact_patches() -> None:
    """Independent solver: numpy.linalg.solve for the axle loads that balance every force and moment."""
    car = {**SPRINT_CAR, "speed": 45.0, "body_drag_height": 0.06, "floor_drag_coefficient": 0.02}
    found = evaluate(
        ["front_downforce", "rear_downforce", "aero_balance_front", "pitch", "dynamic_pressure"], car
    )
    pressure, angle = found["dynamic_pressure"], found["pitch"]
    vertical = pressure * np.array(
        [0.03 * (1.55 - 2.6 * angle), 0.02 * (0.55 - 2.6 * angle), 0.065 * (0.05 - 0.9 * angle)]
    )
    drag = pressure * np.array([0.03 * 0.32, 0.065 * 0.02, 0.03])
    moment = vertical @ [0.4, -0.085, 0.1] + drag @ [0.16, 0.02, 0.06]
    front, rear = np.linalg.solve([[1, 1], [0, 0.325]], [vertical.sum(), moment])
    assert found["front_downforce"] == pytest.approx(front, rel=1e-10)
    assert found["rear_downforce"] == pytest.approx(rear, rel=1e-10)
    assert found["aero_balance_front"] == pytest.approx(front / (front + rear), rel=1e-10)


def test_a_part_over_an_axle_loads_that_axle_alone() -> None:
    """Value from memory: statics, no lever leaves no share for the other axle."""
    car = bare_car(wing_area=0.03, wing_downforce_coefficient_closed=1.0, wing_station=0.0, speed=30.0)
    assert value("aero_balance_front", **car) == pytest.approx(1.0, abs=1e-14)


@pytest.mark.parametrize(("opening", "share"), [(0.0, 0.0), (0.25, 0.25), (1.0, 1.0)])
@checks("wing.wing_downforce_coefficient", "wing.wing_drag_coefficient")
def test_flap_opening_runs_between_the_two_ends(opening: float, share: float) -> None:
    """Common practice, no source: closed at 0, open at 1, a straight line between."""
    found = evaluate(
        ["wing_drag_coefficient", "wing_downforce_coefficient"], {**SPRINT_CAR, "flap_opening": opening}
    )
    assert found["wing_drag_coefficient"] == pytest.approx(0.32 + share * (0.09 - 0.32))
    assert found["wing_downforce_coefficient"] == pytest.approx(1.55 + share * (0.35 - 1.55))


GROUND = {
    "splitter_ground_gain": 0.6,
    "splitter_gap_at_rest": 0.010,
    "splitter_reference_gap": 0.010,
    "splitter_critical_gap": 0.005,
}


@checks("splitter_ground_effect")
def test_splitter_gap_and_downforce_balance() -> None:
    """Value from memory: the power law of the gap by hand.

    The force found must be the one its own gap gives.
    """
    car = {**SPRINT_CAR, **GROUND, "speed": 35.0, "flap_opening": 1.0}
    names = ["splitter_ground_force", "front_compression", "pitch", "dynamic_pressure", "total_downforce"]
    found = evaluate(names, car)
    gap = 0.010 - found["front_compression"] - (found["pitch"] - car["static_pitch"]) * -0.085
    assert 0.005 < gap < 0.010
    expected = found["dynamic_pressure"] * 0.02 * (0.55 - 2.6 * found["pitch"]) * ((0.010 / gap) ** 0.6 - 1)
    assert found["splitter_ground_force"] == pytest.approx(expected, rel=1e-7)
    assert found["splitter_ground_force"] > 0
    without = evaluate(names, {**car, "splitter_ground_gain": 0.0})
    assert found["front_compression"] > without["front_compression"]
    assert found["total_downforce"] > without["total_downforce"]


def test_splitter_rises_towards_the_ground_then_stalls() -> None:
    """Source: Zerihan & Zhang, J. Aircraft 37(6), 2000, abstract: the trend alone.

    On springs so stiff that the gap stays what it is at rest.
    """
    gaps = np.array([0.020, 0.012, 0.008, 0.005, 0.003, 0.001])
    car = {
        **SPRINT_CAR,
        **GROUND,
        "splitter_gap_at_rest": gaps,
        "front_wheel_rate": 1e9,
        "rear_wheel_rate": 1e9,
        "speed": 30.0,
    }
    force = value("splitter_ground_force", **car)
    assert np.all(np.diff(force[:4]) > 0)
    assert np.all(np.diff(force[3:]) < 0)
