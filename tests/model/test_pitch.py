"""Pitch up to divergence and beyond, and the invented car as it is told."""

from __future__ import annotations

import numpy as np
import pytest

from tests.model_help import DEGREE, SPRINT_CAR, evaluate, value


def _diverging_car() -> dict:
    return {
        **SPRINT_CAR,
        "splitter_pitch_slope": 12.0,
        "wing_pitch_slope": 0.5,
        "front_wheel_rate": 1500.0,
        "body_drag_height": 0.05,
        "speed": 20.0,
    }


def test_pitch_grows_without_bound_towards_divergence_and_has_no_value_past_it() -> None:
    """A car whose determinant has changed sign has no attitude, not the mirrored one of the formula."""
    car = _diverging_car()
    speed = float(value("divergence_speed", **car))
    below, past = (float(value("pitch", **{**car, "speed": speed * f})) for f in (1 - 1e-6, 1 + 1e-6))
    assert below > 1
    assert np.isnan(past)


def test_a_diverging_car_lifts_its_front_before_it_diverges() -> None:
    """Pitch grows without bound before divergence and takes the front load with it."""
    found = evaluate(["front_lift_off_speed", "divergence_speed"], _diverging_car())
    assert 0 < found["front_lift_off_speed"] < found["divergence_speed"]


def test_a_stop_holds_a_car_that_would_diverge() -> None:
    """Statics: stiff stops at both ends bring the determinant back above zero: a balance again."""
    car = {
        **_diverging_car(),
        "speed": 75.0,
        "front_droop_travel": 0.003,
        "rear_bump_travel": 0.003,
        "front_stop_rate": 1e6,
        "rear_stop_rate": 1e6,
    }
    assert car["speed"] > value("divergence_speed", **car)
    found = evaluate(["pitch", "front_compression", "rear_compression"], car)
    lean = car["static_pitch"] + (found["rear_compression"] - found["front_compression"]) / car["wheelbase"]
    assert found["pitch"] == pytest.approx(lean, abs=1e-12)
    assert found["pitch"] > 0
    assert np.isnan(value("pitch", **{**_diverging_car(), "speed": 75.0}))


def test_the_open_flap_keeps_the_car_level() -> None:
    """Common practice, no source: at the same speed the closed car is nose-up, the open one level."""
    closed, opened = (
        evaluate(["pitch", "front_axle_load"], {**SPRINT_CAR, "speed": 55.0, "flap_opening": o})
        for o in (0.0, 1.0)
    )
    assert closed["pitch"] > 2 * DEGREE
    assert abs(opened["pitch"]) < 0.5 * DEGREE
    assert opened["front_axle_load"] > 5 * closed["front_axle_load"]


def test_the_rear_floor_can_scrape_before_the_front_lifts() -> None:
    """Common practice, no source."""
    car = {**SPRINT_CAR, "edge_station": 0.385, "edge_clearance_at_rest": 0.012, "speed": 45.0}
    found = evaluate(["edge_clearance", "front_axle_load"], car, families={"point": ("edge",)})
    assert found["edge_clearance"] < 0 < found["front_axle_load"]
