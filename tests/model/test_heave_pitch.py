"""The motion in time as a numerical method: order, shapes, neighbours, memory, and what is not an answer."""

from __future__ import annotations

import tracemalloc
from itertools import pairwise

import numpy as np
import pytest

from explorer.model.ride import following
from explorer.model.ride import ride as settings
from explorer.model.ride.fading import Fading
from explorer.model.ride.ride import Meeting, Ride, lean
from tests.model_help import SPRINT_CAR, evaluate, scattered_cars, value
from tests.ride_help import moments

NAMES = (
    "peak_pitch",
    "lowest_front_axle_load",
    "lowest_rear_axle_load",
    "front_airborne_time",
    "returns_to_level",
    "edge_smallest_clearance",
)
POINT = {"point": ("edge",)}
EDGE = {"edge_station": -0.125, "edge_clearance_at_rest": 0.009}
STOPS = {
    "front_droop_travel": 0.005,
    "rear_droop_travel": 0.005,
    "front_bump_travel": 0.006,
    "rear_bump_travel": 0.011,
}


def of(car: dict, names: tuple[str, ...] = NAMES) -> dict:
    return evaluate(names, {**EDGE, **car}, families=POINT)


def assembled(car: dict) -> Ride:
    parts = ("half_car", "air_on_axles", "splitter_ground_effect", "road_points", "road_and_gust", "course")
    return Ride.of(*evaluate(parts, car).values())


def test_without_bump_and_gust_nothing_moves() -> None:
    """Every quantity equals its steady namesake; only rounding is left."""
    cars = {**scattered_cars(100), "speed": 42.0}
    steady = of(cars, ("pitch", "front_axle_load", "rear_axle_load", "edge_clearance"))
    found = of(cars)
    down = steady["front_axle_load"] > 0
    for before, now in zip(steady, (*NAMES[:3], NAMES[5]), strict=True):
        np.testing.assert_allclose(found[now][down], steady[before][down], rtol=1e-9, atol=1e-9)
    assert np.all(found["returns_to_level"][down] == 1)
    assert np.all(found["front_airborne_time"][down] == 0)


@pytest.mark.long
def test_halving_the_step_takes_the_error_to_a_sixteenth(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fourth order, wheels on the road and stops out of reach; against sixteen times as many steps."""
    car = {
        **SPRINT_CAR,
        "speed": 35.0,
        "bump_height": 0.002,
        "bump_length": 4.0,
        "gust": 2.0,
        "gust_rise_time": 0.15,
        "splitter_ground_gain": 0.3,
        "splitter_gap_at_rest": 0.03,
        "splitter_reference_gap": 0.03,
        "air_follows_road": 0.5,
        "watch_time": 0.02,
    }
    ride = assembled(car)

    def final(finer: int) -> np.ndarray:
        monkeypatch.setattr(settings, "RADIANS", 0.6 / finer)
        monkeypatch.setattr(settings, "LEAST_STEPS", 12 * finer)
        *_, last = moments(ride)
        assert not last.after.off.any()
        return np.concatenate((last.after.drop, last.after.speed))

    exact = final(32)
    errors = [np.abs(final(finer) - exact).max() for finer in (1, 2, 4)]
    assert errors[0] < 5e-5
    for coarse, fine in pairwise(errors):
        assert 11 < coarse / fine < 24


@pytest.mark.long
def test_with_wheels_lifting_and_stops_the_error_of_the_peak_stays_small(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What events within a step cost: against steps an eighth as long, two percent of the rise."""
    cars = {**scattered_cars(300), **STOPS, "speed": 40.0}
    stream = np.random.Generator(np.random.Philox(5))
    cars |= {
        "bump_height": stream.uniform(0.001, 0.006, 300),
        "bump_length": stream.uniform(0.3, 3.0, 300),
        "gust": stream.uniform(0, 3, 300),
    }
    loads = ("lowest_front_axle_load", "lowest_rear_axle_load")
    wanted = (
        "peak_pitch",
        "edge_smallest_clearance",
        "returns_to_level",
        "front_airborne_time",
        "pitch",
        *loads,
    )
    found = of(cars, wanted)
    monkeypatch.setattr(settings, "RADIANS", 0.05)
    monkeypatch.setattr(settings, "RADIANS_ON_STOPS", 0.1)
    monkeypatch.setattr(settings, "LEAST_STEPS", 96)
    fine = of(cars, wanted)
    assert np.mean(fine["lowest_front_axle_load"] < 0) > 0.5
    stays = fine["returns_to_level"] == 1
    assert np.mean(stays) > 0.8
    error = np.abs(found["peak_pitch"] - fine["peak_pitch"]) / (fine["peak_pitch"] - fine["pitch"])
    assert np.quantile(error[stays], 0.95) < 0.02
    assert np.median(error[stays]) < 0.005
    assert np.mean(found["returns_to_level"] == fine["returns_to_level"]) > 0.99
    for name, most in (("front_airborne_time", 7e-4), (loads[0], 3.0), (loads[1], 0.6)):
        assert np.quantile(np.abs(found[name] - fine[name])[stays], 0.95) < most, name
    np.testing.assert_allclose(
        found["edge_smallest_clearance"][stays], fine["edge_smallest_clearance"][stays], atol=3e-4
    )


def test_numbers_samples_and_speeds_by_samples_are_the_same_to_the_last_bit() -> None:
    cars = {**scattered_cars(3), **STOPS, "bump_height": 0.003, "gust": 2.0}
    speeds = np.array([20.0, 40.0])
    grid = of({**cars, "speed": speeds[:, None]})
    row = of({**cars, "speed": 40.0})
    one = of({**{k: np.broadcast_to(v, (3,))[2].item() for k, v in cars.items()}, "speed": 40.0})
    for name in NAMES:
        assert np.shape(grid[name]) == (2, 3)
        np.testing.assert_array_equal(grid[name][1], row[name])
        assert row[name][2] == one[name]


@pytest.mark.long
def test_a_car_does_not_depend_on_its_neighbours() -> None:
    """Bumps beside gusts beside nothing, stops beside none: each car as if it were alone, to the last bit."""
    count = 24
    kind = np.arange(count) % 4
    cars = {
        **scattered_cars(count),
        "speed": 40.0,
        "bump_height": np.where(kind % 2 == 1, 0.004, 0.0),
        "bump_length": np.linspace(0.2, 3, count),
        "gust": np.where(kind >= 2, 4.0, 0.0),
        "gust_lead": np.linspace(-0.1, 0.2, count),
        "front_droop_travel": np.where(kind == 3, 0.004, 1.0),
        "splitter_ground_gain": np.where(kind == 1, 0.4, 0.0),
        "air_follows_road": np.where(kind == 3, 0.7, 0.0),
        "headwind": np.where(np.arange(count) == 11, 60.0, 0.0),
    }
    together = of(cars)
    for index in range(count):
        alone = of({k: np.broadcast_to(v, (count,))[index : index + 1] for k, v in cars.items()})
        for name in NAMES:
            np.testing.assert_array_equal(alone[name][0], together[name][index], err_msg=f"{name} {index}")


@pytest.mark.long
def test_parts_put_their_answers_in_place(monkeypatch: pytest.MonkeyPatch) -> None:
    """Moved together or in parts sorted by the time they take: the same car has the same answer."""
    stream = np.random.Generator(np.random.Philox(6))
    cars = {**scattered_cars(20), **STOPS, "speed": np.array([[30.0], [45.0]])}
    cars |= {
        "bump_height": 0.003,
        "bump_length": stream.uniform(0.2, 3, 20),
        "gust": stream.uniform(0, 4, 20),
    }
    whole = of(cars)
    monkeypatch.setattr(settings, "PART", 7)
    for name, found in of(cars).items():
        np.testing.assert_array_equal(found, whole[name])


def test_the_splitters_gap_counts_as_in_the_steady_model() -> None:
    """A slow gust with a splitter near the ground, stalled or not: the steady pitch at its strength."""
    cars = {
        **scattered_cars(60),
        "splitter_ground_gain": 0.6,
        "splitter_gap_at_rest": 0.012,
        "splitter_critical_gap": np.where(np.arange(60) % 2, 0.014, 0.0),
        "speed": 36.0,
    }
    steady = evaluate(["pitch", "front_axle_load"], {**cars, "headwind": 4.0})
    before = evaluate(["pitch"], cars)["pitch"]
    found = evaluate(["peak_pitch"], {**cars, "gust": 4.0, "gust_rise_time": 3.0})["peak_pitch"]
    stays = steady["front_axle_load"] > 2
    assert stays.mean() > 0.9
    expected = np.maximum(steady["pitch"], before)
    np.testing.assert_allclose(found[stays], expected[stays], rtol=2e-3, atol=2e-5)


def test_a_car_that_goes_over_is_at_the_cap_and_does_not_return() -> None:
    car = {**SPRINT_CAR, "speed": 50.0, "gust": 15.0, "gust_hold_time": 1.0}
    found = of({**car, "pitch_cap": 0.2})
    assert found["peak_pitch"] == 0.2
    assert found["returns_to_level"] == 0
    assert found["lowest_front_axle_load"] < 0


def test_a_car_beyond_the_cap_from_the_start_is_told() -> None:
    """No step is taken then, and the answer is that it has gone over."""
    found = of({**SPRINT_CAR, "speed": 45.0, "pitch_cap": 0.01})
    assert found["peak_pitch"] == 0.01
    assert found["returns_to_level"] == 0


def test_no_answer_without_a_steady_pitch_or_for_a_crawling_car() -> None:
    """Diverged before it begins; or a bump that takes the car for ever.  Nothing here is silently zero."""
    diverged = {"speed": 120.0, "splitter_pitch_slope": 9.0, "wing_pitch_slope": 0.5}
    crawling = {"speed": 0.001, "bump_height": 0.002}
    for change in (diverged, crawling):
        found = of({**SPRINT_CAR, **change})
        assert all(np.isnan(found[name]) for name in NAMES), change
    assert not any(np.isnan(found) for found in of({**SPRINT_CAR, "speed": 0.0}).values())


def test_a_bump_passed_by_the_splitter_before_the_wheels_is_seen() -> None:
    """Shorter than the overhang: its whole height goes by under the edge before the front wheels rise."""
    found = of({**SPRINT_CAR, "speed": 40.0, "bump_height": 0.004, "bump_length": 0.1})
    before = of({**SPRINT_CAR, "speed": 40.0}, ("edge_clearance",))["edge_clearance"]
    assert found["edge_smallest_clearance"] == pytest.approx(before - 0.004, abs=1e-6)


def test_dampers_take_the_peak_down_and_longer_watching_never_lowers_it() -> None:
    cars = {**scattered_cars(100), "speed": 38.0, "gust": 3.0, "gust_rise_time": 0.03, "gust_hold_time": 0.3}
    soft = of({**cars, "front_damping_ratio": 0.05, "rear_damping_ratio": 0.05})["peak_pitch"]
    firm = of({**cars, "front_damping_ratio": 0.7, "rear_damping_ratio": 0.7})["peak_pitch"]
    assert np.mean(soft > firm) > 0.95
    longer = of({**cars, "watch_time": 1.0})["peak_pitch"]
    assert np.all(longer >= of(cars)["peak_pitch"] - 1e-4)


def test_a_wheel_in_the_air_carries_nothing_and_the_body_falls_freely() -> None:
    """Both axles off the road and no air: nothing but gravity acts (mechanics)."""
    calm = {name: 0.0 for name in SPRINT_CAR if name.endswith(("_coefficient_closed", "_coefficient"))}
    car = {**SPRINT_CAR, **calm, "body_drag_area": 0.0, "static_pitch": 0.0, "speed": 30.0}
    slopes = {name: 0.0 for name in SPRINT_CAR if name.endswith("_pitch_slope")}
    ride = assembled({**car, **slopes, "bump_height": 0.02, "bump_length": 1.5})
    flying = [m for m in moments(ride) if m.before.off.all() and m.step > 0]
    assert len(flying) > 5
    for moment in flying:
        gained = (moment.after.speed - moment.before.speed) / moment.step
        np.testing.assert_allclose(gained, 9.80665, rtol=1e-9)


@pytest.mark.long
def test_memory_does_not_grow_with_the_time_watched() -> None:
    """Only running extremes are kept, whatever the number of steps."""
    cars = {**scattered_cars(4000), "speed": 40.0, "bump_height": 0.003, "gust": 2.0}

    def most(watch_time: float) -> int:
        tracemalloc.start()
        try:
            value("peak_pitch", **cars, watch_time=watch_time)
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    assert most(0.6) < 1.1 * most(0.1)


def test_a_few_hundred_steps_are_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    """The cost of a sample, with stops in play and wheels lifting."""
    taken, step = 0, following.advanced

    def counted(ride: Ride, motion: following.Motion, met: Meeting) -> object:
        nonlocal taken
        taken += 1
        return step(ride, motion, met)

    monkeypatch.setattr(following, "advanced", counted)
    cars = {**scattered_cars(200), **STOPS, "speed": 40.0, "bump_height": 0.004, "gust": 2.0}
    value("peak_pitch", **cars)
    assert 50 < taken < 400


def bumped_cars(count: int) -> dict:
    stream = np.random.Generator(np.random.Philox(9))
    return {
        **scattered_cars(count),
        **STOPS,
        "speed": 38.0,
        "bump_height": stream.uniform(-0.004, 0.005, count),
        "bump_length": stream.uniform(0.3, 3.0, count),
        "gust": stream.uniform(0, 2, count),
        "front_damping_ratio": stream.uniform(0.05, 0.6, count),
        "rear_damping_ratio": stream.uniform(0.05, 0.6, count),
    }


@pytest.mark.long
def test_leaving_a_motion_early_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """To the last bit against the motion followed to its end; and it is left early, most of all."""
    taken = 0

    def counted(ride: Ride, motion: following.Motion, met: Meeting) -> object:
        nonlocal taken
        taken += np.count_nonzero(motion.left)
        return step(ride, motion, met)

    step = following.advanced
    monkeypatch.setattr(following, "advanced", counted)
    cars = {**bumped_cars(400), "watch_time": 1.0}
    found, short, taken = of(cars), taken, 0
    monkeypatch.setattr(following, "LOOK_EVERY", 10**9)
    whole = of(cars)
    assert short < taken / 2
    for name in NAMES:
        np.testing.assert_array_equal(found[name], whole[name], err_msg=name)


def test_no_swing_leaves_the_bound_of_its_energy(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lyapunov's direct method, on the motion itself: energy falls as it must, what it bounds stays within.

    From the end of bump and gust on, stops touched or not, as long as no wheel has left the road; in steps
    short enough to gain no energy of their own.
    """
    monkeypatch.setattr(settings, "RADIANS", 0.15)
    monkeypatch.setattr(settings, "RADIANS_ON_STOPS", 0.15)
    ride = assembled(bumped_cars(100))
    fading, calm = Fading.of(ride), ride.start + ride.timetable().lengths.sum(axis=0) - 0.5
    assert fading.holds.mean() > 0.9
    checked = 0
    for moment in moments(ride):
        before, after = (fading.energy(body.drop, body.speed) for body in (moment.before, moment.after))
        kept = (moment.time - moment.step > calm - 1e-9) & (moment.step > 0) & fading.holds
        kept &= np.all(moment.load > ride.unloaded, axis=0) & ~np.any(moment.before.off, axis=0)
        assert np.all((after <= fading.after(before, moment.step) + 1e-15)[kept])
        away = np.abs(lean(moment.after.drop) - lean(ride.steady))
        assert np.all((away <= fading.travel(before, -1, 1))[kept])
        assert np.all((moment.load >= fading.lowest_load(before))[:, kept])
        checked += np.count_nonzero(kept)
    assert checked > 5000


#: A front splitter that loses much by pitch and a wing that loses little: such a car diverges.
DIVERGING = {"splitter_pitch_slope": 9.0, "wing_pitch_slope": 0.5, "speed_cap": 150.0}


def test_a_slow_gust_is_the_steady_model_at_its_strength() -> None:
    """The limit that two descriptions of one car must share; three seconds are many swings."""
    cars = scattered_cars(200)
    gusty = {**cars, "speed": 38.0, "headwind": 2.0, "gust": 4.0, "gust_rise_time": 3.0}
    steady = evaluate(
        ["pitch", "front_axle_load", "rear_axle_load"], {**cars, "speed": 38.0, "headwind": 6.0}
    )
    before = evaluate(
        ["pitch", "front_axle_load", "rear_axle_load"], {**cars, "speed": 38.0, "headwind": 2.0}
    )
    found = evaluate(["peak_pitch", "lowest_front_axle_load", "lowest_rear_axle_load"], gusty)
    stays = steady["front_axle_load"] > 2
    assert np.mean(stays) > 0.9
    expected = {
        "peak_pitch": np.maximum(steady["pitch"], before["pitch"]),
        "lowest_front_axle_load": np.minimum(steady["front_axle_load"], before["front_axle_load"]),
        "lowest_rear_axle_load": np.minimum(steady["rear_axle_load"], before["rear_axle_load"]),
    }
    for name, limit in expected.items():
        np.testing.assert_allclose(found[name][stays], limit[stays], rtol=1e-3, atol=1e-5, err_msg=name)


def test_a_slow_gust_lifts_the_front_at_the_lift_off_speed() -> None:
    """Half a metre a second below the steady front lift-off speed it stays down, above it does not."""
    lift_off = float(value("front_lift_off_speed", **SPRINT_CAR))
    for beyond, comes_back in ((-0.5, 1.0), (0.5, 0.0)):
        gust = lift_off + beyond - 40.0
        car = {**SPRINT_CAR, "speed": 40.0, "gust": gust, "gust_rise_time": 2.0, "gust_hold_time": 1.0}
        found = evaluate(["returns_to_level", "lowest_front_axle_load"], car)
        assert found["returns_to_level"] == comes_back
        assert (found["lowest_front_axle_load"] > 0) == bool(comes_back)


def test_stability_is_lost_at_the_divergence_speed() -> None:
    """Static divergence: one eigenvalue passes through zero where the stiffness matrix is singular."""
    cars = {**scattered_cars(300), **DIVERGING}
    divergence = evaluate(["divergence_speed"], cars)["divergence_speed"]
    assert np.all(divergence < 149)
    rates = [
        evaluate(["ride_decay_rate"], {**cars, "speed": share * divergence})["ride_decay_rate"]
        for share in (0.999, 1.0, 1.001)
    ]
    assert np.all(rates[0] > 0)
    np.testing.assert_allclose(rates[1], 0, atol=1e-6)
    assert np.all(rates[2] < 0)


def test_in_time_a_small_swing_grows_only_beyond_the_divergence_speed() -> None:
    """The same in the time domain: the car let go a little off level, wheels on the road."""
    from explorer.model.ride.heave_pitch import course
    from explorer.model.ride.ride import Ride, lean

    heavy = {**SPRINT_CAR, **DIVERGING, "mass": 60.0, "pitch_inertia": 1.0}
    divergence = float(value("divergence_speed", **heavy))
    for share in (0.97, 1.03):
        car = {**heavy, "speed": share * divergence}
        found = evaluate(
            ["half_car", "air_on_axles", "splitter_ground_effect", "road_points", "road_and_gust"], car
        )
        # No load but what changes with pitch: the level car is then in balance at any speed.
        air = found["air_on_axles"]._replace(level=np.zeros(2), transfer=np.zeros(2))
        start = course(0.0, 1e-5, 0.0, 0.325, 0.35, 3.0)
        ride = Ride.of(
            found["half_car"],
            air,
            found["splitter_ground_effect"],
            found["road_points"],
            found["road_and_gust"],
            start,
        )
        *_, last = moments(ride)
        assert (np.abs(lean(last.after.drop)) > 1e-4) == (share > 1)
        assert (np.abs(lean(last.after.drop)) < 1e-6) == (share < 1)
