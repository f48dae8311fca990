"""Going over backwards: moments about the rear contact, written out with turned coordinates."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from tests.model_help import DEGREE, SPRINT_CAR, evaluate, scattered_cars, value


def test_at_rest_the_car_tips_over_its_rear_contact() -> None:
    """Statics: the centre of gravity stands above the contact at atan(distance ahead of it / height)."""
    car = {**SPRINT_CAR, "speed": 0.0}
    found = evaluate(["blow_over_angle", "blow_over_rise"], car)
    assert found["blow_over_rise"] == pytest.approx(np.arctan((0.325 - 0.172) / 0.05), rel=1e-12)
    assert found["blow_over_angle"] == pytest.approx(found["blow_over_rise"] + car["static_pitch"], rel=1e-12)


@pytest.mark.parametrize("gust", [0.0, 5.0])
def test_against_the_moment_of_every_part(gust: float) -> None:
    """Each part's force and place, turned about the rear contact, summed; the zero by scipy."""
    car = {
        **SPRINT_CAR,
        "speed": 48.0,
        "gust": gust,
        "body_drag_height": 0.06,
        "floor_drag_coefficient": 0.01,
    }
    steady = float(value("pitch", **car))
    pressure = 0.6 * (48.0 + gust) ** 2
    base = 0.325
    parts = [(0.03, 1.55, 2.6, 0.4), (0.02, 0.55, 2.6, -0.085), (0.065, 0.05, 0.9, 0.1)]
    drags = [(0.03 * 0.32, 0.4, 0.16), (0.065 * 0.01, 0.1, 0.02), (0.03, 0.15, 0.06)]

    def overturning(rise: float) -> float:
        turn = np.array([[np.cos(rise), -np.sin(rise)], [np.sin(rise), np.cos(rise)]])
        moment = -4.6 * 9.80665 * (turn @ [base - 0.172, 0.05])[0]
        for area, level, slope, station in parts:
            # Square to the floor: its lever about the contact does not change with the turn.
            steady_part = (level - slope * steady) * np.cos(rise)
            moment -= pressure * area * (steady_part - slope * np.sin(rise)) * (base - station)
        for area, station, height in drags:
            moment += pressure * area * (turn @ [base - station, height])[1]
        return float(moment)

    found = evaluate(["blow_over_rise", "blow_over_angle"], car)
    assert found["blow_over_rise"] == pytest.approx(brentq(overturning, -1, 1.5, xtol=1e-13), rel=1e-9)
    assert found["blow_over_angle"] == pytest.approx(steady + found["blow_over_rise"], rel=1e-12)


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


@given(bump=st.floats(0, 6), gust=st.floats(0, 8), more=st.floats(0.1, 4))
@settings(max_examples=30, deadline=None)
def test_more_bump_or_gust_never_helps(bump: float, gust: float, more: float) -> None:
    """Common practice, no source."""
    speeds = value(
        "blow_over_speed",
        **{
            **SPRINT_CAR,
            "bump_pitch": np.array([bump, bump + more, bump]) * DEGREE,
            "gust": np.array([gust, gust, gust + more]),
        },
    )
    assert speeds[1] < speeds[0]
    assert speeds[2] < speeds[0]


def test_the_open_flap_leaves_more_room() -> None:
    """Common practice, no source: with the flap open at the same speed the car stays down."""
    closed, opened = (
        value("blow_over_rise", **{**SPRINT_CAR, "speed": 45.0, "flap_opening": o}) for o in (0.0, 1.0)
    )
    assert opened > 2 * closed > 0
