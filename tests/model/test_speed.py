"""Top speed: none, the cap, under downforce, and the invented car's."""

from __future__ import annotations

import numpy as np
import pytest

from tests.model_help import SPRINT_CAR, evaluate, scattered_cars, value


def test_downforce_costs_speed_through_the_tyres() -> None:
    """At the root, push equals drag plus rolling resistance under weight and downforce at that speed."""
    cars = scattered_cars(300)
    top = value("top_speed", **cars)
    found = evaluate(["wheel_power", "drag_force", "weight", "total_downforce"], {**cars, "speed": top})
    resistance = found["drag_force"] + cars["rolling_resistance"] * (
        found["weight"] + found["total_downforce"]
    )
    np.testing.assert_allclose(found["wheel_power"] / top, resistance, rtol=1e-8)


def test_a_car_that_cannot_move_has_no_top_speed() -> None:
    """More slope than grip: no number, rather than a wrong one."""
    found = value("top_speed", **{**SPRINT_CAR, "grade": 0.5, "tyre_friction": np.array([0.2, 2.0])})
    assert np.isnan(found[0])
    assert found[1] > 10


def test_a_speed_not_reached_below_the_cap_is_the_cap() -> None:
    """Censored, not extrapolated."""
    assert value("top_speed", **{**SPRINT_CAR, "shaft_power": 1e6}) == 90.0
    assert value("front_lift_off_speed", **{**SPRINT_CAR, "flap_opening": 1.0, "speed_cap": 70.0}) == 70.0


def test_the_demo_car_reaches_what_its_story_says() -> None:
    """Invented car: near 52 m/s closed, near 56 m/s open; one in three has lifted at 55 m/s closed."""
    cars = {**scattered_cars(20_000), "speed": 55.0}
    closed = evaluate(["top_speed", "front_axle_load"], {**cars, "flap_opening": 0.0})
    opened = evaluate(["top_speed", "pitch"], {**cars, "flap_opening": 1.0})
    assert np.mean(closed["top_speed"]) == pytest.approx(52, abs=0.7)
    assert np.mean(opened["top_speed"]) == pytest.approx(56, abs=0.7)
    assert np.mean(closed["front_axle_load"] <= 0) == pytest.approx(1 / 3, abs=0.05)
    assert np.mean(np.abs(opened["pitch"])) < 0.01
    at_45 = evaluate(["pitch", "front_load_kept"], {**cars, "speed": 45.0})
    assert np.degrees(np.mean(at_45["pitch"])) > 2
    assert np.mean(at_45["front_load_kept"]) == pytest.approx(0.55, abs=0.06)


def test_every_drive_knows_what_speed_its_tyres_are_made_for() -> None:
    found = evaluate(["tyre_speed_margin"], {**SPRINT_CAR, "speed": 55.0, "tyre_rated_speed": 60.0})
    assert found["tyre_speed_margin"] == pytest.approx(5.0)
