"""The strip that has an end against closed forms and scipy's integrators on the same forces."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from scipy.integrate import cumulative_simpson, quad, solve_ivp
from scipy.optimize import brentq

from explorer.graph.arrays import Array
from tests.checking import checks
from tests.curve_help import curve_of
from tests.model_help import bare_car, evaluate, scattered_cars

#: 6 kg, 2400 W at the wheels, drag area 0.012 m2 in air of 1.2 kg/m3, all wheels driven, nothing that lifts.
REFERENCE = bare_car(
    mass=6.0,
    body_drag_area=0.012,
    shaft_power=2400.0,
    drive_efficiency=1.0,
    driven_rear_share=0.5,
    tyre_friction=1e4,
    cg_height=1e-6,
    speed=0.0,
)
GRAVITY = 9.80665


@pytest.mark.parametrize(("reaction", "radio"), [(0.0, 0.0), (0.3, 0.05)])
@checks("moving_off", "strip_braking_point", "strip_run", "strip_speed")
def test_constant_power_then_constant_braking(reaction: float, radio: float) -> None:
    """Value from memory: m (v^3 - v0^3)/(3 P) to gain speed, v t before brakes act, v^2/(2 mu g) to stop."""
    car = {**REFERENCE, "body_drag_area": 0.0, "braking_friction": 0.8, "strip_length": 150.0}
    car |= {"reaction_time": reaction, "radio_delay": radio}
    found = evaluate(["strip_speed", "strip_braking_point"], car)

    def gained(speed: float) -> float:
        return 6 * (speed**3 - 1) / (3 * 2400)

    def left(speed: float) -> float:
        return 150 - gained(speed) - speed * (reaction + radio) - speed**2 / (2 * 0.8 * GRAVITY)

    speed = brentq(left, 5, 60)
    assert found["strip_speed"] == pytest.approx(speed, rel=2e-5)
    assert found["strip_braking_point"] == pytest.approx(gained(speed), rel=1e-4)


@checks("top_speed_room")
def test_room_for_a_top_speed_with_drag() -> None:
    """Value from memory: s = m/(3 k) ln((P/k - v0^3)/(P/k - v^3)) to 99 % of v^3 = P/k, k = rho A/2."""
    found = evaluate(["top_speed_room", "top_speed"], REFERENCE)
    drag = 0.6 * 0.012
    top = (2400 / drag) ** (1 / 3)
    assert found["top_speed"] == pytest.approx(top, rel=1e-8)
    room = 6 / (3 * drag) * np.log((top**3 - 1) / (top**3 * (1 - 0.99**3)))
    assert found["top_speed_room"] == pytest.approx(room, rel=1e-4)


def _one_of(cars: dict[str, Any], index: int) -> dict[str, Any]:
    return {name: float(np.atleast_1d(v)[index if np.ndim(v) else 0]) for name, v in cars.items()}


@pytest.mark.parametrize(
    ("changes", "choices"),
    [
        ({"flap_opening": 1.0}, {}),
        ({"flap_opening": 0.4, "headwind": 3.0}, {}),
        (
            {"flap_opening": 0.0, "friction_brake_force": 40.0, "motor_brake_force": 15.0},
            {"brakes": "fitted"},
        ),
    ],
    ids=["flap open", "half open into wind", "flap closed, brakes of 55 N"],
)
def test_against_scipy(changes: dict[str, Any], choices: dict[str, str]) -> None:
    """Independent solver: solve_ivp, events at the flap's corners and at 99 % of top speed; quad to brake."""
    cars = {**scattered_cars(2, seed=5), "tyre_friction": 1.6, "strip_length": 260.0, "speed": 0.0}
    cars |= {"flap_delay": 1.2, "flap_opening_duration": 0.2, "reaction_time": 0.2, "radio_delay": 0.02}
    cars |= {"brake_balance_front": 0.4} if choices else {}
    cars |= changes
    wanted = ["strip_speed", "strip_braking_point", "top_speed_room", "top_speed"]
    found = evaluate(wanted, cars, choices)
    car = _one_of(cars, 0)
    pull = curve_of("acceleration", ("speed", "flap_opening"), car, choices)
    slow = curve_of("braking_deceleration", ("speed", "flap_opening"), car, choices)
    enough = 0.99 * float(found["top_speed"][0])

    def rates(time: float, state: np.ndarray) -> list[float]:
        opening = changes["flap_opening"] * np.clip((time - 1.2) / 0.2, 0, 1)
        return [state[1], float(pull(state[1], opening))]

    def fast(_: float, state: np.ndarray) -> float:
        return float(state[1] - enough)

    begin, state, parts = 0.0, np.array([0.0, 1.0]), []
    for stop in (1.2, 1.4, 30.0):
        given = {"rtol": 1e-6, "atol": 1e-7, "max_step": 0.5, "dense_output": True}
        part = solve_ivp(rates, (begin, stop), state, events=fast, **given)
        parts.append(part)
        begin, state = part.t[-1], part.y[:, -1]
    assert found["top_speed_room"][0] == pytest.approx(parts[-1].y_events[0][0, 0], rel=1e-3)

    def room(time: float) -> float:
        distance, speed = next(part.sol(time) for part in parts if time <= part.t[-1])
        way = quad(lambda v: v / float(slow(v, 0.0)), 0.0, speed, epsrel=1e-5)[0]
        return float(260 - distance - 0.22 * speed - way)

    time = brentq(room, 0.1, 30.0, xtol=1e-6)
    distance, speed = next(part.sol(time) for part in parts if time <= part.t[-1])
    assert found["strip_speed"][0] == pytest.approx(speed, rel=3e-4)
    assert found["strip_braking_point"][0] == pytest.approx(distance, rel=1e-3)


def _cars_whose_loads_bend(samples: int, gap: bool) -> dict[str, Any]:
    """Draw cars with the first demo's points, which carry, and a splitter that feels the ground or not."""
    stream = np.random.default_rng(17)
    cars = {**scattered_cars(samples, seed=17), "tyre_friction": stream.normal(1.6, 0.12, samples)}
    cars |= {"splitter_ground_gain": 0.0, "contact_friction": 0.3, "splitter_reference_gap": 0.009}
    if gap:
        cars["splitter_ground_gain"] = stream.normal(0.8, 0.15, samples)
    cars["splitter_gap_at_rest"] = stream.normal(0.009, 0.001, samples)
    cars["splitter_critical_gap"] = stream.normal(0.0025, 0.0003, samples)
    cars |= {"edge_station": 0.385, "nose_station": -0.12, "strip_length": 260.0, "speed": 0.0}
    cars["edge_clearance_at_rest"] = stream.normal(0.0254 if gap else 0.012, 0.001, samples)
    cars["nose_clearance_at_rest"] = stream.normal(0.009, 0.001, samples)
    cars |= {"flap_delay": 2.8, "flap_opening_duration": 0.15, "reaction_time": 0.3, "radio_delay": 0.02}
    return {**cars, "flap_opening": 1.0 if gap else 0.0}


ON_POINTS: tuple[dict[str, str], dict[str, tuple[str, ...]]] = (
    {"contact": "points"},
    {"point": ("edge", "nose")},
)


def _where_it_brakes(
    cars: dict[str, Any], begin: float, end: Array | float, delay: float, corners: tuple[float, float]
) -> Array:
    """Speed at which cars that begin at one speed have to brake for another, after a delay, 260 m away.

    ``corners`` are the times between which the flap opens.
    """
    samples, (opens, opened) = cars["mass"].size, corners
    over = ("speed", "flap_opening")
    pull, slow = (curve_of(name, over, cars, *ON_POINTS) for name in ("acceleration", "braking_deceleration"))

    def rates(time: float, state: Array) -> Array:
        opening = cars["flap_opening"] * np.clip((time - opens) / (opened - opens), 0, 1)
        return np.concatenate([state[samples:], pull(state[samples:], np.full(samples, opening))])

    state, rows = np.concatenate([np.zeros(samples), np.full(samples, begin)]), []
    for start, stop in pairwise((0.0, *corners, 9.0)):
        # Loads jump: small steps of one length, whatever their error is thought to be.
        given = {"method": "RK23", "max_step": 0.04, "first_step": 0.04, "rtol": 0.1, "atol": 0.1}
        part = solve_ivp(rates, (start, stop), state, **given)
        rows.append(part.y.T)
        state = part.y[:, -1]
    distance, speed = np.split(np.concatenate(rows), 2, axis=1)
    places = end + np.linspace(0.0, 1.0, 61)[:, np.newaxis] * (np.max(speed, axis=0) - end)
    slowness = np.stack([place / slow(place, np.zeros(samples)) for place in places])
    way = cumulative_simpson(slowness, x=places, axis=0, initial=0)
    found = np.empty(samples)
    for car in range(samples):
        left = 260 - distance[:, car] - delay * speed[:, car]
        left -= np.interp(speed[:, car], places[:, car], way[:, car])
        last = int(np.argmax(left <= 0))
        assert last > 0
        share = left[last - 1] / (left[last - 1] - left[last])
        found[car] = speed[last - 1, car] + share * (speed[last, car] - speed[last - 1, car])
    return found


@pytest.mark.parametrize(
    ("samples", "gap", "near"),
    [pytest.param(512, True, 1e-2, marks=pytest.mark.long), (80, False, 2e-3)],
    ids=["gap and points", "points"],
)
def test_cars_whose_loads_bend(samples: int, gap: bool, near: float) -> None:
    """Independent solver: solve_ivp on the acceleration of all cars at once, cumulative_simpson to brake."""
    cars = _cars_whose_loads_bend(samples, gap)
    found = evaluate(["strip_speed"], cars, *ON_POINTS)["strip_speed"]
    expected = _where_it_brakes(cars, 1.0, 0.0, 0.32, (2.8, 2.95))
    np.testing.assert_allclose(found, expected, rtol=near)


@pytest.mark.long
def test_a_straight_of_cars_whose_loads_bend() -> None:
    """Independent solver: solve_ivp as for the strip, from the speed out of a corner to that of the next."""
    cars = _cars_whose_loads_bend(48, gap=True)
    cars |= {"corner_exit_speed": 14.0, "straight_length": 260.0, "corner_radius": 12.0}
    cars |= {"flap_delay": 1.2, "flap_opening_duration": 0.2, "reaction_time": 0.0, "radio_delay": 0.0}
    found = evaluate(["speed_at_braking_point", "corner_speed"], cars, *ON_POINTS)
    expected = _where_it_brakes(cars, 14.0, found["corner_speed"], 0.0, (1.2, 1.4))
    np.testing.assert_allclose(found["speed_at_braking_point"], expected, rtol=3e-3)
