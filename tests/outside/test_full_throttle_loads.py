"""Front load at full throttle and in coasting, against statics and solvers of the coupled balance."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from explorer.model.drive.full_throttle_loads import least_front_load
from tests.checking import checks
from tests.model_help import SPRINT_CAR, evaluate, scattered_cars

GRIPPY = {**SPRINT_CAR, "tyre_friction": 1.5}
G = 9.80665


def front_load(car: dict[str, Any], throttle: str = "full") -> Any:
    return evaluate(["front_axle_load"], car, throttle=throttle)["front_axle_load"]


def in_vacuum(**given: Any) -> dict[str, Any]:
    return {
        **SPRINT_CAR,
        "air_density": 1e-12,
        "rolling_resistance": 0.0,
        "rotating_mass_factor": 1.0,
        **given,
    }


@pytest.mark.parametrize("speed", [5.0, 20.0, 45.0])
@checks("front_axle_load")
def test_without_air_the_push_moves_its_share_of_the_load(speed: float) -> None:
    """Value from memory: statics, m g l_r / L less m a h / L, with a = P / (m v) of a constant power."""
    car = in_vacuum(speed=speed)
    push = car["shaft_power"] * car["drive_efficiency"] / speed
    rear_arm = car["wheelbase"] - car["cg_station"]
    expected = (car["mass"] * G * rear_arm - push * car["cg_height"]) / car["wheelbase"]
    found = evaluate(["front_axle_load", "pushed_acceleration"], car, throttle="full")
    assert found["front_axle_load"] == pytest.approx(expected, rel=1e-9)
    assert found["pushed_acceleration"] == pytest.approx(push / car["mass"], rel=1e-9)


def test_without_air_the_front_lifts_at_the_acceleration_of_statics() -> None:
    """Value from memory: statics, the front lifts in drive at a = g l_r / h."""
    car = in_vacuum()
    a = G * (car["wheelbase"] - car["cg_station"]) / car["cg_height"]
    speed = car["shaft_power"] * car["drive_efficiency"] / (car["mass"] * a)
    below, above = (front_load({**car, "speed": speed * f}) for f in (0.999, 1.001))
    assert below < 0 < above


def solved(car: dict[str, Any], speed: float, force: str = "excess_force", sign: int = 1) -> float:
    """Front load where the acceleration that is tried is the one a force allows, by scipy's brentq."""

    def surplus(tried: float) -> float:
        given = {**car, "speed": speed, "longitudinal_acceleration": tried}
        return sign * float(evaluate([force], given)[force]) / car["mass"] - tried

    a = brentq(surplus, -50, 50, xtol=1e-12)
    given = {**car, "speed": speed, "longitudinal_acceleration": a}
    return float(evaluate(["front_axle_load"], given)["front_axle_load"])


@pytest.mark.parametrize("opening", [0.0, 1.0])
@pytest.mark.parametrize("speed", [10.0, 31.0, 50.0])
def test_the_coupled_balance_is_the_one_scipy_finds(speed: float, opening: float) -> None:
    """Independent solver: brentq on acceleration tried less acceleration allowed."""
    car = {**GRIPPY, "flap_opening": opening, "rotating_mass_factor": 1.0}
    assert front_load({**car, "speed": speed}) == pytest.approx(solved(car, speed), rel=1e-8)


@checks("lowest_front_load", "lowest_front_load_speed")
def test_the_least_load_is_that_of_a_dense_row_of_speeds() -> None:
    """Independent solver: numpy.argmin over 20 000 speeds of the load, for scattered cars one by one."""
    cars = {**scattered_cars(8), "tyre_friction": 1.5}
    asked = ["lowest_front_load", "lowest_front_load_speed"]
    found = evaluate(asked, {**cars, "speed": 50.0}, throttle="full")
    speeds = np.linspace(1.0, 50.0, 20_000)
    for k in range(8):
        car = {name: float(np.broadcast_to(value, (8,))[k]) for name, value in cars.items()}
        load = front_load({**car, "speed": speeds})
        assert found["lowest_front_load"][k] == pytest.approx(np.min(load), abs=0.01)
        assert found["lowest_front_load_speed"][k] == pytest.approx(speeds[np.argmin(load)], abs=0.1)


def test_gaining_speed_takes_load_off_and_losing_it_puts_it_on() -> None:
    """Common practice, no source: below top speed the front carries less than at a held speed.

    Above it more.
    """
    top = float(evaluate(["top_speed"], GRIPPY)["top_speed"])
    for speed, sign in ((0.6 * top, -1), (1.1 * top, 1)):
        car = {**GRIPPY, "speed": speed}
        assert sign * (front_load(car) - front_load(car, "holding")) > 0
        assert front_load(car, "coasting") > front_load(car, "holding")


@checks("front_lift_off_speed")
def test_the_front_lifts_at_the_speed_scipy_finds() -> None:
    """Independent solver: brentq on the load over speed."""
    found = float(evaluate(["front_lift_off_speed"], GRIPPY, throttle="full")["front_lift_off_speed"])
    expected = brentq(lambda speed: float(front_load({**GRIPPY, "speed": speed})), 45, 85, xtol=1e-10)
    assert found == pytest.approx(expected, rel=1e-8)


@checks("longitudinal_acceleration", "front_axle_load")
def test_without_air_a_coasting_car_loads_its_front_by_what_rolling_takes() -> None:
    """Value from memory: statics, m (g l_r + c g h) / L with a rolling resistance of c times the weight."""
    car = in_vacuum(speed=20.0, rolling_resistance=0.03)
    arm = car["wheelbase"] - car["cg_station"] + 0.03 * car["cg_height"]
    found = evaluate(["front_axle_load", "longitudinal_acceleration"], car, throttle="coasting")
    assert found["front_axle_load"] == pytest.approx(car["mass"] * G * arm / car["wheelbase"], rel=1e-9)
    assert found["longitudinal_acceleration"] == pytest.approx(-0.03 * G, rel=1e-9)


@pytest.mark.parametrize("speed", [20.0, 55.0])
def test_coasting_is_the_balance_that_scipy_finds(speed: float) -> None:
    """Independent solver: brentq on acceleration tried plus what the resistance takes."""
    car = {**GRIPPY, "rotating_mass_factor": 1.0}
    found = front_load({**car, "speed": speed}, "coasting")
    assert found == pytest.approx(solved(car, speed, "resistance_force", -1), rel=1e-8)


@checks("pushed_acceleration")
def test_without_air_no_car_gains_more_than_the_front_stays_down_with() -> None:
    """Value from memory: a = g l_r / h in drive, load and push past it are seen."""
    car = in_vacuum(speed=5.0)
    found = evaluate(["acceleration", "pushed_acceleration", "front_axle_load"], car, throttle="full")
    assert found["acceleration"] == pytest.approx(
        G * (car["wheelbase"] - car["cg_station"]) / car["cg_height"], rel=1e-9
    )
    push = car["shaft_power"] * car["drive_efficiency"] / 5.0
    assert found["pushed_acceleration"] == pytest.approx(push / car["mass"], rel=1e-9)
    assert found["pushed_acceleration"] > 2 * found["acceleration"]
    assert found["front_axle_load"] < 0


@checks("acceleration")
def test_with_air_a_car_gains_as_much_as_lifts_its_front() -> None:
    """Independent solver: brentq on the front load over the acceleration tried."""
    car = {**SPRINT_CAR, "tyre_friction": 2.5, "cg_height": 0.12, "speed": 30.0}
    lifted = evaluate(["acceleration", "pushed_acceleration", "front_axle_load"], car, throttle="full")
    assert lifted["front_axle_load"] < -10

    def load(tried: float) -> float:
        return float(front_load({**car, "longitudinal_acceleration": tried}, "holding"))

    found = evaluate(["acceleration"], car)["acceleration"]
    expected = brentq(load, 0.0, float(lifted["pushed_acceleration"]), xtol=1e-12)
    assert found == pytest.approx(expected, rel=1e-8)
    assert lifted["acceleration"] == found


@checks("wheel_lift_speed")
def test_drive_is_bound_up_to_the_speed_at_which_the_push_no_longer_lifts() -> None:
    """Value from memory: without air v = P / (m a) at a = g l_r / h; a car that lifts nothing says 0."""
    car = in_vacuum(speed=60.0)
    a = G * (car["wheelbase"] - car["cg_station"]) / car["cg_height"]
    speed = car["shaft_power"] * car["drive_efficiency"] / (car["mass"] * a)
    found = evaluate(["wheel_lift_speed", "wheel_lift_bounds_drive"], car)
    assert found["wheel_lift_speed"] == pytest.approx(speed, rel=1e-8)
    assert found["wheel_lift_bounds_drive"] == 1
    slow = evaluate(["wheel_lift_speed"], {**car, "speed": speed / 2})
    assert slow["wheel_lift_speed"] == pytest.approx(speed / 2)
    low = evaluate(["wheel_lift_speed", "wheel_lift_bounds_drive"], {**car, "cg_height": 1e-3})
    assert low["wheel_lift_speed"] == 0
    assert low["wheel_lift_bounds_drive"] == 0


def test_a_dip_between_two_places_is_found_beside_a_low_end() -> None:
    """Common practice, no source: the least of two straight lines is where they meet.

    A car whose grip gives way to power at 28 m/s, and whose end is lower than the places beside it.
    """
    kinks = np.linspace(26.0, 30.0, 9)

    def load(speed: np.ndarray) -> np.ndarray:
        beside = np.where(speed < kinks, 1.2 * (kinks - speed), 0.5 * (speed - kinks))
        return 1.0 + np.where(speed > 40.0, 6.0 - 1.15 * (speed - 40.0), beside)

    found = least_front_load(load, np.full(9, 45.0))
    np.testing.assert_allclose(found.lowest_front_load, 1.0, atol=0.02)
    np.testing.assert_allclose(found.lowest_front_load_speed, kinks, atol=0.05)
