"""Wheel hop in closed form, and a wheel with mass against one without, integrated by scipy."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tests.checking import checks
from tests.model_help import SPRINT_CAR, value

SPRING, TYRE, WHEEL, BODY = 3840.0, 22_000.0, 0.15, 1.25
CAR = {
    **{name: v for name, v in SPRINT_CAR.items() if name != "front_wheel_rate"},
    "front_spring_rate": 6000.0,
    "front_motion_ratio": 0.8,
    "front_tyre_stiffness": TYRE,
    "front_unsprung_mass": WHEEL,
}


def test_hop_frequency() -> None:
    """Value from memory: sqrt((k_t + k_s)/m_u)/(2 pi), 66 Hz for 0.15 kg on 22 N/mm and 3.84 N/mm."""
    expected = np.sqrt((TYRE + SPRING) / WHEEL) / (2 * np.pi)
    assert expected == pytest.approx(66.06, abs=0.01)
    assert value("front_wheel_hop_frequency", **CAR) == pytest.approx(expected, rel=1e-9)


@cache
def _lowest_loads(share: float) -> tuple[float, float]:
    """Lowest load on the tyre over a haversine bump, over that at rest: wheel without mass, and with it."""
    rate = SPRING * TYRE / (SPRING + TYRE)
    damping = 0.6 * np.sqrt(rate * BODY)
    span = 1 / (share * np.sqrt((TYRE + SPRING) / WHEEL) / (2 * np.pi))

    def road(time: float) -> tuple[float, float]:
        if time >= span:
            return 0.0, 0.0
        phase = np.pi * time / span
        return 0.004 * np.sin(phase) ** 2, 0.004 * np.pi / span * np.sin(2 * phase)

    def light(time: float, state: np.ndarray) -> list[float]:
        height, rise = road(time)
        return [state[1], (rate * (height - state[0]) + damping * (rise - state[1])) / BODY]

    def heavy(time: float, state: np.ndarray) -> list[float]:
        body, speed, wheel, moving = state
        inner = SPRING * (wheel - body) + damping * (moving - speed)
        return [speed, inner / BODY, moving, (TYRE * (road(time)[0] - wheel) - inner) / WHEEL]

    given = {"max_step": span / 200, "rtol": 1e-7, "atol": 1e-9}
    one = solve_ivp(light, (0, span + 0.2), [0.0, 0.0], **given)
    two = solve_ivp(heavy, (0, span + 0.2), [0.0] * 4, **given)
    roads = np.array([road(time) for time in one.t])
    without = rate * (roads[:, 0] - one.y[0]) + damping * (roads[:, 1] - one.y[1])
    with_mass = TYRE * (np.array([road(time)[0] for time in two.t]) - two.y[2])
    return float(without.min()), float(with_mass.min())


@pytest.mark.parametrize(("share", "low", "high"), [(0.2, 0.8, 1.25), (0.5, 0.8, 1.25), (1.0, 1.5, 3.0)])
def test_where_wheels_without_mass_are_good_enough(share: float, low: float, high: float) -> None:
    """Independent solver: solve_ivp of a quarter car: up to half the hop frequency within a quarter.

    Not beyond.
    """
    without, with_mass = _lowest_loads(share)
    assert low < with_mass / without < high


@checks("followed_time", "wheel_hop_share")
def test_the_car_is_followed_as_far_as_wheels_without_mass_are_good_enough() -> None:
    """Independent solver: solve_ivp of a quarter car over bumps of a share of its hop frequency."""
    hop = np.sqrt((TYRE + SPRING) / WHEEL) / (2 * np.pi)
    for share in (0.2, 0.5, 1.0):
        without, with_mass = _lowest_loads(share)
        bump = {"bump_height": 0.004, "bump_length": 30.0 / (share * hop), "speed": 30.0}
        wheels = {"front_wheel_hop_frequency": hop, "rear_wheel_hop_frequency": 1.1 * hop}
        assert value("wheel_hop_share", **bump, **wheels) == pytest.approx(share, rel=1e-9)
        followed = value("followed_time", wheel_hop_share=share, watch_time=2.0)
        expected = 2.0 if 0.8 < with_mass / without < 1.25 else np.nan
        assert followed == pytest.approx(expected, rel=1e-9, nan_ok=True)
    assert value("wheel_hop_share", **{**bump, "bump_height": 0.0}, **wheels) == 0
