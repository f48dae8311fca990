"""Heave and pitch in time against textbook frequencies, closed forms, and scipy on equations written anew."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.linalg import eigh

from tests.checking import checks
from tests.model_help import SPRINT_CAR, bare_car, evaluate, scattered_cars, value
from tests.ride_help import Reference

EDGE = {"edge_station": -0.125, "edge_clearance_at_rest": 0.009}
POINT = {"point": ("edge",)}


@checks("higher_ride_frequency", "lower_ride_frequency")
def test_frequencies_of_a_textbook_car() -> None:
    """Source: Thomson, Theory of Vibration with Applications, section 5.3, figure 5.3-7: 6.90 and 9.06 rad/s.

    Mass 100, inertia 1600, total rate 5000 and pitch rate 127 250 (foot, pound, second) are in the book's
    text; how the rate divides into 2400 ahead by 4.5 and 2600 behind by 5.5 is from memory, and fits both.
    The book's higher figure is 0.1 % more than its own total of the squares allows.
    """
    car = {
        "mass": 100.0,
        "pitch_inertia": 1600.0,
        "front_axle_rate": 2400.0,
        "rear_axle_rate": 2600.0,
        "cg_station": 4.5,
        "wheelbase": 10.0,
    }
    assert 2400 * 4.5**2 + 2600 * 5.5**2 == 127_250
    assert 2 * np.pi * value("lower_ride_frequency", **car) == pytest.approx(6.90, abs=0.005)
    assert 2 * np.pi * value("higher_ride_frequency", **car) == pytest.approx(9.06, abs=0.01)


def test_frequencies_against_a_generalised_eigenproblem() -> None:
    """Independent solver: scipy's eigh on mass and stiffness matrices in heave and pitch."""
    cars = scattered_cars(20)
    found = evaluate(["lower_ride_frequency", "higher_ride_frequency", "pitch_inertia"], cars)
    for index in range(20):
        mass, ahead = cars["mass"][index], cars["cg_station"][index]
        behind = 0.325 - ahead
        front, rear = 2 * cars["front_wheel_rate"][index], 2 * cars["rear_wheel_rate"][index]
        coupling = rear * behind - front * ahead
        stiffness = [[front + rear, coupling], [coupling, front * ahead**2 + rear * behind**2]]
        squares = eigh(stiffness, np.diag([mass, found["pitch_inertia"][index]]), eigvals_only=True)
        pair = [found["lower_ride_frequency"][index], found["higher_ride_frequency"][index]]
        assert pair == pytest.approx(np.sqrt(squares) / (2 * np.pi), rel=1e-12)


@checks("ride_decay_rate")
def test_a_car_without_air_swings_at_its_damped_frequency_and_dies_away() -> None:
    """Value from memory: one mass on spring and damper decays at damping ratio times circular frequency.

    Mass in the middle and radius of gyration half the wheelbase: each axle is such a mass by itself.
    """
    alike = {"cg_station": 0.1625, "pitch_gyration_share": 0.5, "front_wheel_rate": 2600.0}
    car = bare_car(**alike, speed=30.0, front_damping_ratio=0.2, rear_damping_ratio=0.2)
    circular = np.sqrt(2 * 5200.0 / 4.6)
    assert value("lower_ride_frequency", **car) == pytest.approx(circular / (2 * np.pi), rel=1e-7)
    assert value("ride_decay_rate", **car) == pytest.approx(0.2 * circular, rel=1e-7)


@pytest.mark.parametrize("periods", [0.3, 0.6, 1.5, 2.4])
@checks("half_car", "road_and_gust", "point_smallest_clearance")
def test_an_undamped_axle_over_a_versed_sine(periods: float) -> None:
    """Source: Harris, Shock and Vibration Handbook, ch. 8 (Ayre).

    An oscillator on a base moving as a versed sine.

    The form used here is derived: x'' + w2 x = w2 y with y = h/2 (1 - cos p t) has, while it lasts,
    x = h/2 (1 - (w2 cos p t - p2 cos w t) / (w2 - p2)), and swings freely after.
    """
    height, speed, base = 0.002, 20.0, 0.325
    # A bump passed by the front before the rear meets it; the front alone, as radius of gyration says.
    car = bare_car(speed=speed, cg_station=base / 2, pitch_gyration_share=0.5, watch_time=1.0)
    stiff, soft = np.sqrt(2 * np.array([6000.0, 5200.0]) / 4.6)
    length = periods * 2 * np.pi / stiff * speed
    pulse = 2 * np.pi * speed / length

    def moved(time: np.ndarray, circular: float) -> np.ndarray:
        ends = length / speed
        inside = np.minimum(time, ends)
        share = 1 / (circular**2 - pulse**2)
        place = 1 - share * (circular**2 * np.cos(pulse * inside) - pulse**2 * np.cos(circular * inside))
        rate = (
            share * pulse * circular * (circular * np.sin(pulse * inside) - pulse * np.sin(circular * inside))
        )
        free = place * np.cos(circular * (time - ends)) + rate / circular * np.sin(circular * (time - ends))
        return height / 2 * np.where(time > ends, free, place)

    time = np.linspace(0, 3, 300_001)
    road = np.where(time < length / speed, height / 2 * (1 - np.cos(pulse * time)), 0.0)
    squeeze, behind = (road - moved(time, each) for each in (stiff, soft))
    given = {
        **car,
        "bump_height": height,
        "bump_length": length,
        "front_damping_ratio": 0.0,
        "rear_damping_ratio": 0.0,
        "edge_station": 0.0,
        "edge_clearance_at_rest": 0.02,
    }
    found = evaluate(
        ["lowest_front_axle_load", "lowest_rear_axle_load", "edge_smallest_clearance"], given, families=POINT
    )
    at_rest = 4.6 * 9.80665 / 2
    assert 6000 * squeeze.min() > -at_rest
    # The extremes are read at half steps and between steps: a percent of what they differ from rest by.
    assert found["lowest_front_axle_load"] - at_rest == pytest.approx(6000 * squeeze.min(), rel=0.015)
    assert found["lowest_rear_axle_load"] - at_rest == pytest.approx(5200 * behind.min(), rel=0.015)
    assert 0.02 - found["edge_smallest_clearance"] == pytest.approx(squeeze.max(), rel=0.01)


CASES = {
    "gust": {"gust": 3.0},
    "held gust": {"gust": 2.0, "gust_hold_time": 0.2, "gust_rise_time": 0.05},
    "gentle bump": {"bump_height": 0.002, "bump_length": 3.0},
    "crest, air follows": {"bump_height": 0.006, "bump_length": 4.0, "gust": 2.0, "air_follows_road": 1.0},
    "short bump, wheels lift": {"bump_height": 0.003, "bump_length": 0.3},
    "high bump in a gust, the car flies": {"bump_height": 0.01, "bump_length": 0.3, "gust": 5.0},
    "past lift-off, no bump and no gust": {"speed": 59.4, "watch_time": 0.2},
    "dip, dampers unlike": {
        "bump_height": -0.008,
        "bump_length": 1.0,
        "gust": 2.0,
        "front_damping_ratio": 0.7,
        "rear_damping_ratio": 0.1,
    },
    "bump onto the stops": {
        "bump_height": 0.006,
        "bump_length": 2.0,
        "gust": 2.0,
        "front_droop_travel": 0.004,
        "rear_droop_travel": 0.004,
        "front_bump_travel": 0.006,
        "rear_bump_travel": 0.012,
    },
}


@pytest.mark.parametrize("case", CASES)
def test_against_scipy_on_equations_written_anew(case: str) -> None:
    """Independent solver: solve_ivp on heave and pitch, part by part; wheels lift and land at its events."""
    car = {**SPRINT_CAR, "speed": 40.0, **CASES[case]}
    names = [
        "peak_pitch",
        "lowest_front_axle_load",
        "lowest_rear_axle_load",
        "front_airborne_time",
        "edge_smallest_clearance",
    ]
    found = evaluate([*names, "pitch", "front_axle_load", "rear_axle_load"], {**car, **EDGE}, families=POINT)
    exact = Reference(car).run()
    rise = exact.peak_pitch - found["pitch"]
    assert found["peak_pitch"] - found["pitch"] == pytest.approx(rise, rel=0.015)
    for axle, end in enumerate(("front", "rear")):
        lost = found[f"{end}_axle_load"] - exact.lowest_load(axle)
        assert found[f"{end}_axle_load"] - found[f"lowest_{end}_axle_load"] == pytest.approx(
            lost, rel=0.06, abs=0.3
        )
    assert found["front_airborne_time"] == pytest.approx(exact.front_time_off_road, abs=0.002)
    assert found["edge_smallest_clearance"] == pytest.approx(
        exact.smallest_clearance(-0.125, 0.009), abs=5e-5
    )


@cache
def _over_a_short_bump(ratio: float, time: float) -> tuple[float, float]:
    """Time of the front off the road, and the swing at the end over the widest, by scipy."""
    exact = Reference(
        {**SHORT, "front_damping_ratio": ratio, "rear_damping_ratio": ratio, "watch_time": time}
    )
    exact.run()
    swings = np.abs([exact.wheels(1e3, state - exact.states[0])[0] for state in exact.states])
    late = np.array(exact.times) > exact.times[-1] - time / 4
    return exact.front_time_off_road, float(np.max(swings[late] / swings.max(axis=0)))


SHORT = {**SPRINT_CAR, "speed": 40.0, "bump_height": 0.008, "bump_length": 0.3}


@checks("front_airborne_time", "returns_to_level")
def test_wheels_leave_the_road_and_the_swing_dies_away() -> None:
    """Independent solver: solve_ivp on heave and pitch; a swing is over at a tenth of the widest."""
    settled = []
    for ratio, time in ((0.4, 0.35), (0.1, 0.1)):
        changes = {"front_damping_ratio": ratio, "rear_damping_ratio": ratio, "watch_time": time}
        found = evaluate(["front_airborne_time", "returns_to_level"], {**SHORT, **changes})
        off_road, left = _over_a_short_bump(ratio, time)
        assert off_road > 0.005
        assert found["front_airborne_time"] == pytest.approx(off_road, rel=5e-3)
        assert not 0.05 < left < 0.2
        assert found["returns_to_level"] == (left < 0.1)
        settled.append(left < 0.1)
    assert settled == [True, False]


@pytest.mark.parametrize(("height", "length"), [(0.05, 12.0), (-0.04, 10.0)])
def test_a_long_crest_unloads_by_the_centripetal_force(height: float, length: float) -> None:
    """Value from memory: load is weight less mass times speed squared times curvature, 2 pi2 height/length2.

    A crest is sharpest at its top, a dip at its ends, with the same curvature.
    """
    speed = 12.0
    car = bare_car(speed=speed, bump_height=height, bump_length=length)
    found = evaluate(["lowest_front_axle_load", "lowest_rear_axle_load"], car)
    weight = 4.6 * (9.80665 - speed**2 * 2 * np.pi**2 * abs(height) / length**2)
    total = found["lowest_front_axle_load"] + found["lowest_rear_axle_load"]
    # A dip begins at once: its bend sets the car swinging, which takes a little more.
    assert total == pytest.approx(weight, rel=0.01 if height > 0 else 0.06)
