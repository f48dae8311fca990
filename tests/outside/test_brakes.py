"""Braking with the brakes a car has, and running out without any: closed forms and scipy's integrators."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from tests.checking import checks
from tests.curve_help import curve_of
from tests.model_help import SPRINT_CAR, bare_car, evaluate, scattered_cars, value

G = 9.80665
FITTED, NONE = {"brakes": "fitted"}, {"brakes": "none"}
MOTOR = {"brakes": "fitted", "drive": "electric"}
#: Reference car for identities: 6 kg, rotating factor 1.05, drag area 0.012 m2, rolling resistance 0.015.
REFERENCE = bare_car(
    mass=6.0,
    rotating_mass_factor=1.05,
    body_drag_area=0.012,
    body_drag_height=0.0,
    rolling_resistance=0.015,
    air_density=1.2,
)
ELECTRIC = {
    "battery_voltage": 33.0,
    "battery_resistance": 0.014,
    "wiring_resistance": 0.002,
    "motor_speed_constant": 1000 * np.pi / 30,
    "winding_resistance": 0.005,
    "current_limit": 190.0,
    "gear_ratio": 2.6,
    "tyre_radius": 0.05,
}


def _one_of(cars: dict[str, Any], index: int) -> dict[str, Any]:
    return {name: float(np.atleast_1d(v)[index if np.ndim(v) else 0]) for name, v in cars.items()}


def test_coasting_in_closed_form() -> None:
    """Source: coast-down mathematics of SAE J1263, section on data analysis; numbers recomputed.

    v = sqrt(F/C) tan(...), and the way (m/2C) ln((F + C v0^2)/(F + C v1^2)).
    """
    inertia, hold, square = 6.0 * 1.05, 0.015 * 6.0 * G, 0.6 * 0.012
    fast, end = np.array([20.0, 40.0, 60.0]), 1.0
    found = evaluate(["run_out_distance", "run_out_time"], {**REFERENCE, "speed": fast})
    way = inertia / (2 * square) * np.log((hold + square * fast**2) / (hold + square * end**2))
    share = np.sqrt(square / hold)
    time = inertia / np.sqrt(hold * square) * (np.arctan(share * fast) - np.arctan(share * end))
    np.testing.assert_allclose(found["run_out_distance"], way, rtol=2e-5)
    np.testing.assert_allclose(found["run_out_time"], time, rtol=2e-5)
    # From 40 to 20 m/s: 521.85 m in 18.616 s, recomputed from the same formula.
    assert found["run_out_distance"][1] - found["run_out_distance"][0] == pytest.approx(521.85, abs=0.02)
    assert found["run_out_time"][1] - found["run_out_time"][0] == pytest.approx(18.616, abs=2e-3)


@pytest.mark.parametrize("weather", [{}, {"headwind": -3.0, "grade": -0.004}], ids=["calm", "tailwind"])
def test_run_out_and_fence_against_scipy(weather: dict[str, float]) -> None:
    """Independent solver: solve_ivp on the forces at each speed, events at walking pace and at the fence."""
    cars = {**scattered_cars(3, seed=12), **weather, "rotating_mass_factor": 1.04, "speed": 45.0}
    fence = np.array([60.0, 130.0, 250.0])
    names = ["run_out_distance", "run_out_time", "fence_speed", "fence_energy"]
    found = evaluate(names, {**cars, "fence_distance": fence})
    for index in range(3):
        car = _one_of(cars, index)
        resistance = curve_of("resistance_force", ("speed", "longitudinal_acceleration"), car)

        def rates(_: float, state: np.ndarray, car: Any = car, resistance: Any = resistance) -> list[float]:
            inertia = car["mass"] * 1.04
            slowing = brentq(lambda a: float(resistance(state[1], -a)) / inertia - a, -5, 40, xtol=1e-11)
            return [state[1], -slowing]

        def slow(_: float, state: np.ndarray) -> float:
            return float(state[1] - 1.0)

        def at_fence(_: float, state: np.ndarray, fence: float = fence[index]) -> float:
            return float(state[0] - fence)

        slow.terminal = True  # type: ignore[attr-defined]
        run = solve_ivp(rates, (0, 300), [0.0, 45.0], rtol=1e-8, atol=1e-8, events=[slow, at_fence])
        assert found["run_out_distance"][index] == pytest.approx(run.y_events[0][0][0], rel=3e-4)
        assert found["run_out_time"][index] == pytest.approx(run.t_events[0][0], rel=3e-4)
        reached = run.y_events[1][0][1] if len(run.t_events[1]) else 0.0
        assert found["fence_speed"][index] == pytest.approx(reached, rel=1e-4)
        assert found["fence_energy"][index] == pytest.approx(car["mass"] * reached**2 / 2, rel=2e-4)


def test_without_brakes_it_stops_by_rolling() -> None:
    """Value from memory: closed form as for coasting, down to rest: (m/2C) ln(1 + C v^2/F)."""
    inertia, hold, square = 6.0 * 1.05, 0.015 * 6.0 * G, 0.6 * 0.012
    found = value("stopping_distance", NONE, **{**REFERENCE, "speed": 30.0})
    assert found == pytest.approx(inertia / (2 * square) * np.log(1 + square * 900 / hold), rel=1e-4)


@checks("braking_force", "stopping_distance", "braking_limits")
def test_brakes_of_a_known_force() -> None:
    """Value from memory: force and rolling constant, (m/2C) ln(1 + C v^2/F); delays at held speed."""
    inertia, square = 6.0 * 1.05, 0.6 * 0.012
    car = {**REFERENCE, "speed": 45.0, "tyre_friction": 1.2, "motor_brake_force": 0.0}
    car |= {"friction_brake_force": 25.0, "brake_balance_front": 0.6}
    hold = 25.0 + 0.015 * 6.0 * G
    way = inertia / (2 * square) * np.log(1 + square * 45.0**2 / hold)
    assert value("stopping_distance", FITTED, **car) == pytest.approx(way, rel=1e-5)
    delayed = value("stopping_distance", FITTED, **{**car, "reaction_time": 0.7, "radio_delay": 0.02})
    assert delayed == pytest.approx(way + 45.0 * 0.72, rel=1e-5)
    assert value("braking_force", FITTED, **{**car, "speed": 0.0}) == pytest.approx(hold / 1.05, rel=1e-9)


@pytest.mark.parametrize("height", [0.05, 0.12, 0.30])
@checks("braking_deceleration")
def test_braking_ends_where_the_rear_lifts(height: float) -> None:
    """Value from memory: statics without air.

    The rear lifts at g times cg distance behind front over height.
    """
    car = bare_car(cg_height=height, tyre_friction=1.8, speed=20.0, cg_station=0.172)
    found = evaluate(["braking_deceleration", "rear_load_in_braking", "stopping_distance"], car)
    expected = min(1.8 * G, G * 0.172 / height)
    assert found["braking_deceleration"] == pytest.approx(expected, rel=1e-9)
    assert found["rear_load_in_braking"] >= -1e-9
    assert found["stopping_distance"] == pytest.approx(400 / (2 * expected), rel=1e-9)


def test_the_rear_lifts_where_a_root_finder_says() -> None:
    """Independent solver: brentq on the rear load with downforce and pitch: braking stops there."""
    cars = {**scattered_cars(4, seed=3), "tyre_friction": 3.0, "cg_height": 0.14, "speed": 12.0}
    found = evaluate(["braking_deceleration", "rear_load_in_braking"], cars)
    for index in range(4):
        rear = curve_of("rear_axle_load", ("longitudinal_acceleration",), _one_of(cars, index))
        lifted = brentq(lambda a, rear=rear: float(rear(-a)), 0.0, 60.0, xtol=1e-12)
        assert found["braking_deceleration"][index] == pytest.approx(lifted, rel=1e-9)
    np.testing.assert_allclose(found["rear_load_in_braking"], 0.0, atol=1e-8)


def test_grip_that_falls_with_load() -> None:
    """Independent solver: brentq on both axles at friction times load to a power.

    Weight moved between them.
    """
    car = bare_car(tyre_friction=1.1, tyre_load_sensitivity=0.15, speed=0.0)
    front, rear = 4.6 * G * (1 - 0.172 / 0.325), 4.6 * G * 0.172 / 0.325

    def unbalanced(slowing: float) -> float:
        moved = 4.6 * slowing * 0.05 / 0.325
        held = front * ((front + moved) / front) ** 0.85 + rear * ((rear - moved) / rear) ** 0.85
        return 1.1 * held - 4.6 * slowing

    found = value("braking_deceleration", **car)
    assert found == pytest.approx(brentq(unbalanced, 1.0, 20.0, xtol=1e-13), rel=1e-9)
    assert found < 1.1 * G


def _motor_push(speed: float, limit: float, taken: float) -> float:
    """Motor braking written out: the current a builder's controller can drive backwards at a speed."""
    turning = speed / 0.05 * 2.6
    voltage, resistance = turning / (1000 * np.pi / 30), 0.007
    currents = np.linspace(0.0, min(limit, voltage / resistance), 200_001)
    returned = voltage * currents - resistance * currents**2
    too_much = np.flatnonzero(returned > 33.0 * taken)
    current = currents[too_much[0] - 1] if too_much.size else currents[-1]
    return float(current * 30 / (1000 * np.pi) * 2.6 / 0.05)


@pytest.mark.parametrize(("limit", "taken"), [(190.0, 1e6), (190.0, 60.0), (60.0, 40.0), (0.0, 1e6)])
@checks("motor_brake_force")
def test_the_motor_as_a_brake(limit: float, taken: float) -> None:
    """Independent solver: numpy.flatnonzero finds the largest current of the power balance.

    Speed by speed.
    """
    speeds = np.array([0.5, 3.0, 8.0, 15.0, 30.0, 50.0])
    car = {**SPRINT_CAR, **ELECTRIC, "motor_brake_current": limit, "regeneration_limit": taken}
    found = value("motor_brake_force", MOTOR, **{**car, "speed": speeds})
    expected = [_motor_push(speed, limit, taken) for speed in speeds]
    np.testing.assert_allclose(found, expected, rtol=1e-4, atol=1e-9)


@pytest.mark.long
@pytest.mark.parametrize(
    "brakes",
    [
        {"motor_brake_current": 190.0, "friction_brake_force": 0.0, "brake_balance_front": 0.0},
        {"motor_brake_current": 120.0, "regeneration_limit": 50.0}
        | {"friction_brake_force": 30.0, "brake_balance_front": 0.7},
        {"motor_brake_current": 0.0, "friction_brake_force": 60.0, "brake_balance_front": 0.7},
    ],
    ids=["motor", "both", "friction"],
)
def test_stopping_against_scipy(brakes: dict[str, float]) -> None:
    """Independent solver: solve_ivp, event at rest: brakes, first axle to lock.

    Air and rolling written out.
    """
    cars = {**scattered_cars(2, seed=21), **ELECTRIC, **brakes, "tyre_friction": 1.0, "speed": 45.0}
    cars["rotating_mass_factor"] = 1.06
    found = value("stopping_distance", MOTOR, **cars)
    friction, balance = brakes["friction_brake_force"], brakes["brake_balance_front"]
    for index in range(2):
        car = _one_of(cars, index)
        names = ("front_axle_load", "rear_axle_load", "drag_force", "rolling_resistance_force")
        curves = [curve_of(name, ("speed", "longitudinal_acceleration"), car, MOTOR) for name in names]

        def rates(_: float, state: np.ndarray, car: Any = car, curves: Any = curves) -> list[float]:
            speed = max(state[1], 0.0)
            motor = _motor_push(speed, car["motor_brake_current"], car.get("regeneration_limit", 1e6))
            push = motor + friction
            rear_share = (motor + friction * (1 - balance)) / push if push else 0.0

            def surplus(slowing: float) -> float:
                front, rear, drag, rolling = (float(curve(speed, -slowing)) for curve in curves)
                held = rear / rear_share if rear_share else np.inf
                if rear_share < 1:
                    held = min(held, front / (1 - rear_share))
                by_tyres = (held + drag) / car["mass"]
                by_brakes = (push + drag + rolling) / (car["mass"] * 1.06)
                return min(by_tyres, by_brakes) - slowing

            return [speed, -brentq(surplus, 0.0, 60.0, xtol=1e-9)]

        def at_rest(_: float, state: np.ndarray) -> float:
            return float(state[1] - 1e-3)

        at_rest.terminal = True  # type: ignore[attr-defined]
        run = solve_ivp(rates, (0, 200), [0.0, 45.0], rtol=1e-5, atol=1e-5, events=at_rest)
        assert found[index] == pytest.approx(run.y_events[0][0][0], rel=2e-3)


@checks("flight_distance", "slide_distance", "side_distance")
def test_a_car_that_takes_off_is_followed_through_the_air() -> None:
    """Independent solver: solve_ivp of a stone, event at landing, then Coulomb friction to rest."""
    speed, angle, friction = 48.0, np.deg2rad(25), 0.35

    def flying(_: float, state: np.ndarray) -> list[float]:
        return [state[2], state[3], 0.0, -G]

    def landed(_: float, state: np.ndarray) -> float:
        return float(state[1])

    landed.terminal, landed.direction = True, -1  # type: ignore[attr-defined]
    start = [0.0, 0.0, speed * np.cos(angle), speed * np.sin(angle)]
    flight = solve_ivp(flying, (0, 20), start, rtol=1e-10, atol=1e-10, events=landed)
    slid = solve_ivp(
        lambda _, state: [state[1], -friction * G],
        (0, flight.y[2, -1] / (friction * G)),
        [0.0, flight.y[2, -1]],
        rtol=1e-10,
        atol=1e-10,
    )
    car = {**SPRINT_CAR, "speed": speed, "launch_angle": angle, "slide_friction": friction}
    names = ["flight_distance", "slide_distance", "run_out_distance", "side_distance"]
    found = evaluate(names, {**car, "departure_angle": np.deg2rad(40)})
    assert found["flight_distance"] == pytest.approx(flight.y[0, -1] + slid.y[0, -1], rel=1e-7)
    assert found["slide_distance"] == pytest.approx(speed**2 / (2 * friction * G), rel=1e-12)
    farthest = max(float(found[name]) for name in names[:3])
    assert found["side_distance"] == pytest.approx(farthest * np.sin(np.deg2rad(40)), rel=1e-12)
