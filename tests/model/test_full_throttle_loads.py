"""A front that is up whatever the driver does."""

from __future__ import annotations

import pytest

from tests.model_help import SPRINT_CAR, evaluate

GRIPPY = {**SPRINT_CAR, "tyre_friction": 1.5}


def test_a_front_that_is_up_even_without_drive_lets_the_car_roll_free() -> None:
    """Definition: past lift-off of the car that rolls, the driver is off the throttle altogether."""
    car = {**GRIPPY, "speed": 70.0, "splitter_downforce_coefficient": 0.0}
    found = evaluate(["acceleration", "coasting_deceleration", "front_axle_load"], car)
    assert found["front_axle_load"] < 0
    assert found["acceleration"] == pytest.approx(-found["coasting_deceleration"], rel=1e-12)
