"""Formulas of one line: weight and energy, power and gears, ways at a held speed, areas and moments."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from tests.checking import checks
from tests.mechanism_help import MM, ask
from tests.model_help import evaluate, value


@checks("weight", "kinetic_energy", "fence_energy")
def test_weight_and_energy() -> None:
    """Independent library: scipy's quad of momentum over speed; standard gravity, 9.80665, from memory."""
    found = evaluate(
        ["weight", "kinetic_energy", "fence_energy"], {"mass": 4.6, "speed": 50.0, "fence_speed": 18.0}
    )
    assert found["weight"] == pytest.approx(45.11059, rel=1e-9)
    for name, speed in (("kinetic_energy", 50.0), ("fence_energy", 18.0)):
        assert found[name] == pytest.approx(quad(lambda v: 4.6 * v, 0.0, speed)[0], rel=1e-9)


@checks("drive_electric.wheel_force", "drive_electric.wheel_power", "motor_speed", "motor_power")
def test_a_motor_through_its_gears() -> None:
    """Source: Gillespie, Fundamentals of Vehicle Dynamics, ch. 2: 0.4 N m, 3.5 : 1, on wheels of 50 mm.

    One turn of the wheel is 2 pi 50 mm of road and three and a half turns of the motor.
    """
    motor = {"motor_torque": 0.4, "gear_ratio": 3.5, "drive_efficiency": 0.9, "rolling_radius": 0.05}
    names = ["wheel_force", "wheel_power", "motor_speed", "motor_power"]
    found = evaluate(names, {**motor, "speed": 20.0}, {"drive": "electric"})
    turns_a_second = 20.0 / (2 * np.pi * 0.05) * 3.5
    shaft = 0.4 * 2 * np.pi * turns_a_second
    assert found["motor_speed"] == pytest.approx(2 * np.pi * turns_a_second, rel=1e-12)
    assert found["motor_power"] == pytest.approx(shaft, rel=1e-12)
    assert found["wheel_power"] == pytest.approx(0.9 * shaft, rel=1e-12)
    assert found["wheel_force"] == pytest.approx(0.9 * shaft / 20.0, rel=1e-12)


@checks("motor_current", "driving_force")
def test_the_smaller_limit_decides() -> None:
    """Common practice, no source: current and push are what the tighter of two limits leaves."""
    for amps, grip in ((80.0, 30.0), (200.0, 70.0)):
        limits = {"voltage_limited_current": amps, "current_limit": 120.0}
        assert value("motor_current", {"drive": "electric"}, **limits) == sorted([amps, 120.0])[0]
        assert value("driving_force", wheel_force=50.0, traction_limit=grip) == sorted([grip, 50.0])[0]


@checks("reaction_distance", "fail_safe_closing_distance", "time_gap_to_car_ahead")
def test_ways_at_a_held_speed() -> None:
    """Value from memory: way is speed times time; at 45 m/s 0.9 s are 40.5 m, at 15 m/s 3.6 m are 0.24 s."""
    delays = {"speed": 45.0, "reaction_time": 0.8, "radio_delay": 0.1}
    assert value("reaction_distance", **delays) == pytest.approx(40.5, rel=1e-12)
    shut = ask("fail_safe_closing_distance", speed=45.0, fail_safe_closing_time=0.2)
    assert shut["fail_safe_closing_distance"] == pytest.approx(9.0, rel=1e-12)
    gap = {"gap_to_car_ahead": 3.0, "car_length": 0.6, "corner_exit_speed": 15.0}
    assert value("time_gap_to_car_ahead", **gap) == pytest.approx(0.24, rel=1e-12)


@checks("rear_brake_share")
def test_where_two_brakes_push() -> None:
    """Independent library: numpy.average of the rear's share of each brake, weighted by their pushes."""
    brakes = {"friction_brake_force": 30.0, "motor_brake_force": 12.0}
    places = {"brake_balance_front": 0.65, "driven_rear_share": 0.8}
    share = np.average([0.35, 0.8], weights=[30.0, 12.0])
    found = value("rear_brake_share", {"brakes": "fitted"}, **brakes, **places)
    assert found == pytest.approx(share, rel=1e-9)


@checks("rear_load_in_braking")
def test_the_rear_axle_under_the_brakes() -> None:
    """Independent solver: numpy.linalg.solve for two axle loads that hold weight and inertia."""
    car = {"mass": 4.6, "wheelbase": 0.325, "cg_station": 0.172, "cg_height": 0.05, "grade": 0.0}
    air = {"front_downforce": 0.0, "rear_downforce": 0.0, "braking_deceleration": 7.0}
    still = {"front_contact_load": 0.0, "rear_contact_load": 0.0}
    _, rear = np.linalg.solve(
        [[1.0, 1.0], [0.0, 0.325]], [4.6 * 9.80665, 4.6 * 9.80665 * 0.172 - 4.6 * 7.0 * 0.05]
    )
    assert value("rear_load_in_braking", **car, **air, **still) == pytest.approx(rear, rel=1e-9)


@checks("wing_aspect_ratio", "element_area", "element_unbalance", "element_line_load")
def test_areas_and_moments_of_plates() -> None:
    """Independent library: numpy.trapezoid over plates; span over mean chord is the ratio, from memory."""
    span = np.linspace(0.0, 0.3, 1001)
    chord = 0.12 - 0.2 * span / 2
    area = np.trapezoid(chord, span)
    ratio = value("wing_aspect_ratio", {"wing": "geometry"}, wing_span=0.3, wing_area=area)
    assert ratio == pytest.approx(0.3 / np.mean(chord), rel=1e-3)
    names = [f"lower_flap_{each}" for each in ("area", "unbalance", "line_load", "normal_force")]
    found = dict(
        zip(names, ask(*names, load_factor=1.5, lower_flap_pivot_fraction=0.4).values(), strict=True)
    )
    assert found["lower_flap_area"] == pytest.approx(np.trapezoid(np.full(9, 30 * MM), dx=31 * MM), rel=1e-9)
    # Half of the mass at either end of a rod as heavy, its middle where the element's mass is.
    places = 30 * MM * (np.array([0.37, 0.57]) - 0.4)
    assert found["lower_flap_unbalance"] == pytest.approx(0.012 * places.sum(), rel=1e-9)
    carried = np.trapezoid(np.full(9, found["lower_flap_line_load"]), dx=31 * MM)
    assert carried == pytest.approx(1.5 * found["lower_flap_normal_force"], rel=1e-9)
