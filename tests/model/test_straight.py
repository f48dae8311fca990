"""The straight, the pass, the wake and the gear in the graph: neighbours, failures, cost, meaning."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from explorer.errors import MissingInputError
from explorer.graph.graph import Graph
from explorer.model import modules
from explorer.model.interpolation import FEW, MANY, through
from explorer.model.straight import full_throttle
from explorer.model.straight.driven import Drive, RoadForces
from explorer.model.straight.flap_schedule import SHUT, Flap
from explorer.model.straight.full_throttle import run_along
from explorer.model.straight.run import State
from tests.curve_help import curve_of
from tests.model.test_aero_map import MAP, _car
from tests.model_help import SPRINT_CAR, evaluate, scattered_cars, value

TRACK: dict[str, Any] = {
    "corner_exit_speed": 14.0,
    "straight_length": 260.0,
    "corner_radius": 12.0,
    "flap_delay": 1.8,
    "flap_opening_duration": 0.2,
    "tyre_friction": 1.6,
    "gap_to_car_ahead": 3.0,
    "car_length": 0.6,
    "speed": 30.0,
}
ELECTRIC = {
    "battery_voltage": 22.2,
    "battery_resistance": 0.012,
    "motor_speed_constant": 1900 * np.pi / 30,
    "winding_resistance": 0.006,
    "no_load_current": 3.0,
    "current_limit": 180.0,
    "tyre_radius": 0.052,
    "tallest_gear_ratio": 2.5,
    "shortest_gear_ratio": 7.0,
}
USED = ["speed_at_braking_point", "time_to_braking_point", "braking_distance", "straight_time"]
CLOSED = [f"{name}_closed" for name in USED]


def test_samples_do_not_depend_on_neighbours() -> None:
    """The same car alone and among others, to the last bit, whatever the others need."""
    cars = {
        **scattered_cars(12),
        **TRACK,
        "front_droop_travel": 0.004,
        "flap_delay": np.linspace(0, 6, 12),
        "flap_opening_duration": np.where(np.arange(12) % 3 == 0, 0.0, 0.3),
        "straight_length": np.linspace(60, 700, 12),
        "wake_loss_front": 0.1,
    }
    names = [*USED, *CLOSED, "pass_metres_gained", "corner_speed", "stopping_distance"]
    together = evaluate(names, cars)
    for index in (0, 4, 11):
        alone = evaluate(names, {k: np.broadcast_to(v, (12,))[index].item() for k, v in cars.items()})
        for name in names:
            assert alone[name] == together[name][index], name


def test_cars_near_the_ground_do_not_depend_on_cars_that_are_not() -> None:
    """Cars in steps of their own and cars in common stretches, side by side and by themselves."""
    stream, count = np.random.default_rng(3), 300
    cars = {**scattered_cars(count), **TRACK, "splitter_gap_at_rest": stream.normal(0.009, 0.001, count)}
    cars |= {"splitter_critical_gap": 0.0025, "splitter_reference_gap": 0.009}
    cars["splitter_ground_gain"] = np.where(np.arange(count) % 3 == 0, 0.0, stream.normal(0.8, 0.1, count))
    cars |= {"flap_opening_duration": np.where(np.arange(count) % 2 == 0, 0.0, 0.2)}
    together = evaluate(USED, cars)
    for where in (np.arange(count) % 3 == 0, np.arange(count) % 3 > 0, np.arange(count) == 4):
        some = {name: v[where] if np.ndim(v) else v for name, v in cars.items()}
        apart = evaluate(USED, some)
        for name in USED:
            assert np.all(np.isfinite(apart[name]))
            np.testing.assert_array_equal(apart[name], together[name][where])


def test_cars_that_go_on_alone_run_as_they_would_with_the_others() -> None:
    """To the last bit: of 600 cars on strips of many lengths the last few are followed by themselves."""
    cars = {**scattered_cars(600), **TRACK, "strip_length": np.linspace(60, 2500, 600), "flap_opening": 1.0}
    cars |= {"straight_length": np.linspace(2500, 60, 600), "reaction_time": 0.3, "radio_delay": 0.02}
    names = ["strip_speed", "strip_braking_point", "top_speed_room", *USED]
    together = evaluate(names, cars)
    for index in (0, 300, 599):
        alone = evaluate(names, {k: np.broadcast_to(v, (600,))[index].item() for k, v in cars.items()})
        for name in names:
            assert alone[name] == together[name][index], name


def test_a_car_without_a_wake_does_not_hang_on_one_that_has_it() -> None:
    """To the last bit, where it closes in so far that a wake would be left."""
    car = {**SPRINT_CAR, **TRACK, "gap_to_car_ahead": 0.5, "pull_out_gap": 3.0, "straight_length": 600.0}
    names = ["gap_at_braking_point", "pass_margin", "pulls_out"]
    alone = evaluate(names, {**car, "wake_loss_front": 0.0})
    together = evaluate(names, {**car, "wake_loss_front": np.array([0.0, 0.2])})
    assert together["pulls_out"].tolist() == [0.0, 1.0]
    for name in names:
        assert alone[name] == together[name][0], name


def test_a_car_given_by_its_map_runs_the_same_straight() -> None:
    """Identity: the build-up of parts, tabulated by ride height, gives the straight of the parts back."""
    names = [*USED, *CLOSED, "pass_metres_gained", "corner_speed"]
    by_map, by_parts = evaluate(names, _car(**TRACK), MAP), evaluate(names, {**SPRINT_CAR, **TRACK})
    for name in names:
        assert by_map[name] == pytest.approx(by_parts[name], rel=1e-9), name


def test_a_flap_that_opens_too_late_is_a_flap_never_used() -> None:
    found = evaluate([*USED, *CLOSED], {**scattered_cars(20), **TRACK, "flap_delay": 50.0})
    for used, closed in zip(USED, CLOSED, strict=True):
        np.testing.assert_array_equal(found[used], found[closed])


def test_the_conditions_own_speed_and_opening_do_not_matter() -> None:
    car = {**SPRINT_CAR, **TRACK}
    slow, fast = {"speed": 5.0, "flap_opening": 0.0}, {"speed": 50.0, "flap_opening": 1.0}
    assert evaluate([*USED, *CLOSED], {**car, **slow}) == evaluate([*USED, *CLOSED], {**car, **fast})


def test_a_straight_too_short_to_brake_in_has_no_answer() -> None:
    """The exit speed alone needs v^2 / (2 mu g) less the corner's: shorter than that, and no number."""
    car = {**SPRINT_CAR, **TRACK, "corner_exit_speed": 30.0, "corner_speed": 10.0}
    needed = float(value("stopping_distance", **{**car, "speed": 30.0})) - float(
        value("stopping_distance", **{**car, "speed": 10.0})
    )
    lengths = {**car, "straight_length": np.array([0.9, 0.999, 1.001, 1.1]) * needed}
    found = evaluate([*USED, *CLOSED], lengths)
    for name in (*USED, *CLOSED):
        np.testing.assert_array_equal(np.isnan(found[name]), [True, True, False, False])
    assert found["speed_at_braking_point"][2] == pytest.approx(30.0, abs=0.05)


def test_a_car_that_cannot_climb_does_not_reach_the_end() -> None:
    car = {
        **SPRINT_CAR,
        **TRACK,
        "corner_speed": 10.0,
        "grade": 0.9,
        "tyre_friction": np.array([4.0, 0.3]),
    }
    found = evaluate(USED, car)
    assert np.isfinite(found["straight_time"][0])
    assert np.isnan(found["straight_time"][1])


def test_a_car_that_enters_too_fast_slows_to_its_top_speed() -> None:
    car = {**SPRINT_CAR, **TRACK, "corner_exit_speed": 70.0, "straight_length": 2000.0}
    found = evaluate(["speed_at_braking_point_closed", "top_speed"], car)
    assert found["speed_at_braking_point_closed"] == pytest.approx(float(found["top_speed"]), rel=1e-5)


@pytest.mark.parametrize("name", ["speed_at_braking_point", "stopping_distance", "corner_speed", "top_speed"])
def test_friction_is_given_where_it_decides(name: str) -> None:
    """No grip is taken for granted: the message names what is missing."""
    car = {k: v for k, v in {**SPRINT_CAR, **TRACK}.items() if k != "tyre_friction"}
    with pytest.raises(MissingInputError, match="tyre_friction"):
        value(name, **car)


def test_the_whole_straight_costs_few_pitches() -> None:
    """Evaluations of the axle loads, the costly part, for both runs over 260 m."""
    cars = {**scattered_cars(200), **TRACK}
    over = {
        "road_forces": ("speed", "flap_opening", "longitudinal_acceleration"),
        "wheel_force": ("speed",),
        "excess_force": ("wheel_force", "front_axle_load", "rear_axle_load", "resistance_force"),
    }
    curves = {name: curve_of(name, symbols, cars) for name, symbols in over.items()}
    calls = []

    def counted(*arguments: Any) -> RoadForces:
        calls.append(1)
        return curves["road_forces"](*arguments)

    drive = Drive(counted, curves["wheel_force"], curves["excess_force"], cars["mass"], np.zeros(()))
    for flap, most in ((SHUT, 40), (Flap(np.array(1.8), np.array(2.0)), 60)):
        calls.clear()
        run_along(drive, State.at_start(np.array(14.0)), np.array(260.0), flap)
        assert len(calls) <= most


def test_opening_the_flap_while_grip_limits_loses_metres() -> None:
    """Common practice, no source: rear downforce drives the car out of the corner, open it and it spins."""
    delays = np.array([0.2, 2.0, 50.0])
    early, late, never = value("pass_metres_gained", **{**SPRINT_CAR, **TRACK, "flap_delay": delays})
    assert early < never < late


def test_pass_margin_is_what_is_gained_less_gap_and_length() -> None:
    found = evaluate(["pass_metres_gained", "pass_margin"], {**SPRINT_CAR, **TRACK})
    assert found["pass_margin"] == pytest.approx(found["pass_metres_gained"] - 3.6, rel=1e-12)


def test_a_car_alike_gains_nothing_and_a_tow_gains_something() -> None:
    """The same car, flap shut on both: the gap in time stays; a wake takes drag, so it comes closer."""
    car = {**SPRINT_CAR, **TRACK, "flap_delay": 50.0}
    found = evaluate(["gap_at_braking_point", "speed_at_braking_point_closed", "pulls_out"], car)
    # At the end of the straight both still gain speed: a bit less than with both at the speed there.
    stretched = 3.6 * found["speed_at_braking_point_closed"] / 14.0 - 0.6
    assert 0.95 * stretched < found["gap_at_braking_point"] < 1.05 * stretched
    assert found["pulls_out"] == 0
    towed = value("gap_at_braking_point", **{**car, "wake_loss_front": 0.2, "wake_loss_rear": 0.2})
    assert towed < found["gap_at_braking_point"] - 0.5


def test_who_never_comes_near_keeps_the_wake() -> None:
    """Two ways to the same car: gaps to pull out at that are never reached."""
    car = {
        **SPRINT_CAR,
        **TRACK,
        "wake_loss_front": 0.1,
        "wake_loss_rear": 0.1,
        "gap_to_car_ahead": 30.0,
    }
    near, far = (evaluate(["pulls_out", "pass_margin"], {**car, "pull_out_gap": gap}) for gap in (0.0, 0.5))
    assert near == far
    assert near["pulls_out"] == 0


def test_the_wake_takes_load_and_gives_speed() -> None:
    """Differences to the same car in clear air, each condition evaluated on its own."""
    car = {**scattered_cars(30), **TRACK, "speed": 45.0}
    wake = {"wake_loss_front": 0.3, "wake_loss_rear": 0.1}
    names = ["front_axle_load", "aero_balance_front", "top_speed"]
    clear, behind = evaluate(names, car), evaluate(names, {**car, **wake})
    found = evaluate(["wake_front_load_loss", "wake_balance_change", "wake_top_speed_gain"], {**car, **wake})
    np.testing.assert_allclose(
        found["wake_front_load_loss"], clear["front_axle_load"] - behind["front_axle_load"], rtol=1e-12
    )
    change = behind["aero_balance_front"] - clear["aero_balance_front"]
    np.testing.assert_allclose(found["wake_balance_change"], change, rtol=1e-9)
    np.testing.assert_allclose(
        found["wake_top_speed_gain"], behind["top_speed"] - clear["top_speed"], rtol=1e-9
    )
    assert np.all(found["wake_top_speed_gain"] > 0)
    alone = evaluate(["wake_front_load_loss", "wake_balance_change", "wake_top_speed_gain"], car)
    for values in alone.values():
        np.testing.assert_array_equal(values, 0.0)


@given(length=st.floats(80, 400), longer=st.floats(1.01, 1.6), power=st.floats(1500, 6000))
@settings(max_examples=30, deadline=None)
def test_a_longer_straight_is_faster_and_takes_longer(length: float, longer: float, power: float) -> None:
    cars = {
        **SPRINT_CAR,
        **TRACK,
        "shaft_power": power,
        "straight_length": np.array([length, length * longer]),
    }
    found = evaluate(["speed_at_braking_point", "straight_time"], cars)
    assert found["speed_at_braking_point"][1] > found["speed_at_braking_point"][0]
    assert found["straight_time"][1] > found["straight_time"][0]


def test_the_brakes_take_the_speed_down_to_the_corner() -> None:
    """Energy: from the braking point the car needs the rest of the straight, stop to stop."""
    car = {**SPRINT_CAR, **TRACK, "corner_speed": 13.0}
    found = evaluate(["speed_at_braking_point", "braking_distance"], car)
    fast, slow = (
        float(value("stopping_distance", **{**car, "speed": speed}))
        for speed in (float(found["speed_at_braking_point"]), 13.0)
    )
    assert found["braking_distance"] == pytest.approx(fast - slow, rel=1e-4)


@pytest.mark.long
def test_best_gear_against_a_bounded_search() -> None:
    """scipy.optimize.minimize_scalar over the same straight, each car alone; the least time is flat."""
    cars = {**scattered_cars(4), **TRACK, **ELECTRIC, "corner_speed": 13.0}
    found = value("best_gear_ratio", {"drive": "electric"}, **cars)
    for index in range(4):
        car = {name: float(np.broadcast_to(v, (4,))[index]) for name, v in cars.items()}
        time = curve_of("straight_time", ("gear_ratio",), car, {"drive": "electric"})
        best = minimize_scalar(
            lambda ratio, time=time: float(time(ratio)), bounds=(2.5, 7.0), method="bounded"
        )
        assert found[index] == pytest.approx(best.x, rel=0.02)
        assert float(time(found[index])) <= best.fun * (1 + 2e-4)


def test_best_gear_at_the_end_of_the_range() -> None:
    car = {**SPRINT_CAR, **TRACK, **ELECTRIC, "corner_speed": 13.0, "shortest_gear_ratio": 3.0}
    assert value("best_gear_ratio", {"drive": "electric"}, **car) == pytest.approx(3.0, rel=1e-12)


def test_best_gear_without_an_answer() -> None:
    car = {**SPRINT_CAR, **TRACK, **ELECTRIC, "corner_speed": 13.0, "straight_length": 1.0}
    car |= {"corner_exit_speed": 40.0}
    assert np.isnan(value("best_gear_ratio", {"drive": "electric"}, **car))


def test_the_servo_can_give_the_opening_time() -> None:
    graph = Graph.build(modules({"flap": "servo"}), {"element": ("lower_flap",)})
    assert "opening_time" in graph["flap_opening_duration"].needed_names
    assert "element_pivot_station" not in graph.upstream(["straight_time"], {"flap_opening_duration"})


@pytest.mark.parametrize(("starts", "opened"), [(1.0, 1.5), (1.0, 1.0), (0.0, 0.5), (0.0, 0.0)])
def test_flap_schedule(starts: float, opened: float) -> None:
    """Straight in time between its corners; just before and just after an instant opening differ."""
    flap = Flap(np.array(starts), np.array(opened))
    times = np.array([starts, (starts + opened) / 2, opened, opened + 1.0])
    after, before = flap.opening(times, after=True), flap.opening(times, after=False)
    assert after[3] == before[3] == 1
    assert before[0] == 0
    assert after[2] == 1
    if opened > starts:
        assert after[1] == before[1] == pytest.approx(0.5)
        assert after[0] == 0
        assert before[2] == 1
    assert flap.next_event(np.array(-0.1)) == starts
    assert flap.next_event(np.array(opened)) == np.inf


def test_polynomials_are_found_again() -> None:
    """Cubic through four places, degree seven through eight."""
    cubic = np.polynomial.Polynomial([1.0, -2.0, 0.5, 3.0])
    seventh = np.polynomial.Polynomial(np.arange(1.0, 9.0))
    for share in (0.0, 0.3, 1.0, 1.4):
        assert through([cubic(p) for p in FEW])(np.array(share)) == pytest.approx(cubic(share), rel=1e-12)
        found = through([seventh(p) for p in MANY])(np.array(share))
        assert found == pytest.approx(seventh(share), rel=1e-12)


def test_a_run_never_takes_more_stretches_than_it_may() -> None:
    """A car that crawls or slides back: the rows are bounded, and the end is not reached."""
    for crawling in ({"shaft_power": 30.0}, {"tyre_friction": 0.3}):
        car = {**SPRINT_CAR, **TRACK, "grade": 0.9, **crawling}
        run = evaluate(["run_without_flap"], car)["run_without_flap"]
        assert len(run.time) <= full_throttle.STRETCHES * (full_throttle.STEPS + 1)
        assert run.distance[-1] < 260.0


#: Nothing to brake for: the braking point is the end of the straight.
OPEN_END = {"corner_speed": 200.0, "tyre_friction": 9.0}

LOGGED_RUN = {
    "corner_exit_speed": 14.0,
    "straight_length": 260.0,
    "corner_radius": 12.0,
    "flap_delay": 1.2,
    "flap_opening_duration": 0.2,
    "tyre_friction": 1.6,
    "speed": 0.0,
}


def _one_of(cars: dict[str, Any], index: int) -> dict[str, Any]:
    return {name: float(np.atleast_1d(v)[index if np.ndim(v) else 0]) for name, v in cars.items()}


def test_a_long_straight_ends_at_top_speed() -> None:
    """Two ways to one speed: the run in time, and the root of the excess force or of the front load."""
    cars = {**scattered_cars(40), **LOGGED_RUN, **OPEN_END, "tyre_friction": 1.6, "straight_length": 3000.0}
    found = evaluate(["speed_at_braking_point_closed", "top_speed", "front_lift_off_speed"], cars)
    end = np.minimum(found["top_speed"], found["front_lift_off_speed"])
    np.testing.assert_allclose(found["speed_at_braking_point_closed"], end, rtol=1e-6)


def test_tables_are_of_third_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """Parabolas through three places: halving a stretch divides their error by eight or more."""
    car = {**_one_of(scattered_cars(3), 1), **LOGGED_RUN, "flap_delay": 9.0, "driven_rear_share": 0.5}
    monkeypatch.setattr(full_throttle, "STEPS", 200)
    speeds = []
    for growth in (0.8, 0.4, 0.05):
        monkeypatch.setattr(full_throttle, "GROWTH", growth)
        speeds.append(float(value("time_to_braking_point_closed", **car)))
    coarse, fine = abs(speeds[0] - speeds[2]), abs(speeds[1] - speeds[2])
    assert coarse > 7 * fine
