"""Top speed and acceleration against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tests.model_help import SPRINT_CAR, bare_car, evaluate, scattered_cars, value

#: Reference car for identities: 6 kg, drag area 0.012 m2, rolling 0.015, density 1.2, 2400 W at the wheels.
REFERENCE = bare_car(
    mass=6.0,
    body_drag_area=0.012,
    rolling_resistance=0.015,
    air_density=1.2,
    shaft_power=2400.0,
    drive_efficiency=1.0,
)


def test_top_speed_is_the_root_of_the_cubic() -> None:
    """Cardano: 68.747 m/s with rolling resistance, 69.336 m/s without."""
    assert value("top_speed", **REFERENCE) == pytest.approx(68.747, abs=5e-4)
    assert value("top_speed", **{**REFERENCE, "rolling_resistance": 0.0}) == pytest.approx(69.336, abs=5e-4)


def test_top_speed_against_polynomial_roots() -> None:
    """numpy.roots of drag v^3 + headwind terms + (rolling + slope) v - power, each car alone."""
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


def test_downforce_costs_speed_through_the_tyres() -> None:
    """At the root, push equals drag plus rolling resistance under weight and downforce at that speed."""
    cars = scattered_cars(300)
    top = value("top_speed", **cars)
    found = evaluate(["wheel_power", "drag_force", "weight", "total_downforce"], {**cars, "speed": top})
    resistance = found["drag_force"] + cars["rolling_resistance"] * (
        found["weight"] + found["total_downforce"]
    )
    np.testing.assert_allclose(found["wheel_power"] / top, resistance, rtol=1e-8)


def test_a_car_that_cannot_move_has_no_top_speed() -> None:
    """More slope than grip: no number, rather than a wrong one."""
    found = value("top_speed", **{**SPRINT_CAR, "grade": 0.5, "tyre_friction": np.array([0.2, 2.0])})
    assert np.isnan(found[0])
    assert found[1] > 10


def test_a_speed_not_reached_below_the_cap_is_the_cap() -> None:
    """Censored, not extrapolated."""
    assert value("top_speed", **{**SPRINT_CAR, "shaft_power": 1e6}) == 90.0
    assert value("front_lift_off_speed", **{**SPRINT_CAR, "flap_opening": 1.0, "speed_cap": 70.0}) == 70.0


def test_the_demo_car_reaches_what_its_story_says() -> None:
    """Invented car: near 52 m/s closed, near 56 m/s open; one in three has lifted at 55 m/s closed."""
    cars = {**scattered_cars(20_000), "speed": 55.0}
    closed = evaluate(["top_speed", "front_axle_load"], {**cars, "flap_opening": 0.0})
    opened = evaluate(["top_speed", "pitch"], {**cars, "flap_opening": 1.0})
    assert np.mean(closed["top_speed"]) == pytest.approx(52, abs=0.7)
    assert np.mean(opened["top_speed"]) == pytest.approx(56, abs=0.7)
    assert np.mean(closed["front_axle_load"] <= 0) == pytest.approx(1 / 3, abs=0.05)
    assert np.mean(np.abs(opened["pitch"])) < 0.01
    at_45 = evaluate(["pitch", "front_load_kept"], {**cars, "speed": 45.0})
    assert np.degrees(np.mean(at_45["pitch"])) > 2
    assert np.mean(at_45["front_load_kept"]) == pytest.approx(0.55, abs=0.06)


def test_acceleration_integrates_to_the_speed_at_constant_power() -> None:
    """Constant power without drag: v after 100 m is the cube root of 3 P s / m, 49.324 m/s."""
    car = {**REFERENCE, "body_drag_area": 0.0, "rolling_resistance": 0.0}

    def per_metre(_: float, state: np.ndarray) -> np.ndarray:
        return value("acceleration", **{**car, "speed": state[0], "longitudinal_acceleration": 0.0}) / state

    start = (3 * 2400 / 6 * 1.0) ** (1 / 3)
    end = solve_ivp(per_metre, (1.0, 100.0), [start], rtol=1e-7, atol=1e-9).y[0, -1]
    assert end == pytest.approx((3 * 2400 / 6 * 100) ** (1 / 3), rel=1e-5)
    assert end == pytest.approx(49.324, abs=1e-3)


def test_kinetic_energy() -> None:
    """Definition: 4.6 kg at 50 m/s is 5750 J."""
    assert value("kinetic_energy", **{**SPRINT_CAR, "speed": 50.0}) == pytest.approx(5750.0)
