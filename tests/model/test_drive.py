"""What binds the drive, and where the revs end."""

from __future__ import annotations

import numpy as np
import pytest

from tests.model_help import SPRINT_CAR, evaluate, value

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
