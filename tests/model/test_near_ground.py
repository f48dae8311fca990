"""Cars near the ground do not hang on their neighbours."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from ground_help import HEIGHTS, gapped_map
from model_help import evaluate, scattered_cars

FOUND = ["pitch", "front_compression", "rear_compression", "stable_attitudes"]


def gapped_cars(samples: int, seed: int = 3, **changes: Any) -> dict[str, Any]:
    """Scatter cars with a gain of 0.8 +- 0.15, a gap of 9 +- 1 mm, a stall at 2.5 +- 0.3 mm."""
    stream = np.random.default_rng(seed)
    return {
        **scattered_cars(samples),
        "splitter_ground_gain": stream.normal(0.8, 0.15, samples),
        "splitter_gap_at_rest": stream.normal(0.009, 0.001, samples),
        "splitter_critical_gap": stream.normal(0.0025, 0.0003, samples),
        **changes,
    }


#: A splitter edge and a sill that carry load where they come down.
POINTS = {
    "edge_station": -0.12,
    "edge_clearance_at_rest": 0.009,
    "sill_station": 0.385,
    "sill_clearance_at_rest": 0.022,
}


@pytest.mark.parametrize("model", ["parts", "points", "map"])
def test_no_car_hangs_on_its_neighbours(model: str) -> None:
    """Identity: a car gives the same bits alone, among a few, and among many."""
    cars = gapped_cars(300, speed=45.0, flap_opening=1.0)
    if model == "map":
        table = gapped_map(1.0)
        cars |= {**HEIGHTS, "aero_map_closed": table, "aero_map_open": table}
        cars["front_ride_height_at_rest"] = np.random.default_rng(4).normal(0.012, 0.0008, 300)
    choices, points = {"aero": model}, {}
    if model == "points":
        choices, points = {"contact": "points"}, {"point": ("edge", "sill")}
        cars |= {**POINTS, "contact_friction": 0.3}
    together = evaluate(FOUND, cars, choices, points)
    for part in (slice(17, 18), slice(40, 53), slice(101, 300)):
        few = {name: v[part] if isinstance(v, np.ndarray) else v for name, v in cars.items()}
        found = evaluate(FOUND, few, choices, points)
        for name in FOUND:
            whole = np.broadcast_to(together[name], 300)[part]
            assert np.array_equal(whole, np.broadcast_to(found[name], whole.shape), equal_nan=True), name
