"""Going over backwards: what hangs together with lift-off, bump and flap."""

from __future__ import annotations

import numpy as np
import pytest

from tests.model_help import DEGREE, SPRINT_CAR, evaluate, scattered_cars, value


def test_without_bump_and_gust_it_is_front_lift_off() -> None:
    """At lift-off the moment about the rear contact is nothing: the same balance seen from another side."""
    found = evaluate(["blow_over_speed", "front_lift_off_speed"], scattered_cars(300))
    np.testing.assert_allclose(found["blow_over_speed"], found["front_lift_off_speed"], rtol=1e-8)


def test_at_the_blow_over_speed_the_bump_uses_up_the_margin() -> None:
    """Definition of the root, and of the angle."""
    car = {**SPRINT_CAR, "bump_pitch": 2 * DEGREE, "gust": 4.0}
    speed = value("blow_over_speed", **car)
    found = evaluate(["blow_over_margin", "blow_over_angle", "pitch"], {**car, "speed": speed})
    assert found["blow_over_margin"] == pytest.approx(0, abs=1e-8)
    assert found["blow_over_angle"] == pytest.approx(found["pitch"] + 2 * DEGREE, abs=1e-8)


def test_the_open_flap_leaves_more_room() -> None:
    """Common practice, no source: with the flap open at the same speed the car stays down."""
    closed, opened = (
        value("blow_over_rise", **{**SPRINT_CAR, "speed": 45.0, "flap_opening": o}) for o in (0.0, 1.0)
    )
    assert opened > 2 * closed > 0
