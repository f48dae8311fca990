"""Motor, gears and grip against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from tests.checking import checks
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
@checks("motor_torque_constant")
def test_torque_constant(kv: float, kt: float) -> None:
    """Value from memory: Kt = 60/(2 pi kV), N m per ampere."""
    found = value("motor_torque_constant", ELECTRIC, motor_speed_constant=kv * RPM)
    assert found == pytest.approx(kt, abs=5e-8)


@checks("motor_torque", "voltage_limited_current")
def test_motor_at_a_hundred_amperes() -> None:
    """Value from memory: motor equations by hand, kV 1000, 22.2 V, 10 mOhm, 3 A no-load.

    0.92628 N m, 21 200 rpm, 2056.4 W.
    """
    speed = 21_200 * RPM / 3.0 * 0.05
    names = ["voltage_limited_current", "motor_speed", "motor_torque", "motor_power"]
    found = evaluate(names, {**MOTOR, "speed": speed}, ELECTRIC)
    assert found["motor_speed"] / RPM == pytest.approx(21_200)
    assert found["voltage_limited_current"] == pytest.approx(100)
    assert found["motor_torque"] == pytest.approx(0.92628, abs=5e-6)
    assert found["motor_power"] == pytest.approx(2056.4, abs=0.05)


def test_electric_top_speed_against_the_quadratic() -> None:
    """Independent solver: numpy.roots; motor force falls in a straight line, drag rises with the square."""
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


@pytest.mark.parametrize(
    ("share", "expected"),
    [
        # front drive: mu (L - b)/L / (1 + mu h/L); rear drive: mu b/L / (1 - mu h/L)
        (0.0, (0.17 / 0.36) / (1 + 0.045 / 0.36)),
        (1.0, (0.19 / 0.36) / (1 - 0.045 / 0.36)),
    ],
)
@checks("acceleration")
def test_traction_limited_acceleration_by_driven_axle(share: float, expected: float) -> None:
    """Source: Gillespie, Fundamentals of Vehicle Dynamics, ch. 2: traction-limited acceleration.

    Rear 0.6032 g.
    """
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
    """Value from memory: statics, the rear of a car whose front has lifted carries all there is."""
    car = {**SPRINT_CAR, "speed": 70.0, "tyre_friction": 1.0}
    found = evaluate(["traction_limit", "front_axle_load", "weight", "total_downforce"], car)
    assert found["front_axle_load"] < 0
    assert found["traction_limit"] == pytest.approx(found["weight"] + found["total_downforce"], rel=1e-12)
    assert value("traction_limit", **{**car, "driven_rear_share": 0.0}) == 0
