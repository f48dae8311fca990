"""Where nothing touches, and where nothing moves, points on the road change nothing."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from model_help import SPRINT_CAR, evaluate, scattered_cars

POINTS = {"point": ("edge", "nose")}

CONTACT = {"contact": "points"}

STATIONS = {"edge": 0.385, "nose": -0.12}


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


def test_where_nothing_touches_every_bit_stays() -> None:
    """Identity: a car whose points stay clear is the same with and without a road that carries them."""
    names = ["pitch", "front_axle_load", "top_speed", "front_lift_off_speed", "stopping_distance"]
    car = {**scattered_cars(200), "speed": 40.0, "flap_opening": 1.0, "tyre_friction": 1.6}
    car = with_points(car, 0.1, 0.1)
    clear, sunk = (evaluate(names, car, choice, POINTS) for choice in (CONTACT, None))
    for name in names:
        assert np.array_equal(clear[name], sunk[name], equal_nan=True), name


def test_in_time_a_car_that_stands_stays_where_it_is() -> None:
    """Identity: without bump and gust nothing moves, with a point on the road either."""
    car = with_points({**SPRINT_CAR, "speed": 55.0, "flap_opening": 0.0, "watch_time": 0.3})
    car |= {"cg_station": 0.185, "front_damping_ratio": 0.3, "rear_damping_ratio": 0.3}
    names = ["peak_pitch", "pitch", "lowest_front_axle_load", "front_axle_load", "stands_on_a_point"]
    found = evaluate(names, car, CONTACT, POINTS)
    assert found["stands_on_a_point"] == 1
    assert found["peak_pitch"] == pytest.approx(float(found["pitch"]), abs=1e-7)
    if found["front_axle_load"] > 0:
        assert found["lowest_front_axle_load"] == pytest.approx(float(found["front_axle_load"]), abs=1e-3)
