"""Going over backwards: moments about the rear contact, written out with turned coordinates."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from tests.model_help import DEGREE, SPRINT_CAR, evaluate, value


def test_at_rest_the_car_tips_over_its_rear_contact() -> None:
    """Value from memory: statics.

    The centre of gravity above the contact at atan(distance ahead / height).
    """
    car = {**SPRINT_CAR, "speed": 0.0}
    found = evaluate(["blow_over_angle", "blow_over_rise"], car)
    assert found["blow_over_rise"] == pytest.approx(np.arctan((0.325 - 0.172) / 0.05), rel=1e-12)
    assert found["blow_over_angle"] == pytest.approx(found["blow_over_rise"] + car["static_pitch"], rel=1e-12)


@pytest.mark.parametrize("gust", [0.0, 5.0])
def test_against_the_moment_of_every_part(gust: float) -> None:
    """Independent solver: scipy's brentq on each part's force and place, turned about the rear contact."""
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


@given(bump=st.floats(0, 6), gust=st.floats(0, 8), more=st.floats(0.1, 4))
@settings(max_examples=30, deadline=None)
def test_more_bump_or_gust_never_helps(bump: float, gust: float, more: float) -> None:
    """Common practice, no source: neither a higher bump nor a stronger gust makes a car safer."""
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
