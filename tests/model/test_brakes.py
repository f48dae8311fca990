"""Braking and running out: delays, fences, slopes and endless brakes."""

from __future__ import annotations

import numpy as np
import pytest

from tests.model_help import SPRINT_CAR, bare_car, evaluate, value

#: Reference car for identities: 6 kg, rotating factor 1.05, drag area 0.012 m2, rolling resistance 0.015.
REFERENCE = bare_car(
    mass=6.0,
    rotating_mass_factor=1.05,
    body_drag_area=0.012,
    body_drag_height=0.0,
    rolling_resistance=0.015,
    air_density=1.2,
)


def test_the_receivers_hold_comes_before_the_run_out() -> None:
    """Definition: at held speed while the receiver waits, then as without a wait."""
    car = {**REFERENCE, "speed": 40.0}
    names = ["run_out_distance", "run_out_time", "fail_safe_stopping_distance"]
    at_once, later = evaluate(names, car), evaluate(names, {**car, "fail_safe_hold": 0.5})
    assert later["run_out_distance"] - at_once["run_out_distance"] == pytest.approx(20.0, rel=1e-9)
    assert later["run_out_time"] - at_once["run_out_time"] == pytest.approx(0.5, rel=1e-9)
    gained = later["fail_safe_stopping_distance"] - at_once["fail_safe_stopping_distance"]
    assert gained == pytest.approx(20.0, rel=1e-9)


def test_a_fence_past_the_run_out_is_not_met() -> None:
    """Definition: the car is down to walking pace before it gets there."""
    car = {**REFERENCE, "speed": 30.0, "fence_distance": np.array([100.0, 5000.0])}
    found = evaluate(["fence_speed", "fence_energy"], car)
    assert found["fence_energy"][0] > 0
    assert found["fence_speed"][1] == found["fence_energy"][1] == 0


def test_downhill_it_does_not_come_to_rest() -> None:
    """Statics: a slope steeper than the rolling resistance keeps the car going; no number stands for that."""
    assert np.isnan(value("run_out_distance", **{**REFERENCE, "speed": 30.0, "grade": -0.02}))


def test_strong_brakes_are_held_by_the_tyres() -> None:
    """Two ways to the same car: endless force at the same balance."""
    car = {**SPRINT_CAR, "speed": 50.0, "tyre_friction": 1.1, "brake_balance_front": 0.6}
    strong = {**car, "friction_brake_force": 1e4, "motor_brake_force": 0.0}
    endless = value("stopping_distance", {"brakes": "balance"}, **car)
    assert value("stopping_distance", {"brakes": "fitted"}, **strong) == pytest.approx(endless, rel=1e-9)
