"""Points of the body on the road: they carry load, unload the tyres and hold the car back."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from ground_help import AREAS, BASE, HEIGHTS, gapped_map
from model_help import SPRINT_CAR, evaluate, scattered_cars
from scipy.integrate import solve_ivp
from scipy.interpolate import RegularGridInterpolator
from scipy.optimize import brentq

from tests.checking import checks

POINTS = {"point": ("edge", "nose")}
CONTACT = {"contact": "points"}
STATIONS = {"edge": 0.385, "nose": -0.12}
STIFF = 1e5
FOUND = [
    "front_compression",
    "rear_compression",
    "edge_load",
    "nose_load",
    "edge_clearance",
    "nose_clearance",
    "front_axle_load",
    "rear_axle_load",
    "front_contact_load",
    "rear_contact_load",
    "stands_on_a_point",
]
CARS = 2000


def with_points(cars: dict[str, Any], edge: Any = 0.012, nose: Any = 0.009) -> dict[str, Any]:
    """Add the two points of the first demo, and the friction of a plate on asphalt (judgement)."""
    return {
        **cars,
        "edge_station": STATIONS["edge"],
        "edge_clearance_at_rest": edge,
        "nose_station": STATIONS["nose"],
        "nose_clearance_at_rest": nose,
        "contact_friction": 0.3,
    }


def scattered() -> dict[str, Any]:
    """Scatter cars and their clearances at rest."""
    stream = np.random.default_rng(6)
    edge, nose = stream.normal(0.012, 0.001, CARS), stream.normal(0.009, 0.001, CARS)
    return with_points(scattered_cars(CARS), edge, nose)


@checks(
    "equilibrium.front_contact_load",
    "equilibrium.rear_contact_load",
    "contact_points.scraping_force",
    "point_load",
)
def test_a_floor_on_the_road_by_hand() -> None:
    """Independent solver: numpy.linalg.solve for two springs and a stiff third one behind the rear axle."""
    car = with_points({**SPRINT_CAR, "speed": 55.0, "flap_opening": 0.0})
    found = evaluate([*FOUND, "scraping_force"], car, CONTACT, POINTS)
    sunk = evaluate(["edge_clearance", "rear_axle_load"], car, None, POINTS)
    of = evaluate(list(AREAS), car)
    pressure, split = of["dynamic_pressure"], np.array([1 - 0.385 / BASE, 0.385 / BASE])
    level = np.array([of["front_downforce_area"], of["rear_downforce_area"]])
    loss = np.array([of["front_downforce_area_loss"], of["rear_downforce_area_loss"]])
    stiffness = np.diag([6000.0, 5200.0]) + pressure * np.outer(loss / BASE, [-1, 1])
    stiffness = stiffness + STIFF * np.outer(split, split)
    loads = pressure * (level - loss * SPRINT_CAR["static_pitch"]) + STIFF * 0.012 * split
    front, rear = np.linalg.solve(stiffness, loads)
    push = STIFF * (split @ [front, rear] - 0.012)
    assert found["front_compression"] == pytest.approx(front, rel=1e-9)
    assert found["rear_compression"] == pytest.approx(rear, rel=1e-9)
    assert found["edge_load"] == pytest.approx(push, rel=1e-9)
    for end, share in zip(("front", "rear"), split, strict=True):
        assert found[f"{end}_contact_load"] == pytest.approx(share * push, rel=1e-9)
    assert found["scraping_force"] == pytest.approx(0.3 * push, rel=1e-9)
    assert push > 10
    assert found["nose_load"] == 0
    assert found["stands_on_a_point"] == 1
    assert found["edge_clearance"] == pytest.approx(-push / STIFF, rel=1e-9)
    assert sunk["edge_clearance"] < -0.010
    assert found["rear_axle_load"] < sunk["rear_axle_load"] - 10


@checks("contact_points.points_at_rest")
def test_what_is_on_the_road_at_rest_carries_nothing_there() -> None:
    """Common practice, no source: springs are set with the car on the ground, whatever touches it."""
    car = with_points({**SPRINT_CAR}, edge=0.012, nose=-0.001)
    places = evaluate(["points_at_rest"], car, CONTACT, POINTS)["points_at_rest"]
    at_rest = [float(place.rate * max(place.past(0.0, 0.0), 0.0)) for place in places]
    assert at_rest == [0.0, 0.0]
    down = [float(place.rate * place.past(0.02, 0.0)) for place in places]
    assert down == pytest.approx([STIFF * 0.008, STIFF * 0.020], rel=1e-9)


@pytest.mark.parametrize("speed", [45.0, 55.0, 65.0])
def test_every_car_balances_on_its_points(speed: float) -> None:
    """Independent solver: brentq within brentq on the statics of drawn cars.

    Of all cars, what no force carries.
    """
    cars = {**scattered(), "speed": speed, "flap_opening": 0.0}
    found, of = evaluate(FOUND, cars, CONTACT, POINTS), evaluate(list(AREAS), cars)
    assert np.mean(found["stands_on_a_point"] == 1) > 0.05

    def lacking(front: Any, rear: Any, at: Any) -> list[Any]:
        lean = (rear - front) / BASE
        pitch = cars["static_pitch"][at] + lean
        left = []
        for axle, travel in (("front", front), ("rear", rear)):
            area, loss = of[f"{axle}_downforce_area"][at], of[f"{axle}_downforce_area_loss"][at]
            left.append(of["dynamic_pressure"] * (area - loss * pitch) - of[f"{axle}_axle_rate"][at] * travel)
        for name, station in STATIONS.items():
            push = STIFF * np.maximum(front + lean * station - cars[f"{name}_clearance_at_rest"][at], 0)
            left[0] = left[0] - push * (1 - station / BASE)
            left[1] = left[1] - push * station / BASE
        return left

    front, rear = found["front_compression"], found["rear_compression"]
    assert np.all(np.isfinite(front))
    assert np.max(np.abs(lacking(front, rear, slice(None)))) < 1e-7
    total = np.asarray(found["front_axle_load"]) + found["rear_axle_load"]
    total = total + found["edge_load"] + found["nose_load"]
    air = evaluate(["total_downforce", "weight"], cars, CONTACT, POINTS)
    assert total == pytest.approx(air["total_downforce"] + air["weight"], rel=1e-9)
    for at in range(0, CARS, CARS // 20):

        def rear_of(tried: float, at: int = at) -> float:
            return float(brentq(lambda x: lacking(tried, x, at)[1], -0.06, 0.08, xtol=1e-14))

        def at_front(tried: float, at: int = at) -> float:
            return float(lacking(tried, rear_of(tried), at)[0])

        by_scipy = brentq(at_front, -0.05, 0.05, xtol=1e-14)
        assert by_scipy == pytest.approx(front[at], abs=1e-9)
        assert rear_of(by_scipy) == pytest.approx(rear[at], abs=1e-9)


@pytest.mark.long
def test_every_car_on_a_map_balances_on_its_points() -> None:
    """Independent library: RegularGridInterpolator, scipy's bilinear interpolation of the same map."""
    table = gapped_map(0.0)
    cars = {
        **scattered(),
        **HEIGHTS,
        "aero_map_closed": table,
        "aero_map_open": table,
        "edge_clearance_at_rest": np.random.default_rng(7).normal(0.008, 0.001, CARS),
        "speed": 40.0,
    }
    found = evaluate(FOUND, cars, {"aero": "map", **CONTACT}, POINTS)
    front, rear = found["front_compression"], found["rear_compression"]
    known = np.isfinite(front)
    assert known.mean() > 0.9
    standing = found["stands_on_a_point"] == 1
    assert standing[known].mean() > 0.2
    places = np.column_stack([0.012 - front[known], 0.025 - rear[known]])
    pushes = {
        name: STIFF
        * np.maximum(front + (rear - front) * at / BASE - cars[f"{name}_clearance_at_rest"], 0)[known]
        for name, at in STATIONS.items()
    }
    for axle, travel in (("front", front), ("rear", rear)):
        area = RegularGridInterpolator(tuple(table.axes.values()), table.values[f"{axle}_downforce_area"])
        left = 0.6 * 40.0**2 * area(places) - 2 * cars[f"{axle}_wheel_rate"][known] * travel[known]
        for name, at in STATIONS.items():
            left = left - pushes[name] * (1 - at / BASE if axle == "front" else at / BASE)
        assert np.max(np.abs(left)) < 1e-6


def test_scraping_costs_speed() -> None:
    """Independent solver: brentq on power over speed less drag, rolling under tyres alone, and friction."""
    car = with_points({**SPRINT_CAR, "flap_opening": 0.0})
    names = ["drag_force", "total_downforce", "weight", "edge_load"]

    def spare(speed: float) -> float:
        at = evaluate(names, {**car, "speed": speed}, CONTACT, POINTS)
        on_tyres = at["weight"] + at["total_downforce"] - at["edge_load"]
        push = car["shaft_power"] * car["drive_efficiency"] / speed
        return float(push - at["drag_force"] - 0.025 * on_tyres - 0.3 * at["edge_load"])

    top = float(evaluate(["top_speed"], car, CONTACT, POINTS)["top_speed"])
    assert brentq(spare, 35.0, 65.0, xtol=1e-12) == pytest.approx(top, rel=1e-8)
    assert top < float(evaluate(["top_speed"], car, None, POINTS)["top_speed"]) - 0.1


def test_in_time_a_point_pushes_as_it_does_at_rest() -> None:
    """Independent solver: solve_ivp on heave and pitch of a car that a gust presses on its rear edge."""
    car = with_points({**SPRINT_CAR, "speed": 40.0, "flap_opening": 0.0})
    car |= {"gust": 8.0, "gust_lead": 0.05, "gust_rise_time": 0.05, "gust_hold_time": 0.1}
    car |= {"watch_time": 0.5, "cg_station": 0.15, "air_follows_road": 0.0}
    names = ["peak_pitch", "edge_smallest_clearance", "half_car"]
    found = evaluate([*names, "front_compression", "rear_compression"], car, CONTACT, POINTS)
    of, half = evaluate(list(AREAS), car), found["half_car"]
    mobility = np.array([[half.own[0], half.across[0]], [half.across[1], half.own[1]]]).reshape(2, 2)
    damping, rates = np.ravel(half.damping), np.array([of["front_axle_rate"], of["rear_axle_rate"]])
    level = np.array([of["front_downforce_area"], of["rear_downforce_area"]])
    loss = np.array([of["front_downforce_area_loss"], of["rear_downforce_area_loss"]])
    split = np.array([1 - 0.385 / BASE, 0.385 / BASE])

    def pushed(drop: np.ndarray) -> float:
        return float(max(split @ drop - 0.012, 0.0)) * STIFF

    def rise(time: float, state: np.ndarray) -> np.ndarray:
        drop, speed = state[:2], state[2:]
        pitch = SPRINT_CAR["static_pitch"] + (drop[1] - drop[0]) / BASE
        share = np.interp(time, [0.0, 0.05, 0.15, 0.2], [0.0, 1.0, 1.0, 0.0])
        air = 0.6 * (40.0 + 8.0 * (1 - np.cos(np.pi * share)) / 2) ** 2
        force = air * (level - loss * pitch) - rates * drop - damping * speed - pushed(drop) * split
        return np.concatenate([speed, mobility @ force])

    start = np.array([found["front_compression"], found["rear_compression"], 0.0, 0.0])
    run = solve_ivp(rise, (0, 0.5), start, rtol=1e-9, atol=1e-12, max_step=2e-4)
    deepest, lean = np.min(0.012 - split @ run.y[:2]), np.max(run.y[1] - run.y[0]) / BASE
    assert deepest < -1e-4
    assert found["edge_smallest_clearance"] == pytest.approx(deepest, rel=0.02)
    assert found["peak_pitch"] == pytest.approx(SPRINT_CAR["static_pitch"] + lean, rel=1e-3)
