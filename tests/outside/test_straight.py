"""The straight, braking and passing against closed forms and scipy's integrators on the same forces."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from explorer.model.straight import full_throttle
from tests.curve_help import curve_of
from tests.model_help import SPRINT_CAR, bare_car, evaluate, scattered_cars, value

#: Reference car for identities: 6 kg, drag area 0.012 m2, density 1.2, 2400 W at the wheels.
REFERENCE = bare_car(
    mass=6.0, body_drag_area=0.012, air_density=1.2, shaft_power=2400.0, drive_efficiency=1.0, speed=0.0
)
#: Nothing to brake for: the braking point is the end of the straight.
OPEN_END = {"corner_speed": 200.0, "tyre_friction": 9.0}
LOGGED_RUN = {
    "corner_exit_speed": 14.0,
    "straight_length": 260.0,
    "corner_radius": 12.0,
    "flap_delay": 1.2,
    "flap_opening_duration": 0.2,
    "tyre_friction": 1.6,
    "speed": 0.0,
}
ELECTRIC = {
    "battery_voltage": 22.2,
    "battery_resistance": 0.012,
    "motor_speed_constant": 1900 * np.pi / 30,
    "winding_resistance": 0.006,
    "no_load_current": 3.0,
    "current_limit": 180.0,
    "gear_ratio": 4.2,
    "tyre_radius": 0.052,
}
STOPS = {
    "front_droop_travel": 0.002,
    "rear_bump_travel": 0.004,
    "front_stop_rate": 2e4,
    "rear_stop_rate": 2e4,
}
REACHED = ["speed_at_braking_point_closed", "time_to_braking_point_closed"]


def _without_grip_limit(**changes: Any) -> dict[str, Any]:
    """All wheels driven, endless grip, and no height that would lift the front."""
    endless = {"driven_rear_share": 0.5, "tyre_friction": 1e4, "cg_height": 1e-6, "body_drag_height": 0.0}
    return {**REFERENCE, "corner_speed": 200.0, **endless, **changes}


def _reached(car: dict[str, Any]) -> tuple[float, float]:
    """Speed and time at the end of a straight without brakes, the braking friction given."""
    found = evaluate(REACHED, {**car, "braking_friction": 1.0})
    return float(found[REACHED[0]]), float(found[REACHED[1]])


def test_constant_power_without_drag() -> None:
    """Value from memory: v^3 = v0^3 + 3 P s / m, from rest 49.324 m/s after 100 m; v^2 = v0^2 + 2 P t / m."""
    car = _without_grip_limit(body_drag_area=0.0, straight_length=100.0)
    assert _reached({**car, "corner_exit_speed": 0.5})[0] == pytest.approx(49.324, abs=2e-3)
    for start in (2.0, 14.0):
        speed, time = _reached({**car, "corner_exit_speed": start})
        assert speed == pytest.approx((start**3 + 3 * 400 * 100) ** (1 / 3), rel=2e-5)
        assert time == pytest.approx((speed**2 - start**2) / 800, rel=2e-5)


@pytest.mark.parametrize(("length", "expected"), [(100.0, 46.535), (200.0, 55.514)])
def test_constant_power_with_drag(length: float, expected: float) -> None:
    """Value from memory: from rest v^3 = (P/k)(1 - exp(-3 k s / m)), k half density times drag area."""
    car = _without_grip_limit(straight_length=length, corner_exit_speed=0.5)
    assert _reached(car)[0] == pytest.approx(expected, abs=2e-3)
    heavy = {**car, "rotating_mass_factor": 1.05, "corner_exit_speed": 12.0}
    drag, fade = 0.6 * 0.012, np.exp(-3 * 0.6 * 0.012 * length / (6 * 1.05))
    cube = 2400 / drag * (1 - fade) + 12.0**3 * fade
    assert _reached(heavy)[0] == pytest.approx(cube ** (1 / 3), rel=2e-5)


def test_rear_drive_at_the_limit_of_grip() -> None:
    """Source: Gillespie, Fundamentals of Vehicle Dynamics, ch. 2, recomputed: 0.60318 g.

    Wheelbase 0.36, cg 0.19 behind the front and 0.045 high, friction 1.
    """
    car = bare_car(wheelbase=0.36, cg_station=0.19, cg_height=0.045, shaft_power=1e6, speed=0.0)
    car |= {**OPEN_END, "tyre_friction": 1.0, "corner_exit_speed": 10.0, "straight_length": 50.0}
    speed, time = _reached(car)
    pull = 9.80665 * 0.19 / (0.36 - 0.045)
    assert pull == pytest.approx(0.60318 * 9.80665, rel=1e-4)
    assert speed == pytest.approx(np.sqrt(100 + 2 * pull * 50), rel=1e-9)
    assert time == pytest.approx((speed - 10) / pull, rel=1e-9)


def _one_of(cars: dict[str, Any], index: int) -> dict[str, Any]:
    return {name: float(np.atleast_1d(v)[index if np.ndim(v) else 0]) for name, v in cars.items()}


def _scipy_straight(car: dict[str, Any], choices: dict[str, str], used: bool) -> tuple[Any, float]:
    """Return the same straight by scipy, events at the flap's corners, and the time at which it brakes."""
    pull = curve_of("acceleration", ("speed", "flap_opening"), car, choices)
    slow = curve_of("braking_deceleration", ("speed", "flap_opening"), car, choices)
    slowest = float(value("corner_speed", choices, **car))
    begin, full = car["flap_delay"], car["flap_delay"] + car["flap_opening_duration"]
    pieces: list[tuple[float, float, Any]] = []

    def rates(time: float, state: np.ndarray) -> list[float]:
        opening = np.clip((time - begin) / (full - begin), 0, 1) if used else 0.0
        return [state[1], float(pull(state[1], opening))]

    def past_the_end(_: float, state: np.ndarray) -> float:
        return float(state[0] - car["straight_length"])

    past_the_end.terminal = True  # type: ignore[attr-defined]
    start, state = 0.0, np.array([0.0, car["corner_exit_speed"]])
    for stop in (begin, full, 60.0):
        part = solve_ivp(
            rates,
            (start, stop),
            state,
            rtol=1e-7,
            atol=1e-8,
            max_step=0.2,
            events=past_the_end,
            dense_output=True,
        )
        pieces.append((start, part.t[-1], part.sol))
        start, state = part.t[-1], part.y[:, -1]
        if part.status == 1:
            break

    def at(time: float) -> np.ndarray:
        return next(sol(time) for low, high, sol in reversed(pieces) if time >= low or low == 0)

    def room(time: float) -> float:
        distance, speed = at(time)
        way = quad(lambda v: v / float(slow(v, 0.0)), slowest, speed, epsrel=1e-6)[0]
        return float(car["straight_length"] - distance - way)

    return at, float(brentq(room, 0.0, start, xtol=1e-9))


@pytest.mark.long
@pytest.mark.parametrize(
    ("changes", "choices", "tolerance"),
    [
        ({}, {}, 1e-4),
        ({"tyre_friction": 0.9, "flap_delay": 4.0}, {}, 2e-4),
        ({"driven_rear_share": 0.6, "headwind": 3.0, "grade": 0.01}, {}, 1e-4),
        (ELECTRIC, {"drive": "electric"}, 1e-4),
        (STOPS, {}, 3e-4),
        ({"tyre_friction": 2.5, "cg_height": 0.12}, {}, 1e-4),
        ({"tyre_friction": 2.5, "cg_height": 0.12, **STOPS}, {}, 1e-3),
        ({"brake_balance_front": 0.0, "rotating_mass_factor": 1.05}, {"brakes": "balance"}, 1e-4),
    ],
    ids=[
        "power",
        "slippery",
        "all-wheel",
        "electric",
        "stops",
        "lifting",
        "lifting onto stops",
        "rear brakes",
    ],
)
def test_against_scipy(changes: dict[str, Any], choices: dict[str, str], tolerance: float) -> None:
    """Independent solver: solve_ivp on the acceleration, quad on the braking, brentq for where they meet."""
    cars = {**scattered_cars(2, seed=5), **LOGGED_RUN, **changes}
    names = ["speed_at_braking_point", "time_to_braking_point", "braking_distance"]
    found = evaluate([*names, *(f"{name}_closed" for name in names)], cars, choices)
    for index in range(1 if STOPS.items() <= changes.items() else 2):
        car = _one_of(cars, index)
        for used, tail in ((True, ""), (False, "_closed")):
            at, time = _scipy_straight(car, choices, used)
            distance, speed = at(time)
            assert found[f"speed_at_braking_point{tail}"][index] == pytest.approx(speed, rel=tolerance)
            assert found[f"time_to_braking_point{tail}"][index] == pytest.approx(time, rel=tolerance)
            left = car["straight_length"] - distance
            assert found[f"braking_distance{tail}"][index] == pytest.approx(left, rel=3 * tolerance)


@pytest.mark.long
def test_passing_against_scipy() -> None:
    """Independent solver: solve_ivp for both cars, the one behind started (gap + length)/speed later."""
    cars = {**scattered_cars(2, seed=8), **LOGGED_RUN, "gap_to_car_ahead": 3.0, "car_length": 0.6}
    found = evaluate(["gap_at_braking_point", "pass_metres_gained", "pass_margin"], cars)
    for index in range(2):
        car = _one_of(cars, index)
        at, time = _scipy_straight(car, {}, used=True)
        ahead, _ = _scipy_straight(car, {}, used=False)
        gap = ahead(time + 3.6 / 14.0)[0] - at(time)[0] - 0.6
        assert found["gap_at_braking_point"][index] == pytest.approx(gap, abs=0.02)
        assert found["pass_metres_gained"][index] == pytest.approx(3.0 - gap, abs=0.02)
        assert found["pass_margin"][index] == pytest.approx(-gap - 0.6, abs=0.02)


@pytest.mark.long
@pytest.mark.parametrize("pull_out_gap", [0.5, 2.5])
def test_the_wake_is_lost_on_pulling_out(pull_out_gap: float) -> None:
    """Independent solver: solve_ivp, in the wake up to the gap, found as an event.

    In clear air from there.
    """
    cars = {**scattered_cars(2, seed=8), **LOGGED_RUN, "gap_to_car_ahead": 1.0, "car_length": 0.6}
    cars |= {"pull_out_gap": pull_out_gap, "straight_length": 320.0}
    wake = {"wake_loss_front": 0.25, "wake_loss_rear": 0.15}
    found = evaluate(["gap_at_braking_point", "pulls_out"], {**cars, **wake})
    over = ("speed", "flap_opening", "wake_loss_front", "wake_loss_rear")
    for index in range(2):
        car = _one_of(cars, index)
        pull, slow = (curve_of(name, over, car) for name in ("acceleration", "braking_deceleration"))
        ahead, _ = _scipy_straight(car, {}, used=False)
        begin, full = car["flap_delay"], car["flap_delay"] + car["flap_opening_duration"]

        def opening(time: float, begin: float = begin, full: float = full) -> float:
            return float(np.clip((time - begin) / (full - begin), 0, 1))

        def near(time: float, state: np.ndarray, ahead: Any = ahead) -> float:
            place, speed = ahead(time + 1.6 / 14.0)
            closing = state[1] > speed
            return float(place - state[0] - 0.6 - pull_out_gap) if closing else 1.0

        near.terminal = True  # type: ignore[attr-defined]

        def rates(waked: float, time: float, state: np.ndarray, pull: Any = pull) -> list[float]:
            losses = (0.25 * waked, 0.15 * waked)
            return [state[1], float(pull(state[1], opening(time), *losses))]

        given = {"rtol": 1e-7, "atol": 1e-8, "max_step": 0.05, "dense_output": True}
        first = solve_ivp(lambda t, s: rates(1.0, t, s), (0, 9), [0.0, 14.0], events=near, **given)
        assert first.status == 1
        then = (first.t[-1], first.t[-1] + 9)
        second = solve_ivp(lambda t, s: rates(0.0, t, s), then, first.y[:, -1], **given)
        slowest = float(value("corner_speed", **car))

        def room(time: float, second: Any = second, slow: Any = slow, slowest: float = slowest) -> float:
            distance, speed = second.sol(time)
            way = quad(lambda v: v / float(slow(v, 0.0, 0.0, 0.0)), slowest, speed, epsrel=1e-6)[0]
            return float(320.0 - distance - way)

        time = brentq(room, *then, xtol=1e-9)
        gap = ahead(time + 1.6 / 14.0)[0] - second.sol(time)[0] - 0.6
        assert found["pulls_out"][index] == 1
        assert found["gap_at_braking_point"][index] == pytest.approx(gap, abs=0.03)


def test_a_time_gap_stretches_with_the_speed() -> None:
    """Value from memory: cars alike, both gone over from v1 to v2: (gap + length) v2/v1 - length."""
    car = {**SPRINT_CAR, **LOGGED_RUN, **OPEN_END, "straight_length": 3000.0, "flap_delay": 500.0}
    car |= {"gap_to_car_ahead": 2.0, "car_length": 0.6}
    found = evaluate(["gap_at_braking_point", "pass_metres_gained", "top_speed"], car)
    stretched = 2.6 * float(found["top_speed"]) / 14.0 - 0.6
    assert found["gap_at_braking_point"] == pytest.approx(stretched, rel=1e-4)
    assert found["pass_metres_gained"] == pytest.approx(2.0 - stretched, rel=1e-4)


def test_steps_are_of_fourth_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """Value from memory: constant power, v^2 = v0^2 + 2 P t / m.

    Halving the steps divides the error by 16.
    """
    car = _without_grip_limit(corner_exit_speed=12.0, straight_length=150.0, body_drag_area=0.0)
    errors = []
    for steps in (4, 8, 16):
        monkeypatch.setattr(full_throttle, "STEPS", steps)
        along = evaluate(["run_without_flap"], car)["run_without_flap"]
        errors.append(abs(along.speed[-1] - np.sqrt(12.0**2 + 2 * 400 * along.time[-1])))
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert np.all(np.abs(orders - 4) < 0.3), errors


def test_stopping_distance_closed_forms() -> None:
    """Value from memory: v^2 / (2 mu g); with drag k v^2: m / (2 k) ln(1 + k v^2 / (mu m g)).

    One axle: load moved off it.
    """
    car = {**REFERENCE, "tyre_friction": 1.2, "speed": 40.0, "body_drag_area": 0.0}
    flat = 40.0**2 / (2 * 1.2 * 9.80665)
    assert value("stopping_distance", **car) == pytest.approx(flat, rel=1e-9)
    assert value("stopping_distance", **{**car, "reaction_time": 0.3}) == pytest.approx(flat + 12, rel=1e-9)
    drag = 0.6 * 0.012
    expected = 6 / (2 * drag) * np.log(1 + drag * 1600 / (1.2 * 6 * 9.80665))
    found = value("stopping_distance", **{**car, "body_drag_area": 0.012})
    assert found == pytest.approx(expected, rel=1e-5)
    rear_only = {**car, "brake_balance_front": 0.0}
    slowing = 1.2 * 9.80665 * 0.172 / (0.325 + 1.2 * 0.05)
    found = value("stopping_distance", {"brakes": "balance"}, **rear_only)
    assert found == pytest.approx(1600 / (2 * slowing), rel=1e-9)


def test_stopping_distance_against_quad() -> None:
    """Independent solver: scipy's quad of speed over the model's deceleration.

    Downforce and pitch included.
    """
    cars = {**scattered_cars(4), "tyre_friction": 1.6, "speed": 50.0}
    found = value("stopping_distance", **cars)
    for index in range(4):
        slow = curve_of("braking_deceleration", ("speed", "flap_opening"), _one_of(cars, index))
        way = quad(lambda v, slow=slow: v / float(slow(v, 0.0)), 0, 50, epsrel=1e-9)[0]
        assert found[index] == pytest.approx(way, rel=2e-4)


def test_deceleration_balances_force_and_load() -> None:
    """Value from memory: Newton's second law with the load it moves: friction times all load, plus drag."""
    car = {**SPRINT_CAR, "tyre_friction": 1.5, "speed": 45.0}
    slowing = float(value("braking_deceleration", **car))
    found = evaluate(
        ["weight", "total_downforce", "drag_force"], {**car, "longitudinal_acceleration": -slowing}
    )
    force = 1.5 * (found["weight"] + found["total_downforce"]) + found["drag_force"]
    assert 4.6 * slowing == pytest.approx(float(force), rel=1e-9)
