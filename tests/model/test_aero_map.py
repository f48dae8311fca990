"""A map made from the build-up of parts must give the car of the parts back."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from explorer.graph.tables import LookupTable
from tests.model_help import SPRINT_CAR, evaluate, scattered_cars, value

MAP = {"aero": "map"}
HEIGHTS = {"front_ride_height_at_rest": 0.012, "rear_ride_height_at_rest": 0.025}


def _map(opening: float, front: np.ndarray, rear: np.ndarray) -> LookupTable:
    """Areas of the sprint car on a grid of ride heights: straight in pitch, so bilinear without error."""
    areas = evaluate(
        [
            "front_downforce_area",
            "rear_downforce_area",
            "front_downforce_area_loss",
            "rear_downforce_area_loss",
            "drag_area",
        ],
        {**SPRINT_CAR, "flap_opening": opening},
    )
    pitch = SPRINT_CAR["static_pitch"] + (front[:, None] - 0.012 - (rear[None, :] - 0.025)) / 0.325
    return LookupTable(
        "made.csv",
        {"front_ride_height": front, "rear_ride_height": rear},
        {
            "front_downforce_area": areas["front_downforce_area"]
            - areas["front_downforce_area_loss"] * pitch,
            "rear_downforce_area": areas["rear_downforce_area"] - areas["rear_downforce_area_loss"] * pitch,
            "drag_area": np.full_like(pitch, areas["drag_area"]),
        },
    )


def _car(**changes: object) -> dict[str, Any]:
    front, rear = np.array([-0.03, 0.0, 0.008, 0.011, 0.02, 0.06]), np.array([-0.06, 0.0, 0.02, 0.03, 0.05])
    maps = {"aero_map_closed": _map(0.0, front, rear), "aero_map_open": _map(1.0, front, rear)}
    return {**SPRINT_CAR, **HEIGHTS, **maps, **changes}


NAMES = ["pitch", "front_axle_load", "rear_axle_load", "drag_force", "top_speed", "front_lift_off_speed"]


@pytest.mark.parametrize("opening", [0.0, 0.4, 1.0])
def test_map_and_parts_are_the_same_car(opening: float) -> None:
    """Identity: the build-up, tabulated, on the same springs."""
    given = {"flap_opening": opening, "speed": 45.0}
    by_map = evaluate(NAMES, _car(**given), MAP)
    by_parts = evaluate(NAMES, {**SPRINT_CAR, **given})
    for name in NAMES:
        assert by_map[name] == pytest.approx(by_parts[name], rel=1e-8), name


def test_map_and_parts_meet_the_same_stops() -> None:
    """Identity, with bump and droop stops in reach."""
    stops = {"front_droop_travel": 0.001, "rear_bump_travel": 0.008, "speed": np.linspace(10, 55, 10)}
    by_map = evaluate(NAMES[:3], _car(**stops), MAP)
    by_parts = evaluate(NAMES[:3], {**SPRINT_CAR, **stops})
    for name in NAMES[:3]:
        np.testing.assert_allclose(by_map[name], by_parts[name], rtol=1e-8)


def test_outside_the_map_there_is_no_answer() -> None:
    """Counted, not extrapolated: a map that ends 5 mm below the rear's rest height."""
    front, rear = np.array([0.0, 0.03]), np.array([0.020, 0.030])
    short = {"aero_map_closed": _map(0.0, front, rear), "aero_map_open": _map(1.0, front, rear)}
    found = evaluate(
        ["pitch", "front_axle_load", "drag_force", "rear_ride_height"],
        _car(speed=np.array([15.0, 25.0, 30.0, 50.0]), **short),
        MAP,
    )
    full = evaluate(["rear_ride_height"], _car(speed=np.array([15.0, 25.0, 30.0, 50.0])), MAP)
    outside = full["rear_ride_height"] < 0.020
    assert outside.any()
    assert not outside.all()
    for name, found_value in found.items():
        np.testing.assert_array_equal(np.isnan(found_value), outside, err_msg=name)


def test_offsets_and_wake_act_on_the_axle_they_name() -> None:
    """Definition."""
    stiff = {"front_wheel_rate": 1e9, "rear_wheel_rate": 1e9, "speed": 40.0}
    plain = evaluate(["front_downforce", "rear_downforce", "drag_force"], _car(**stiff), MAP)
    changed = evaluate(
        ["front_downforce", "rear_downforce", "drag_force"],
        _car(**stiff, aero_map_front_offset=0.001, aero_map_drag_offset=0.002, wake_loss_rear=0.2),
        MAP,
    )
    pressure = 0.6 * 40.0**2
    assert changed["front_downforce"] == pytest.approx(plain["front_downforce"] + 0.001 * pressure, rel=1e-5)
    assert changed["rear_downforce"] == pytest.approx(0.8 * plain["rear_downforce"], rel=1e-5)
    assert changed["drag_force"] == pytest.approx(0.9 * (plain["drag_force"] + 0.002 * pressure), rel=1e-5)


def test_samples_do_not_disturb_each_other() -> None:
    """Many cars at once and one alone, to the last bit."""
    front, rear = np.array([-0.03, 0.008, 0.06]), np.array([-0.06, 0.02, 0.05])
    maps = {"aero_map_closed": _map(0.0, front, rear), "aero_map_open": _map(1.0, front, rear)}
    cars = {**scattered_cars(40), **HEIGHTS, **maps, "speed": 40.0}
    together = value("front_axle_load", MAP, **cars)
    alone = {k: v[7].item() if isinstance(v, np.ndarray) else v for k, v in cars.items()}
    assert value("front_axle_load", MAP, **alone) == together[7]
