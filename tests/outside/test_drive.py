"""Motor, gears and grip against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from tests.model_help import SPRINT_CAR, bare_car, evaluate, value

RPM = 2 * np.pi / 60
ELECTRIC = {"drive": "electric"}
MOTOR = {
    "battery_voltage": 22.2,
    "battery_resistance": 0.004,
    "wiring_resistance": 0.001,
    "winding_resistance": 0.005,
    "motor_speed_constant": 1000 * RPM,
    "no_load_current": 3.0,
    "current_limit": 400.0,
    "gear_ratio": 3.0,
    "tyre_radius": 0.05,
    "drive_efficiency": 0.95,
}


@pytest.mark.parametrize(("kv", "kt"), [(1000, 9.5493e-3), (2000, 4.7746e-3)])
def test_torque_constant(kv: float, kt: float) -> None:
    """Kt = 60/(2 pi kV), N m per ampere."""
    found = value("motor_torque_constant", ELECTRIC, motor_speed_constant=kv * RPM)
    assert found == pytest.approx(kt, abs=5e-8)


def test_motor_at_a_hundred_amperes() -> None:
    """Motor equations by hand: kV 1000, 22.2 V, 10 mOhm, 3 A no-load: 0.92628 N m, 21 200 rpm, 2056.4 W."""
    speed = 21_200 * RPM / 3.0 * 0.05
    names = ["voltage_limited_current", "motor_speed", "motor_torque", "motor_power"]
    found = evaluate(names, {**MOTOR, "speed": speed}, ELECTRIC)
    assert found["motor_speed"] / RPM == pytest.approx(21_200)
    assert found["voltage_limited_current"] == pytest.approx(100)
    assert found["motor_torque"] == pytest.approx(0.92628, abs=5e-6)
    assert found["motor_power"] == pytest.approx(2056.4, abs=0.05)


def test_electric_top_speed_against_the_quadratic() -> None:
    """Motor force falls in a straight line, drag rises with the square: numpy.roots."""
    car = bare_car(body_drag_area=0.02, rolling_resistance=0.02, air_density=1.2, mass=5.0, **MOTOR)
    torque_constant = 1 / MOTOR["motor_speed_constant"]
    push = MOTOR["gear_ratio"] * 0.95 / MOTOR["tyre_radius"] * torque_constant
    stall = push * (22.2 / 0.010 - 3.0)
    slope = push * 3.0 / 0.05 * torque_constant / 0.010
    roots = np.roots([-0.6 * 0.02, -slope, stall - 0.02 * 5 * 9.80665])
    found = evaluate(["top_speed", "top_speed_is_rev_limited", "rev_limited_speed"], car, ELECTRIC)
    assert found["top_speed"] == pytest.approx(roots.max(), rel=1e-9)
    assert found["top_speed_is_rev_limited"] == 1
    assert found["top_speed"] < found["rev_limited_speed"]


@pytest.mark.parametrize("growth", [0.0, 2e-5])
def test_no_torque_is_left_at_the_rev_limited_speed(growth: float) -> None:
    """Definition, with and without a growing tyre."""
    given = {**MOTOR, "tyre_growth": growth}
    speed = value("rev_limited_speed", ELECTRIC, **given)
    found = evaluate(["voltage_limited_current", "motor_torque"], {**given, "speed": speed}, ELECTRIC)
    assert found["voltage_limited_current"] == pytest.approx(3.0, abs=1e-8)
    assert found["motor_torque"] == pytest.approx(0, abs=1e-9)
    assert value("motor_torque", ELECTRIC, **{**given, "speed": speed * 1.1}) == 0


def test_what_binds_is_named_and_only_one_at_a_time() -> None:
    """Slow car, low current limit: current; short gear: revs; little grip: traction."""
    base = {**SPRINT_CAR, **MOTOR, "tyre_friction": np.array([3.0, 3.0, 0.25])}
    base["current_limit"] = np.array([40.0, 400.0, 400.0])
    base["gear_ratio"] = np.array([1.5, 4.0, 2.0])
    names = [f"top_speed_is_{what}_limited" for what in ("current", "rev", "traction", "power")]
    found = evaluate(names, base, ELECTRIC)
    np.testing.assert_array_equal(
        np.array([found[name] for name in names]), [[1, 0, 0], [0, 1, 0], [0, 0, 1], [0, 0, 0]]
    )


def test_power_or_traction_binds_the_simple_drive() -> None:
    """At the top speed the push is the smaller of the two."""
    names = ["top_speed", "top_speed_is_power_limited", "top_speed_is_traction_limited"]
    found = evaluate(names, {**SPRINT_CAR, "tyre_friction": np.array([2.0, 0.4])})
    np.testing.assert_array_equal(found["top_speed_is_power_limited"], [1, 0])
    np.testing.assert_array_equal(found["top_speed_is_traction_limited"], [0, 1])
    assert found["top_speed"][1] < found["top_speed"][0]


@pytest.mark.parametrize(
    ("share", "expected"),
    [
        # front drive: mu (L - b)/L / (1 + mu h/L); rear drive: mu b/L / (1 - mu h/L)
        (0.0, (0.17 / 0.36) / (1 + 0.045 / 0.36)),
        (1.0, (0.19 / 0.36) / (1 - 0.045 / 0.36)),
    ],
)
def test_traction_limited_acceleration_by_driven_axle(share: float, expected: float) -> None:
    """Gillespie, Fundamentals of Vehicle Dynamics, ch. 2: traction-limited acceleration in g; rear 0.6032."""
    car = bare_car(
        wheelbase=0.36,
        cg_station=0.19,
        cg_height=0.045,
        tyre_friction=1.0,
        shaft_power=1e6,
        speed=1.0,
        driven_rear_share=share,
    )
    assert value("acceleration", **car) / 9.80665 == pytest.approx(expected, rel=1e-9)


def test_an_axle_in_the_air_drives_nothing() -> None:
    """Statics: the rear of a car whose front has lifted carries all there is, and no more."""
    car = {**SPRINT_CAR, "speed": 70.0, "tyre_friction": 1.0}
    found = evaluate(["traction_limit", "front_axle_load", "weight", "total_downforce"], car)
    assert found["front_axle_load"] < 0
    assert found["traction_limit"] == pytest.approx(found["weight"] + found["total_downforce"], rel=1e-12)
    assert value("traction_limit", **{**car, "driven_rear_share": 0.0}) == 0
