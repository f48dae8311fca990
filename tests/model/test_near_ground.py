"""Cars near the ground do not hang on their neighbours."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from ground_help import HEIGHTS, gapped_map
from model_help import evaluate, scattered_cars

from explorer.graph.arrays import Array
from explorer.model.attitude import near_ground
from explorer.model.attitude.gap_line import Line, NearGround
from explorer.model.attitude.gap_way import Way
from explorer.model.attitude.scan import Scan
from explorer.model.attitude.supports import Balance

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


@pytest.mark.parametrize(("speed", "opening"), [(45.0, 1.0), (55.0, 0.0), (55.0, 1.0)])
def test_what_is_known_at_once_is_what_a_close_following_comes_to(
    monkeypatch: pytest.MonkeyPatch, speed: float, opening: float
) -> None:
    """Of cars on stops: 300 more places looked at, four times as many steps of the speed, nothing known."""
    stops = {"front_bump_travel": 0.006, "front_droop_travel": 0.003}
    stops |= {"rear_bump_travel": 0.008, "rear_droop_travel": 0.004}
    asked: list[tuple[NearGround, Way]] = []
    solve, scanned, known_at = near_ground.balance, near_ground._scan, Way.balance

    def kept(near: NearGround, way: Way) -> Balance:
        asked.append((near, way.under(near.splitter, near.car.transfer, near.car.supports)))
        return solve(near, way)

    def closely(line: Line) -> Scan:
        scan = scanned(line)
        more = np.geomspace(1e-4, 0.06, 300)[:, np.newaxis] + 0 * scan.places[:1]
        places = np.sort(np.concatenate([scan.places, more]), axis=0)
        return Scan(scan.left, places, line.left(places))

    def nothing(way: Way, supports: Any, pressure: Array) -> Any:
        tried = known_at(way, supports, pressure)
        return tried._replace(known=tried.known & False, balanced=tried.known & False)

    monkeypatch.setattr(near_ground, "balance", kept)
    evaluate(FOUND, gapped_cars(100, seed=12, speed=speed, flap_opening=opening, **stops))
    near, way = asked[0]
    with np.errstate(all="ignore"):
        gap, lean, known, _ = way.balance(near.car.supports, near.pressure)
    monkeypatch.setattr(near_ground, "_scan", closely)
    monkeypatch.setattr(near_ground, "STEPS", 4 * near_ground.STEPS)
    monkeypatch.setattr(Way, "balance", nothing)
    with np.errstate(all="ignore"):
        tried = way.balance(near.car.supports, near.pressure)
        followed = near_ground._followed(near, way, tried)
    assert known.mean() > 0.85
    for ours, expected in zip((gap, lean), followed, strict=True):
        np.testing.assert_allclose(ours[known], expected[known], rtol=1e-6, atol=1e-9)
