"""Loads, springs and air forces on the axles, each value by itself: moments solved by a linear solver."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.optimize import approx_fprime, brentq

from tests.checking import checks
from tests.curve_help import curve_of
from tests.model_help import SPRINT_CAR, bare_car, evaluate, value

G = 9.80665
WAKE = {"wake_loss_front": 0.3, "wake_loss_rear": 0.15}
DRAGGY = {
    **SPRINT_CAR,
    "speed": 45.0,
    "splitter_drag_coefficient": 0.04,
    "splitter_height": 0.015,
    "floor_drag_coefficient": 0.02,
    "floor_height": 0.03,
    "body_drag_height": 0.06,
    "body_drag_station": 0.15,
}
#: Area times coefficient, times slope and station of wing, splitter and floor.
LEVEL = np.array([0.03 * 1.55, 0.02 * 0.55, 0.065 * 0.05])
SLOPE = np.array([0.03 * 2.6, 0.02 * 2.6, 0.065 * 0.9])
STATION = np.array([0.4, -0.085, 0.1])
#: Drag area, station and height of wing, splitter, floor and body.
DRAG = np.array([0.03 * 0.32, 0.02 * 0.04, 0.065 * 0.02, 0.03])
DRAG_STATION = np.array([0.4, -0.085, 0.1, 0.15])
DRAG_HEIGHT = np.array([0.16, 0.015, 0.03, 0.06])
#: Share left of each of them in the wake; the wing alone is at the rear.
LEFT = np.array([0.85, 0.7, 0.7, 0.7])


def on_axles(downwards: np.ndarray, stations: np.ndarray, moment: float = 0.0) -> np.ndarray:
    """Front and rear load that hold forces at stations, and a moment that lifts the nose."""
    sums = [downwards.sum(), downwards @ stations + moment]
    return np.linalg.solve([[1.0, 1.0], [0.0, 0.325]], sums)


@checks("front_static_load", "rear_static_load", "load_transfer", "grade_force")
def test_weight_on_the_axles() -> None:
    """Independent solver: numpy.linalg.solve for two loads that hold weight, inertia and slope."""
    car = {**SPRINT_CAR, "longitudinal_acceleration": 4.0, "grade": 0.05}
    found = evaluate(["front_static_load", "rear_static_load", "load_transfer", "grade_force"], car)
    front, rear = on_axles(np.array([4.6 * G]), np.array([0.172]))
    assert found["front_static_load"] == pytest.approx(front, rel=1e-12)
    assert found["rear_static_load"] == pytest.approx(rear, rel=1e-12)
    backwards = 4.6 * (4.0 + G * np.sin(0.05))
    moved, _ = on_axles(np.array([4.6 * G]), np.array([0.172]), backwards * 0.05)
    assert found["load_transfer"] == pytest.approx(front - moved, rel=1e-9)
    assert found["grade_force"] == pytest.approx(4.6 * G * np.sin(0.05), rel=1e-12)


@checks("front_wheel_rate", "rear_wheel_rate", "front_axle_rate", "rear_axle_rate")
def test_spring_and_tyre_in_a_row() -> None:
    """Independent solver: numpy.linalg.solve on a chain of tyre and spring; two wheels side by side."""
    rates = {}
    for each, spring, ratio, tyre in (("front", 6000.0, 0.8, 22e3), ("rear", 5000.0, 0.9, 18e3)):
        at_wheel = spring * ratio**2
        stiffness = [[tyre + at_wheel, -at_wheel], [-at_wheel, at_wheel]]
        rates[each] = 1 / np.linalg.solve(stiffness, [0.0, 1.0])[1]
    springs = {"front_spring_rate": 6000.0, "front_motion_ratio": 0.8, "front_tyre_stiffness": 22e3}
    springs |= {"rear_spring_rate": 5000.0, "rear_motion_ratio": 0.9, "rear_tyre_stiffness": 18e3}
    names = [f"{each}_{what}_rate" for each in rates for what in ("wheel", "axle")]
    found = evaluate(names, springs)
    for each in rates:
        assert found[f"{each}_wheel_rate"] == pytest.approx(rates[each], rel=1e-12)
        assert found[f"{each}_axle_rate"] == pytest.approx(2 * rates[each], rel=1e-12)


@checks(
    "wing_downforce_area",
    "wing_downforce_area_loss",
    "wing_drag_area",
    "splitter_downforce_area",
    "splitter_downforce_area_loss",
    "floor_downforce_area",
    "floor_downforce_area_loss",
    "dynamic_pressure",
)
def test_every_part_in_a_wake() -> None:
    """Value from memory: half density speed squared, less what the wake has taken, area and coefficient."""
    parts = ("wing", "splitter", "floor")
    names = [f"{part}_downforce_area{what}" for part in parts for what in ("", "_loss")]
    found = evaluate([*names, "wing_drag_area", "dynamic_pressure"], {**DRAGGY, **WAKE})
    assert found["dynamic_pressure"] == pytest.approx(1215.0, rel=1e-12)
    for part, level, slope, left in zip(parts, LEVEL, SLOPE, LEFT, strict=False):
        assert found[f"{part}_downforce_area"] == pytest.approx(left * level, rel=1e-12)
        assert found[f"{part}_downforce_area_loss"] == pytest.approx(left * slope, rel=1e-12)
    assert found["wing_drag_area"] == pytest.approx(0.85 * DRAG[0], rel=1e-12)


@checks(
    "aero.drag_area",
    "drag_moment_area",
    "aero.front_downforce_area",
    "aero.rear_downforce_area",
    "front_downforce_area_loss",
    "rear_downforce_area_loss",
)
def test_parts_on_the_axles() -> None:
    """Independent solver: numpy.linalg.solve for two axle loads that hold every part and the drag's lever."""
    names = ["drag_area", "drag_moment_area"]
    names += [f"{end}_downforce_area{what}" for end in ("front", "rear") for what in ("", "_loss")]
    found = evaluate(names, {**DRAGGY, **WAKE})
    moment = float((LEFT * DRAG) @ DRAG_HEIGHT)
    level = on_axles(LEFT[:3] * LEVEL, STATION, moment)
    slope = on_axles(LEFT[:3] * SLOPE, STATION)
    assert found["drag_area"] == pytest.approx(LEFT @ DRAG, rel=1e-12)
    assert found["drag_moment_area"] == pytest.approx(moment, rel=1e-12)
    for axle, end in enumerate(("front", "rear")):
        assert found[f"{end}_downforce_area"] == pytest.approx(level[axle], rel=1e-12)
        assert found[f"{end}_downforce_area_loss"] == pytest.approx(slope[axle], rel=1e-12)


@checks(
    "front_level_compression",
    "rear_level_compression",
    "front_compression_loss",
    "rear_compression_loss",
    "equilibrium.front_downforce",
    "equilibrium.rear_downforce",
    "equilibrium.pitch",
    "equilibrium.front_compression",
    "equilibrium.rear_compression",
    "total_downforce",
    "front_axle_load",
    "rear_axle_load",
)
def test_springs_under_the_air() -> None:
    """Independent solver: numpy.linalg.solve for both compressions, the loads falling with the lean."""
    car = {**DRAGGY, "longitudinal_acceleration": 3.0}
    ends = ("front", "rear")
    names = [f"{end}_{what}" for end in ends for what in ("level_compression", "compression_loss")]
    names += [f"{end}_{what}" for end in ends for what in ("downforce", "compression", "axle_load")]
    found = evaluate([*names, "pitch", "total_downforce"], car)
    moved = on_axles(np.zeros(1), np.zeros(1), 4.6 * 3.0 * 0.05)
    level = 1215.0 * on_axles(LEVEL, STATION, float(DRAG @ DRAG_HEIGHT))
    slope = 1215.0 * on_axles(SLOPE, STATION)
    springs = np.array([6000.0, 5200.0])
    lean = np.outer(slope / 0.325, [-1.0, 1.0])
    travel = np.linalg.solve(np.diag(springs) + lean, level + moved - slope * SPRINT_CAR["static_pitch"])
    angle = SPRINT_CAR["static_pitch"] + (travel[1] - travel[0]) / 0.325
    weight = on_axles(np.array([4.6 * G]), np.array([0.172]))
    assert found["pitch"] == pytest.approx(angle, rel=1e-9)
    for axle, end in enumerate(ends):
        assert found[f"{end}_level_compression"] == pytest.approx(
            (level + moved)[axle] / springs[axle], rel=1e-9
        )
        assert found[f"{end}_compression_loss"] == pytest.approx(slope[axle] / springs[axle], rel=1e-9)
        assert found[f"{end}_compression"] == pytest.approx(travel[axle], rel=1e-9)
        down = level[axle] - slope[axle] * angle
        assert found[f"{end}_downforce"] == pytest.approx(down, rel=1e-9)
        assert found[f"{end}_axle_load"] == pytest.approx(weight[axle] + moved[axle] + down, rel=1e-9)
    assert found["total_downforce"] == pytest.approx(np.sum(level - slope * angle), rel=1e-9)


@checks(
    "excursion", "lowest_front_axle_load", "lowest_rear_axle_load", "peak_pitch", "air_on_axles", "course"
)
def test_a_slow_gust_is_held_as_a_steady_wind_is() -> None:
    """Independent solver: numpy.linalg.solve for the balance at the gust's strength; a slow one is steady."""
    names = ["peak_pitch", "lowest_front_axle_load", "lowest_rear_axle_load"]
    found = evaluate(names, {**DRAGGY, "speed": 38.0, "gust": 4.0, "gust_rise_time": 1.5})
    loads, angles = [], []
    for wind in (38.0, 42.0):
        level = 0.6 * wind**2 * on_axles(LEVEL, STATION, float(DRAG @ DRAG_HEIGHT))
        slope = 0.6 * wind**2 * on_axles(SLOPE, STATION)
        stiffness = np.diag([6000.0, 5200.0]) + np.outer(slope / 0.325, [-1.0, 1.0])
        travel = np.linalg.solve(stiffness, level - slope * SPRINT_CAR["static_pitch"])
        angles.append(SPRINT_CAR["static_pitch"] + (travel[1] - travel[0]) / 0.325)
        loads.append(on_axles(np.array([4.6 * G]), np.array([0.172])) + np.array([6000.0, 5200.0]) * travel)
    assert found["peak_pitch"] == pytest.approx(max(angles), rel=1e-3)
    lowest = np.min(loads, axis=0)
    assert found["lowest_front_axle_load"] == pytest.approx(lowest[0], rel=1e-3)
    assert found["lowest_rear_axle_load"] == pytest.approx(lowest[1], rel=1e-3)


def over_backwards(rise: float, pressure: float, steady: float) -> float:
    """Moment about the rear contact that holds the nose down, every part turned about it by a rise."""
    up, along = np.sin(rise), np.cos(rise)
    held = 4.6 * G * (along * (0.325 - 0.172) - up * 0.05)
    down = (LEVEL - SLOPE * steady) * along - SLOPE * up
    held += pressure * down @ (0.325 - STATION)
    raised = DRAG_HEIGHT * along + (0.325 - DRAG_STATION) * up
    return float(held - pressure * DRAG @ raised)


@checks("drag_lever_area", "overturning_rate", "gust_front_load", "blow_over_rise", "gust_pressure")
def test_going_over_in_a_gust() -> None:
    """Independent solver: approx_fprime and brentq on the moment of every part about the rear contact."""
    names = ["drag_lever_area", "overturning_rate", "gust_front_load", "blow_over_rise", "gust_pressure"]
    found = evaluate([*names, "pitch"], {**DRAGGY, "gust": 5.0})
    pressure, steady = 0.6 * 50.0**2, float(found["pitch"])
    assert found["gust_pressure"] == pytest.approx(pressure, rel=1e-12)
    assert found["gust_front_load"] == pytest.approx(over_backwards(0.0, pressure, steady) / 0.325, rel=1e-9)
    lift = approx_fprime(np.zeros(1), lambda rise: over_backwards(rise.item(), pressure, steady), 1e-7)[0]
    assert found["overturning_rate"] == pytest.approx(-lift, rel=1e-5)
    lever = approx_fprime(
        np.zeros(1), lambda rise: float(DRAG @ (0.325 - DRAG_STATION) * np.sin(rise.item())), 1e-7
    )[0]
    assert found["drag_lever_area"] == pytest.approx(lever, rel=1e-6)
    zero = brentq(over_backwards, -1.0, 1.5, args=(pressure, steady), xtol=1e-13)
    assert found["blow_over_rise"] == pytest.approx(zero, rel=1e-9)


@checks("blow_over_speed")
def test_the_speed_that_sends_the_car_over() -> None:
    """Independent solver: brentq on the speed at which the moment is nothing, nose up by the bump."""
    car = {**DRAGGY, "gust": 4.0, "bump_pitch": 0.03}

    pitch = curve_of("pitch", ("speed",), car)

    def held(speed: float) -> float:
        steady = float(pitch(speed))
        return over_backwards(0.03, 0.6 * (speed + 4.0) ** 2, steady)

    assert value("blow_over_speed", **car) == pytest.approx(brentq(held, 20.0, 60.0, xtol=1e-10), rel=1e-7)


def in_wake(speed: float, losses: tuple[float, float]) -> dict[str, float]:
    """Front load, front share of the downforce and drag area by a linear solver, in a wake."""
    left = np.array([1 - losses[1], *[1 - losses[0]] * 3])
    pressure = 0.6 * speed**2
    level = pressure * on_axles(left[:3] * LEVEL, STATION, float((left * DRAG) @ DRAG_HEIGHT))
    slope = pressure * on_axles(left[:3] * SLOPE, STATION)
    stiffness = np.diag([6000.0, 5200.0]) + np.outer(slope / 0.325, [-1.0, 1.0])
    travel = np.linalg.solve(stiffness, level - slope * SPRINT_CAR["static_pitch"])
    down = stiffness @ travel - np.outer(slope / 0.325, [-1.0, 1.0]) @ travel
    weight = on_axles(np.array([4.6 * G]), np.array([0.172]))
    return {
        "load": float(weight[0] + down[0]),
        "share": float(down[0] / down.sum()),
        "held": float(pressure * left @ DRAG + 0.025 * (4.6 * G + down.sum())),
    }


@checks("wake_front_load_loss", "wake_balance_change", "wake_top_speed_gain")
def test_what_a_wake_takes_and_gives() -> None:
    """Independent solver: numpy.linalg.solve for loads in and out of the wake, brentq for the top speeds."""
    found = evaluate(
        ["wake_front_load_loss", "wake_balance_change", "wake_top_speed_gain"], {**DRAGGY, **WAKE}
    )
    clear, waked = in_wake(45.0, (0.0, 0.0)), in_wake(45.0, (0.3, 0.15))
    assert found["wake_front_load_loss"] == pytest.approx(clear["load"] - waked["load"], rel=1e-8)
    assert found["wake_balance_change"] == pytest.approx(waked["share"] - clear["share"], rel=1e-8)

    def top(losses: tuple[float, float]) -> float:
        return float(brentq(lambda v: 4200 * 0.83 / v - in_wake(v, losses)["held"], 30.0, 70.0, xtol=1e-12))

    gain = top((0.3, 0.15)) - top((0.0, 0.0))
    assert found["wake_top_speed_gain"] == pytest.approx(gain, rel=1e-6)


@checks("rear_wheel_hop_frequency", "front_wheel_hop_frequency")
def test_wheel_hop_at_both_ends() -> None:
    """Independent solver: numpy.linalg.eigvalsh of a wheel between body held still and road."""
    car: dict[str, Any] = {**SPRINT_CAR, "speed": 0.0}
    for end, mass, rate, tyre in (("front", 0.15, 3000.0, 22e3), ("rear", 0.2, 2600.0, 18e3)):
        spring = 1 / (1 / rate - 1 / tyre)
        expected = np.sqrt(np.linalg.eigvalsh([[(tyre + spring) / mass]])[0]) / (2 * np.pi)
        car |= {f"{end}_unsprung_mass": mass, f"{end}_tyre_stiffness": tyre}
        assert value(f"{end}_wheel_hop_frequency", **car) == pytest.approx(expected, rel=1e-9)


@checks("pitch_inertia")
def test_inertia_of_masses_at_the_radius_of_gyration() -> None:
    """Value from memory: half the mass ahead and half behind, each the radius of gyration away."""
    radius = 0.4 * 0.325
    inertia = value("pitch_inertia", mass=4.6, wheelbase=0.325, pitch_gyration_share=0.4)
    assert inertia == pytest.approx(2.3 * radius**2 + 2.3 * (-radius) ** 2, rel=1e-12)


@checks("front_damper_rate", "rear_damper_rate")
def test_damping_ratio_of_one_mass_on_one_spring() -> None:
    """Independent solver: numpy.roots of m s^2 + c s + k; the ratio is the fall over the length of a root."""
    found = evaluate(["front_damper_rate", "rear_damper_rate"], {**SPRINT_CAR, "front_damping_ratio": 0.25})
    masses = on_axles(np.array([4.6]), np.array([0.172])) / 2
    for end, mass, rate, ratio in zip(("front", "rear"), masses, (3000.0, 2600.0), (0.25, None), strict=True):
        root = np.roots([mass, float(found[f"{end}_damper_rate"]), rate])[0]
        wanted = value("rear_damping_ratio") if ratio is None else ratio
        assert -root.real / abs(root) == pytest.approx(float(wanted), rel=1e-9)


@checks(
    "rolling_resistance_force",
    "resistance_force",
    "drag_force",
    "coasting_deceleration",
    "held_push",
    "excess_force",
)
def test_what_holds_a_car_back() -> None:
    """Value from memory: q C A, coefficient times load, weight times sine of the slope; over inertia."""
    car = bare_car(body_drag_area=0.02, rolling_resistance=0.015, rolling_resistance_per_speed=2e-4)
    car |= {"speed": 40.0, "grade": 0.02, "rotating_mass_factor": 1.05, "tyre_friction": 100.0}
    names = ["rolling_resistance_force", "resistance_force", "drag_force", "coasting_deceleration"]
    found = evaluate([*names, "held_push", "excess_force"], {**car, "side_area": 0.05, "side_height": 0.1})
    drag, rolling = 0.6 * 1600 * 0.02, (0.015 + 2e-4 * 40) * 4.6 * G
    together = drag + rolling + 4.6 * G * np.sin(0.02)
    assert found["drag_force"] == pytest.approx(drag, rel=1e-12)
    assert found["rolling_resistance_force"] == pytest.approx(rolling, rel=1e-12)
    assert found["resistance_force"] == pytest.approx(together, rel=1e-12)
    assert found["held_push"] == pytest.approx(together, rel=1e-12)
    assert found["excess_force"] == pytest.approx(4200 * 0.83 / 40 - together, rel=1e-12)
    assert found["coasting_deceleration"] == pytest.approx(together / (4.6 * 1.05), rel=1e-9)
