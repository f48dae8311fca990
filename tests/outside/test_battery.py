"""Battery behind a speed controller, warming over a day's runs, rolling resistance that grows."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from tests.checking import checks
from tests.model_help import SPRINT_CAR, bare_car, evaluate, value
from tests.outside.test_brakes import ELECTRIC as DRIVE

ELECTRIC = {"drive": "electric"}
CAR: dict[str, Any] = {**SPRINT_CAR, **DRIVE, "no_load_current": 4.0}


@pytest.mark.parametrize("speed", [3.0, 15.0, 30.0, 62.0])
def test_power_in_is_power_out(speed: float) -> None:
    """Independent solver: brentq on the power balance of an ideal controller for the battery's current."""
    names = ["motor_current", "motor_speed", "battery_current", "battery_voltage_under_load"]
    found = {name: float(v) for name, v in evaluate(names, {**CAR, "speed": speed}, ELECTRIC).items()}
    turning = found["motor_speed"] / (1000 * np.pi / 30)
    taken = found["motor_current"] * (turning + found["motor_current"] * 0.007)
    current = brentq(lambda i: (33.0 - 0.014 * i) * i - taken, 0.0, 33.0 / 0.014 / 2, xtol=1e-12)
    assert found["battery_current"] == pytest.approx(current, rel=1e-9)
    assert found["battery_voltage_under_load"] == pytest.approx(33.0 - 0.014 * current, rel=1e-9)
    assert found["battery_current"] <= found["motor_current"] * (1 + 1e-12)
    if speed > 60:
        assert found["battery_current"] == pytest.approx(found["motor_current"], rel=1e-9)


@checks("battery_heat_rate", "battery_temperature", "motor_heat_rate", "motor_temperature")
def test_warming_over_a_day() -> None:
    """Independent solver: solve_ivp of one lump that cools between runs and takes each run's heat at once."""
    day = {"air_temperature": 291.0, "full_throttle_time": 6.0, "run_interval": 400.0, "runs_of_the_day": 7.0}
    day |= {"motor_heat_capacity": 110.0, "motor_cooling_time": 900.0}
    day |= {"battery_heat_capacity": 600.0, "battery_cooling_time": 2500.0}
    names = ["motor_heat_rate", "motor_temperature", "battery_heat_rate", "battery_temperature"]
    names += ["motor_current", "motor_speed", "battery_current"]
    found = {name: float(v) for name, v in evaluate(names, {**CAR, **day, "speed": 35.0}, ELECTRIC).items()}
    idle = 4.0 * found["motor_speed"] / (1000 * np.pi / 30)
    assert found["motor_heat_rate"] == pytest.approx(found["motor_current"] ** 2 * 0.005 + idle, rel=1e-12)
    assert found["battery_heat_rate"] == pytest.approx(found["battery_current"] ** 2 * 0.014, rel=1e-12)
    for part in ("motor", "battery"):
        warm = 0.0
        for _ in range(7):
            time = day[f"{part}_cooling_time"]
            cooled = solve_ivp(lambda _, w, t=time: -w / t, (0, 400.0), [warm], rtol=1e-10, atol=1e-10)
            warm = cooled.y[0, -1] + found[f"{part}_heat_rate"] * 6.0 / day[f"{part}_heat_capacity"]
        assert found[f"{part}_temperature"] - 291.0 == pytest.approx(warm, rel=1e-7)


def test_rolling_resistance_that_grows_with_speed() -> None:
    """Value from memory: dv/dt = -(a + b v) slows from v0 to v1 in ln((a + b v0)/(a + b v1))/b."""
    rolling, growth, inertia = 0.015, 3e-4, 1.05
    car = bare_car(rolling_resistance=rolling, rolling_resistance_per_speed=growth, speed=40.0)
    car |= {"rotating_mass_factor": inertia}
    a, b = rolling * 9.80665 / inertia, growth * 9.80665 / inertia
    expected = np.log((a + b * 40) / (a + b * 1)) / b
    assert value("run_out_time", **car) == pytest.approx(expected, rel=1e-5)
