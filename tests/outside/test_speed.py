"""Top speed and acceleration against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tests.checking import checks
from tests.model_help import SPRINT_CAR, bare_car, value

#: Reference car for identities: 6 kg, drag area 0.012 m2, rolling 0.015, density 1.2, 2400 W at the wheels.
REFERENCE = bare_car(
    mass=6.0,
    body_drag_area=0.012,
    rolling_resistance=0.015,
    air_density=1.2,
    shaft_power=2400.0,
    drive_efficiency=1.0,
)


@checks("top_speed")
def test_top_speed_is_the_root_of_the_cubic() -> None:
    """Value from memory: Cardano's formula, 68.747 m/s with rolling resistance, 69.336 m/s without."""
    assert value("top_speed", **REFERENCE) == pytest.approx(68.747, abs=5e-4)
    assert value("top_speed", **{**REFERENCE, "rolling_resistance": 0.0}) == pytest.approx(69.336, abs=5e-4)


def test_top_speed_against_polynomial_roots() -> None:
    """Independent solver: numpy.roots of drag v^3 + headwind terms + (rolling + slope) v - power."""
    stream = np.random.default_rng(3)
    power, area = stream.uniform(800, 4000, 200), stream.uniform(0.015, 0.04, 200)
    wind, grade = stream.uniform(-4, 8, 200), stream.uniform(-0.02, 0.03, 200)
    cars = {**REFERENCE, "shaft_power": power, "body_drag_area": area, "headwind": wind, "grade": grade}
    found = value("top_speed", **cars)
    for index in range(200):
        drag = 0.6 * area[index]
        steady = 6 * 9.80665 * (0.015 + np.sin(grade[index]))
        roots = np.roots([drag, 2 * drag * wind[index], drag * wind[index] ** 2 + steady, -power[index]])
        expected = roots[np.abs(roots.imag) < 1e-9].real.max()
        assert found[index] == pytest.approx(min(expected, 90.0), rel=1e-9)


def test_acceleration_integrates_to_the_speed_at_constant_power() -> None:
    """Independent solver: solve_ivp; constant power without drag gives the cube root of 3 P s / m.

    49.324 m/s.
    """
    # So low that no push lifts its front.
    car = {**REFERENCE, "body_drag_area": 0.0, "rolling_resistance": 0.0, "cg_height": 1e-6}

    def per_metre(_: float, state: np.ndarray) -> np.ndarray:
        return value("acceleration", **{**car, "speed": state[0], "longitudinal_acceleration": 0.0}) / state

    start = (3 * 2400 / 6 * 1.0) ** (1 / 3)
    end = solve_ivp(per_metre, (1.0, 100.0), [start], rtol=1e-7, atol=1e-9).y[0, -1]
    assert end == pytest.approx((3 * 2400 / 6 * 100) ** (1 / 3), rel=1e-5)
    assert end == pytest.approx(49.324, abs=1e-3)


def test_kinetic_energy() -> None:
    """Value from memory: m v^2 / 2, 4.6 kg at 50 m/s is 5750 J."""
    assert value("kinetic_energy", **{**SPRINT_CAR, "speed": 50.0}) == pytest.approx(5750.0)
