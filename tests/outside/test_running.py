"""Drive, brakes, straight, side wind, wing and map, each value by itself."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.interpolate import RegularGridInterpolator
from scipy.optimize import brentq, minimize_scalar

from explorer.graph.tables import LookupTable, read_table
from tests.checking import checks
from tests.curve_help import curve_of
from tests.ground_help import HEIGHTS, gapped_map
from tests.model_help import DEGREE, SPRINT_CAR, bare_car, evaluate, value

G = 9.80665
RPM = 2 * np.pi / 60
ELECTRIC = {"drive": "electric"}
MOTOR: dict[str, Any] = {
    "battery_voltage": 22.2,
    "battery_resistance": 0.004,
    "wiring_resistance": 0.001,
    "winding_resistance": 0.005,
    "motor_speed_constant": 1000 * RPM,
    "no_load_current": 3.0,
    "current_limit": 120.0,
    "gear_ratio": 3.0,
    "tyre_radius": 0.05,
    "tyre_growth": 2e-5,
    "drive_efficiency": 0.95,
}
#: 6 kg, 2400 W at the wheels, all of them driven, endless grip, no height that lifts.
FREE: dict[str, Any] = bare_car(
    mass=6.0,
    shaft_power=2400.0,
    drive_efficiency=1.0,
    driven_rear_share=0.5,
    tyre_friction=1e4,
    cg_height=1e-6,
    speed=0.0,
)


@checks(
    "rolling_radius", "motor_voltage", "controller_share", "battery_current", "battery_voltage_under_load"
)
def test_a_motor_at_its_current_limit() -> None:
    """Independent solver: brentq on the battery's current that gives the power the motor takes."""
    names = ["rolling_radius", "motor_voltage", "controller_share", "battery_current"]
    found = evaluate([*names, "battery_voltage_under_load"], {**MOTOR, "speed": 20.0}, ELECTRIC)
    radius = 0.05 * (1 + 2e-5 * 400)
    turning = 20.0 / radius * 3.0 / (1000 * RPM)
    volts = turning + 120.0 * 0.006
    drawn = brentq(lambda amps: (22.2 - 0.004 * amps) * amps - volts * 120.0, 0.0, 120.0, xtol=1e-12)
    assert found["rolling_radius"] == pytest.approx(radius, rel=1e-12)
    assert found["motor_voltage"] == pytest.approx(volts, rel=1e-12)
    assert found["battery_current"] == pytest.approx(drawn, rel=1e-9)
    assert found["battery_voltage_under_load"] == pytest.approx(22.2 - 0.004 * drawn, rel=1e-9)
    assert found["controller_share"] == pytest.approx(drawn / 120.0, rel=1e-9)


@checks("rev_limited_speed")
def test_where_the_battery_drives_no_more_than_the_idle_current() -> None:
    """Independent solver: brentq on the current round the circuit less the idle one, the tyre growing."""

    def torque(speed: float) -> float:
        revs = speed / (0.05 * (1 + 2e-5 * speed**2)) * 3.0
        return float((22.2 - revs / (1000 * RPM)) / 0.010 - 3.0)

    found = value("rev_limited_speed", ELECTRIC, **MOTOR)
    assert found == pytest.approx(brentq(torque, 10.0, 60.0, xtol=1e-12), rel=1e-9)


@checks(
    "drive_electric.power_binds",
    "drive_power.current_binds",
    "drive_power.revs_bind",
    "drive_power.wheel_force",
)
def test_a_drive_has_no_limit_that_it_is_not_given_by() -> None:
    """Common practice, no source: a drive given by power has no current, one by its motor no power rating."""
    car = {**SPRINT_CAR, "speed": 30.0}
    found = evaluate(["current_binds", "revs_bind", "wheel_force"], car)
    assert found["current_binds"] == found["revs_bind"] == 0
    assert found["wheel_force"] == pytest.approx(4200 * 0.83 / 30.0, rel=1e-12)
    assert value("power_binds", ELECTRIC, **{**car, **MOTOR}) == 0


@checks("braking_current")
def test_the_motor_shorted_and_held() -> None:
    """Independent solver: numpy.roots of the power given back, V I - R I^2, at what the battery takes."""
    car = {**MOTOR, "motor_brake_current": 1e6, "regeneration_limit": 40.0, "speed": 30.0}
    volts = 30.0 / (0.05 * (1 + 2e-5 * 900)) * 3.0 / (1000 * RPM)
    roots = np.roots([-0.006, volts, -22.2 * 40.0])
    assert value("braking_current", ELECTRIC, **car) == pytest.approx(roots.real.min(), rel=1e-9)
    shorted = value("braking_current", ELECTRIC, **{**car, "regeneration_limit": 1e6})
    assert shorted == pytest.approx(volts / 0.006, rel=1e-9)


LOADED = {
    "front_axle_load": 60.0,
    "rear_axle_load": 45.0,
    "front_static_load": 20.0,
    "rear_static_load": 25.0,
}
GRIP = {"braking_friction": 1.1, "tyre_load_sensitivity": 0.15, **LOADED}


def held(load: float, static: float) -> float:
    """Grip of an axle whose friction falls with its load."""
    return 1.1 * load * (load / static) ** -0.15


@checks(
    "brakes_ideal.brake_limit", "brakes_balance.brake_limit", "brakes_fitted.brake_limit", "traction_limit"
)
def test_the_first_axle_to_slip() -> None:
    """Value from memory: friction times load to a power on each axle, the first at its limit decides."""
    front, rear = held(60.0, 20.0), held(45.0, 25.0)
    assert value("brake_limit", {"brakes": "ideal"}, **GRIP) == pytest.approx(front + rear, rel=1e-9)
    for share in (0.2, 0.7):
        balanced = value("brake_limit", {"brakes": "balance"}, **GRIP, brake_balance_front=share)
        assert balanced == pytest.approx(min(front / share, rear / (1 - share)), rel=1e-9)
        fitted = value("brake_limit", {"brakes": "fitted"}, **GRIP, rear_brake_share=1 - share)
        assert fitted == pytest.approx(min(front / share, rear / (1 - share)), rel=1e-9)
        driven = value("traction_limit", **{**GRIP, "tyre_friction": 1.1}, driven_rear_share=1 - share)
        assert driven == pytest.approx(min(front / share, rear / (1 - share)), rel=1e-9)


@checks("cornering_limit")
def test_the_first_axle_to_slide_in_a_corner() -> None:
    """Value from memory: friction, falling with load, times gravity times the share of load kept."""
    found = value("cornering_limit", **LOADED, cornering_friction=1.1, tyre_load_sensitivity=0.15)
    kept = 45.0 / 25.0
    assert found == pytest.approx(1.1 * G * kept**0.85, rel=1e-9)


@checks(
    "brakes_fitted.brake_push", "brakes_unlimited.brake_push", "braking_way", "fail_safe_stopping_distance"
)
def test_brakes_by_their_push() -> None:
    """Value from memory: (m/2C) ln(1 + C v^2/F) with F of brakes and rolling, after a hold."""
    car = {**FREE, "body_drag_area": 0.012, "rolling_resistance": 0.015, "speed": 45.0, "tyre_friction": 1.2}
    car |= {"friction_brake_force": 20.0, "motor_brake_force": 5.0, "brake_balance_front": 0.5}
    names = ["brake_push", "braking_way", "fail_safe_stopping_distance"]
    found = evaluate(names, {**car, "fail_safe_hold": 0.4}, {"brakes": "fitted"})
    drag, hold = 0.6 * 0.012, 25.0 + 0.015 * 6.0 * G
    way = 6.0 / (2 * drag) * np.log(1 + drag * 45.0**2 / hold)
    assert found["brake_push"] == pytest.approx(25.0, rel=1e-12)
    assert found["braking_way"] == pytest.approx(way, rel=1e-5)
    assert found["fail_safe_stopping_distance"] == pytest.approx(way + 18.0, rel=1e-5)
    assert value("brake_push", {"brakes": "ideal"}) == 1e9


@checks("fence_speed", "run_out_distance", "run_out_time", "run_out")
def test_a_fence_on_the_way_out() -> None:
    """Source: coast-down mathematics of SAE J1263, section on data analysis: v^2 falls as exp(-2 C s / m)."""
    car = {**FREE, "body_drag_area": 0.012, "rolling_resistance": 0.015, "speed": 40.0}
    names = ["fence_speed", "run_out_distance", "run_out_time"]
    found = evaluate(names, {**car, "fence_distance": 120.0})
    square, hold = 0.6 * 0.012, 0.015 * 6.0 * G
    fade = np.exp(-2 * square * 120.0 / 6.0)
    assert found["fence_speed"] ** 2 == pytest.approx(fade * (1600 + hold / square) - hold / square, rel=1e-5)
    way = 3.0 / square * np.log((hold + square * 1600) / (hold + square))
    time = (
        6.0 / np.sqrt(hold * square) * np.subtract(*np.arctan(np.array([40.0, 1.0]) * np.sqrt(square / hold)))
    )
    assert found["run_out_distance"] == pytest.approx(way, rel=1e-4)
    assert found["run_out_time"] == pytest.approx(time, rel=1e-4)


@checks(
    "speed_at_braking_point",
    "speed_at_braking_point_closed",
    "time_to_braking_point",
    "time_to_braking_point_closed",
    "braking_distance",
    "braking_distance_closed",
    "run_with_flap",
    "run_without_flap",
    "braking_with_flap",
    "braking_without_flap",
    "straight_time",
    "straight_time_closed",
)
def test_gaining_speed_and_braking_for_a_corner() -> None:
    """Independent solver: brentq on where v^3 = v0^3 + 3 P s/m meets v^2 = vc^2 + 2 mu g (room left)."""
    car = {**FREE, "straight_length": 150.0, "corner_exit_speed": 12.0, "corner_speed": 15.0}
    car |= {"braking_friction": 0.9, "flap_delay": 1.0, "flap_opening_duration": 0.2}
    kinds = ("speed_at_braking_point", "time_to_braking_point", "braking_distance", "straight_time")
    found = evaluate([f"{kind}{used}" for kind in kinds for used in ("", "_closed")], car)

    def gained(place: float) -> float:
        return float((12.0**3 + 3 * 400.0 * place) ** (1 / 3))

    def spare(place: float) -> float:
        return gained(place) ** 2 - 15.0**2 - 2 * 0.9 * G * (150.0 - place)

    place = brentq(spare, 10.0, 150.0, xtol=1e-12)
    speed = gained(place)
    for used in ("", "_closed"):
        assert found[f"speed_at_braking_point{used}"] == pytest.approx(speed, rel=2e-4)
        assert found[f"time_to_braking_point{used}"] == pytest.approx((speed**2 - 144) / 800, rel=5e-4)
        assert found[f"braking_distance{used}"] == pytest.approx(150.0 - place, rel=1e-3)
        whole = (speed**2 - 144) / 800 + (speed - 15.0) / (0.9 * G)
        assert found[f"straight_time{used}"] == pytest.approx(whole, rel=5e-4)


@checks("pull_out", "run_after_pull_out", "braking_in_passing", "gap_at_braking_point", "pulls_out")
def test_pulling_out_of_a_wake() -> None:
    """Independent solver: solve_ivp of both cars at constant power, less drag in the wake."""
    car = {**FREE, "body_drag_area": 0.02, "straight_length": 320.0, "corner_exit_speed": 14.0}
    car |= {"corner_speed": 200.0, "braking_friction": 1.0, "flap_delay": 500.0, "flap_opening_duration": 0.2}
    car |= {"gap_to_car_ahead": 1.0, "car_length": 0.6, "pull_out_gap": 2.0, "wake_loss_front": 0.4}
    found = value("gap_at_braking_point", **car, wake_loss_rear=0.4)

    def rates(left: float) -> Any:
        return lambda _, state: [state[1], (2400 / state[1] - left * 0.6 * 0.02 * state[1] ** 2) / 6.0]

    def end(_: float, state: np.ndarray) -> float:
        return float(state[0] - 320.0)

    given = {"rtol": 1e-9, "atol": 1e-9, "dense_output": True}
    end.terminal = True  # type: ignore[attr-defined]
    ahead = solve_ivp(rates(1.0), (0, 12), [0.0, 14.0], **given).sol

    def near(time: float, state: np.ndarray) -> float:
        place, speed = ahead(time + 1.6 / 14.0)
        return float(place - state[0] - 2.6) if state[1] > speed else 1.0

    near.terminal = True  # type: ignore[attr-defined]
    waked = solve_ivp(rates(0.6), (0, 12), [0.0, 14.0], events=near, max_step=0.02, **given)
    assert waked.status == 1
    clear = solve_ivp(rates(1.0), (waked.t[-1], 20), waked.y[:, -1], events=end, **given)
    gap = ahead(clear.t[-1] + 1.6 / 14.0)[0] - 320.0 - 0.6
    assert found == pytest.approx(gap, abs=0.01)
    # A straight that ends before that place, and one that goes beyond it.
    left_at = waked.y[0, -1]
    for length, leaves in ((320.0, 1), (left_at - 2.0, 0), (left_at + 2.0, 1)):
        out = value("pulls_out", **{**car, "straight_length": length}, wake_loss_rear=0.4)
        assert out == leaves


@pytest.mark.long
@checks("best_gear_ratio")
def test_the_gear_with_the_shortest_time() -> None:
    """Independent solver: scipy's minimize_scalar over the time of the same straight."""
    car = {**SPRINT_CAR, **MOTOR, "corner_exit_speed": 14.0, "straight_length": 120.0, "corner_speed": 13.0}
    car |= {"tyre_friction": 1.6, "flap_delay": 1.8, "flap_opening_duration": 0.2, "speed": 0.0}
    car |= {"tallest_gear_ratio": 1.0, "shortest_gear_ratio": 3.0}
    del car["gear_ratio"]
    time = curve_of("straight_time", ("gear_ratio",), car, ELECTRIC)
    best = minimize_scalar(lambda ratio: float(time(ratio)), bounds=(1.0, 3.0), method="bounded")
    assert value("best_gear_ratio", ELECTRIC, **car) == pytest.approx(best.x, rel=5e-3)


@checks(
    "body_side_force",
    "end_plate_side_force",
    "end_plate_slope",
    "side_force_slope",
    "side_pressure",
    "sideslip_angle",
    "neutral_steer_station",
)
def test_wind_from_the_side_part_by_part() -> None:
    """Value from memory: Helmbold's slope times sin cos and cross flow times sin^2 on both areas."""
    car = {**SPRINT_CAR, "side_wind": 5.0, "side_area": 0.07, "side_height": 0.115, "speed": 45.0}
    car |= {
        "end_plate_area": 0.024,
        "end_plate_height": 0.1,
        "end_plate_station": 0.4,
        "side_cross_flow": 1.1,
    }
    names = ["body_side_force", "end_plate_side_force", "end_plate_slope", "side_force_slope"]
    names += ["side_pressure", "sideslip_angle", "neutral_steer_station"]
    found = evaluate(names, {**car, "front_axle_load": 20.0, "rear_axle_load": 60.0})
    flow = 45.0 + 5.0j
    angle, pressure = np.angle(flow), 0.6 * abs(flow) ** 2
    for area, height, name, slope in (
        (0.07, 0.115, "body_side_force", "side_force_slope"),
        (0.024, 0.1, "end_plate_side_force", "end_plate_slope"),
    ):
        aspect = 2 * height**2 / area
        helmbold = 2 * np.pi * aspect / (2 + np.sqrt(4 + aspect**2))
        push = helmbold * np.sin(angle) * np.cos(angle) + 1.1 * np.sin(angle) ** 2
        assert found[slope] == pytest.approx(helmbold, rel=1e-9)
        assert found[name] == pytest.approx(pressure * area * push, rel=1e-9)
    assert found["side_pressure"] == pytest.approx(pressure, rel=1e-12)
    assert found["sideslip_angle"] == pytest.approx(angle, rel=1e-12)
    assert found["neutral_steer_station"] == pytest.approx(0.325 * 60 / 80, rel=1e-12)


@checks(
    "flap_deflection",
    "wing_angle",
    "wing_geometry.wing_downforce_coefficient",
    "wing_geometry.wing_pitch_slope",
)
def test_angle_and_downforce_of_a_wing_drawn() -> None:
    """Independent library: numpy.interp of the flap's travel; slope and flap value from memory."""
    wing = {"wing_area": 0.03, "wing_span": 0.3, "wing_incidence": 3 * DEGREE, "flap_chord_share": 0.2}
    wing |= {"flap_deflection_closed": 14 * DEGREE, "flap_deflection_open": -2 * DEGREE, "flap_opening": 0.25}
    wing |= {"wing_zero_lift_angle": 2 * DEGREE, "flap_viscous_share": 0.7, "wing_downforce_factor": 0.9}
    names = ["flap_deflection", "wing_angle", "wing_downforce_coefficient", "wing_pitch_slope"]
    found = evaluate(names, wing, {"wing": "geometry"})
    turn = np.interp(0.25, [0.0, 1.0], [14 * DEGREE, -2 * DEGREE])
    angle = 5 * DEGREE + 0.7 * 0.549814 * turn
    slope = 2 * np.pi * 3.0 / (2 + np.sqrt(13.0))
    assert found["flap_deflection"] == pytest.approx(turn, rel=1e-12)
    assert found["wing_angle"] == pytest.approx(angle, rel=1e-5)
    assert found["wing_downforce_coefficient"] == pytest.approx(0.9 * slope * angle, rel=1e-5)
    assert found["wing_pitch_slope"] == pytest.approx(0.9 * slope, rel=1e-9)


@checks("wing_incidence", "wing_table.wing_downforce_coefficient", "wing_table.wing_drag_coefficient")
def test_coefficients_read_from_a_table(tmp_path: Path) -> None:
    """Independent library: numpy.interp between the rows of a table, and between the ends of the travel."""
    openings, drags, lifts = [0.0, 0.4, 1.0], [0.32, 0.2, 0.09], [1.55, 1.2, 0.35]
    file = tmp_path / "wing.csv"
    rows = "\n".join(f"{a},{b},{c}" for a, b, c in zip(openings, drags, lifts, strict=True))
    file.write_text("flap_opening,drag_coefficient,downforce_coefficient\n" + rows)
    declared = ("along flap_opening [1]", "drag_coefficient [1]", "downforce_coefficient [1]")
    table = read_table(file, declared, key="tables.wing")
    names = ["wing_drag_coefficient", "wing_downforce_coefficient"]
    found = evaluate(names, {"wing_table": table, "flap_opening": 0.55}, {"wing": "table"})
    assert found["wing_drag_coefficient"] == pytest.approx(np.interp(0.55, openings, drags), rel=1e-9)
    assert found["wing_downforce_coefficient"] == pytest.approx(np.interp(0.55, openings, lifts), rel=1e-9)
    ends = {"wing_incidence_closed": 0.3, "wing_incidence_open": 0.05, "flap_opening": 0.55}
    found = evaluate(["wing_incidence"], ends, {"wing": "polar"})
    assert found["wing_incidence"] == pytest.approx(np.interp(0.55, [0, 1], [0.3, 0.05]), rel=1e-12)


def on_map(table: LookupTable, name: str, front: float, rear: float) -> float:
    """Read one area at two ride heights by scipy."""
    return float(RegularGridInterpolator(tuple(table.axes.values()), table.values[name])((front, rear)))


AREAS = ("front_downforce_area", "rear_downforce_area", "drag_area")


@checks(
    "aero_map.front_downforce_area",
    "aero_map.rear_downforce_area",
    "aero_map.drag_area",
    "aero_map.front_downforce",
    "aero_map.rear_downforce",
)
def test_areas_read_from_a_map() -> None:
    """Independent library: RegularGridInterpolator at given ride heights, straight in the flap opening."""
    closed, opened = gapped_map(0.0), gapped_map(1.0)
    car = {"aero_map_closed": closed, "aero_map_open": opened, "flap_opening": 0.3, "dynamic_pressure": 960.0}
    car |= {"front_ride_height": 0.0113, "rear_ride_height": 0.021, "wake_loss_front": 0.2}
    car |= {"wake_loss_rear": 0.1, "aero_map_drag_offset": 0.002}
    found = evaluate([*AREAS, "front_downforce", "rear_downforce"], car, {"aero": "map"})
    for name, left, off in zip(AREAS, (0.8, 0.9, 0.85), (0.0, 0.0, 0.002), strict=True):
        area = 0.7 * on_map(closed, name, 0.0113, 0.021) + 0.3 * on_map(opened, name, 0.0113, 0.021)
        assert found[name] == pytest.approx(left * (area + off), rel=1e-9)
        if name != "drag_area":
            assert found[name.removesuffix("_area")] == pytest.approx(960.0 * left * area, rel=1e-9)


@checks(
    "aero_map.front_compression",
    "aero_map.rear_compression",
    "aero_map.pitch",
    "aero_map.front_contact_load",
    "aero_map.rear_contact_load",
    "aero_map.stable_attitudes",
)
def test_a_car_that_stands_on_its_edge_on_a_map() -> None:
    """Independent solver: brentq within brentq on scipy's interpolation, and a stiff point."""
    table = gapped_map(0.0)
    car = {**SPRINT_CAR, **HEIGHTS, "aero_map_closed": table, "aero_map_open": table, "speed": 45.0}
    car |= {"edge_station": 0.385, "edge_clearance_at_rest": 0.008}
    names = [f"{end}_{what}" for end in ("front", "rear") for what in ("compression", "contact_load")]
    found = evaluate(
        [*names, "pitch", "stable_attitudes"], car, {"aero": "map", "contact": "points"}, {"point": ("edge",)}
    )
    behind = 0.385 / 0.325

    def edge(front: float, rear: float) -> float:
        return 1e5 * max(front + (rear - front) * behind - 0.008, 0.0)

    def lacking(end: str, rate: float, share: float, front: float, rear: float) -> float:
        area = on_map(table, f"{end}_downforce_area", 0.012 - front, 0.025 - rear)
        travel = front if end == "front" else rear
        return 1215.0 * area - rate * travel - share * edge(front, rear)

    def rear_of(front: float) -> float:
        return float(
            brentq(lambda rear: lacking("rear", 5200.0, behind, front, rear), -0.015, 0.02, xtol=1e-14)
        )

    def at_front(front: float) -> float:
        return lacking("front", 6000.0, 1 - behind, front, rear_of(front))

    front = brentq(at_front, -0.006, 0.006, xtol=1e-14)
    rear = rear_of(front)
    push = edge(front, rear)
    assert push > 1
    assert found["front_compression"] == pytest.approx(front, abs=1e-8)
    assert found["rear_compression"] == pytest.approx(rear, abs=1e-8)
    assert found["pitch"] == pytest.approx(SPRINT_CAR["static_pitch"] + (rear - front) / 0.325, rel=1e-6)
    assert found["front_contact_load"] == pytest.approx((1 - behind) * push, rel=1e-4)
    assert found["rear_contact_load"] == pytest.approx(behind * push, rel=1e-4)
    places = np.linspace(-0.015, 0.011, 60)
    signs = np.sign([at_front(place) for place in places])
    assert found["stable_attitudes"] == np.sum((signs[:-1] > 0) & (signs[1:] < 0))
