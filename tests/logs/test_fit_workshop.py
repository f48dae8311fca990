"""Fits of what is measured on the bench: springs, scales, repeated readings, hinge pulls, flap travel."""

from __future__ import annotations

import math

import numpy as np
import pytest

from explorer.errors import SampleError, TableError
from explorer.files.reading import Source
from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Known
from explorer.logs.fitting.flap_travel import fit_flap_travel
from explorer.logs.fitting.hinge_pull import fit_hinge_pull
from explorer.logs.fitting.input_block import spread_of
from explorer.logs.fitting.readings import fit_readings
from explorer.logs.fitting.scales import fit_scales
from explorer.logs.fitting.spring_test import fit_spring_test
from explorer.logs.kinds.workshop import directions
from tests.statistics_help import within
from tests.synthetic import (
    PERFECT,
    Roughness,
    make_flap_travel,
    make_spring_test,
    make_weighings,
    random_stream,
)

LOADS = np.linspace(2.0, 40.0, 10)
UP_AND_DOWN = np.concatenate([LOADS, LOADS[::-1]])
WHEELBASE = Known("wheelbase", 0.36, 0.0005, "m")
AXLE = Known("axle_height", 0.05, 0.0005, "m")
WEIGHED = {"mass": 6.0, "cg_station": 0.19, "cg_height": 0.06, "wheelbase": 0.36, "axle_height": 0.05}


# Springs.


def test_a_perfect_spring_test_gives_rate_preload_and_play_back() -> None:
    load, deflection, _ = make_spring_test(
        LOADS, rate=4000, preload=9.0, play=0.0005, random=random_stream(1)
    )
    fit = fit_spring_test(load, deflection)
    assert fit.names == ("rear_wheel_rate",)
    assert fit.estimates == pytest.approx([4000], rel=1e-6)
    assert fit.log_values["preload"][0] == pytest.approx(9.0, rel=1e-5)
    assert fit.log_values["line_begins_at"][0] == pytest.approx(0.0005, rel=1e-5)


def test_without_rows_below_the_preload_it_is_not_separated_from_play() -> None:
    load, deflection, _ = make_spring_test(
        LOADS + 20, rate=4000, preload=9.0, play=0.0005, random=random_stream(1)
    )
    fit = fit_spring_test(load, deflection)
    assert fit.estimates == pytest.approx([4000], rel=1e-6)
    assert fit.log_values["line_begins_at"][0] == pytest.approx(0.0005 - 9.0 / 4000, rel=1e-5)
    assert any("play and preload are not separated by this log" in note for note in fit.notes)


def test_friction_is_half_the_difference_between_loading_and_unloading() -> None:
    load, deflection, loading = make_spring_test(
        UP_AND_DOWN + 10, rate=4000, preload=5.0, friction=1.5, random=random_stream(1)
    )
    fit = fit_spring_test(load, deflection, loading=loading, loss="linear")
    assert fit.estimates == pytest.approx([4000], rel=1e-5)
    assert fit.log_values["friction"][0] == pytest.approx(1.5, rel=1e-4)


@pytest.mark.long
@pytest.mark.parametrize(
    ("loads", "unknown"),
    [(LOADS + 20, {"preload": 9.0}), (np.append(LOADS, LOADS[-2::-1]), {"friction": 0.4, "play": 1e-4})],
    ids=["preload", "friction and play"],
)
def test_intervals_of_300_spring_tests_hold_the_rate_95_times_in_100(
    loads: Array, unknown: dict[str, float]
) -> None:
    hits = 0
    for seed in range(300):
        random = random_stream(seed)
        load, deflection, _ = make_spring_test(
            loads, rate=4000, **unknown, rough=Roughness(noise=1e-4), random=random
        )
        scale = Known("load_scale", 1 + 0.01 * float(random.standard_normal()), 0.01, "1")
        both_ways = directions(load) if "friction" in unknown else None
        low, high = fit_spring_test(load, deflection, loading=both_ways, load_scale=scale).interval()[0]
        hits += low <= 4000 <= high
    # 300 tests: standard error 0.0126.
    assert within(hits / 300, 0.95, 0.0126, z=3)


def test_a_first_weight_was_put_on_and_one_repeated_keeps_its_direction() -> None:
    """Taken for neither, the first reading of a rig with friction drew the rate down by half its error."""
    np.testing.assert_array_equal(directions(np.array([2.0, 4, 4, 2, 2, 4])), [1, 1, 1, -1, -1, 1])
    np.testing.assert_array_equal(directions(np.array([0.0, 4, 0])), [0, 1, -1])


@pytest.mark.long
@pytest.mark.parametrize("lapse", [0.0, 3.0], ids=["each on its own", "repeating"])
def test_few_readings_allow_for_errors_that_repeat(lapse: float) -> None:
    """From eleven readings whose errors fade over three, plain least squares holds the rate in 64 of 100."""
    hits, tests = 0, 300
    for seed in range(tests):
        load, deflection, _ = make_spring_test(
            np.linspace(5, 40, 11),
            rate=4000,
            rough=Roughness(noise=1e-4, lapse=lapse),
            random=random_stream(seed),
        )
        low, high = fit_spring_test(load, deflection).interval(0.95)[0]
        hits += low <= 4000 <= high
    assert hits / tests >= 0.95 - 3 * 0.0126


def test_few_readings_say_that_repeating_errors_would_not_show() -> None:
    load, deflection, _ = make_spring_test(
        np.linspace(5, 40, 11), rate=4000, rough=Roughness(noise=1e-4, lapse=3), random=random_stream(3)
    )
    few, known = fit_spring_test(load, deflection), fit_spring_test(load, deflection, standard_deviation=1e-4)
    assert any("too few to show errors that repeat" in note for note in few.notes)
    assert not any("too few to show" in note for note in known.notes)
    assert few.effective_rows < 11


def test_a_first_reading_at_no_load_does_not_bend_a_line_with_friction() -> None:
    loads = np.linspace(0, 40, 9)
    load, deflection, _ = make_spring_test(loads, rate=4000, friction=1.5, random=random_stream(1))
    fit = fit_spring_test(load, deflection)
    assert fit.estimates == pytest.approx([4000], rel=1e-6)
    assert any("at no load were left out" in note for note in fit.notes)


def test_an_axle_shares_its_load_between_two_wheels() -> None:
    load, deflection, _ = make_spring_test(LOADS, rate=8000, random=random_stream(1))
    fit = fit_spring_test(load, deflection, wheels=2, rate_name="front_wheel_rate")
    assert fit.names == ("front_wheel_rate",)
    assert fit.estimates == pytest.approx([4000], rel=1e-6)


def test_an_error_of_the_weights_is_an_error_of_the_rate() -> None:
    load, deflection, _ = make_spring_test(LOADS, rate=4000, random=random_stream(1))
    scale = Known("load_scale", 1.0, 0.02, "1")
    gauge = Known("deflection_scale", 1.0, 0.01, "1")
    fit = fit_spring_test(load, deflection, load_scale=scale, deflection_scale=gauge)
    # Closed form: rate goes with load over deflection, so relative uncertainties add in squares.
    assert fit.standard_uncertainties == pytest.approx([4000 * math.hypot(0.02, 0.01)], rel=1e-3)


def test_a_progressive_spring_is_flagged() -> None:
    load, deflection, _ = make_spring_test(
        np.linspace(2, 40, 30), rate=4000, rough=Roughness(noise=2e-5), random=random_stream(2)
    )
    fit = fit_spring_test(load, deflection * (1 - 0.15 * deflection / deflection.max()))
    assert fit.lack_of_fit is not None
    assert fit.lack_of_fit.flagged


def test_a_spring_test_needs_loads_and_a_spring() -> None:
    with pytest.raises(TableError, match="several loads"):
        fit_spring_test(np.array([1.0, 1.0, 2.0, 2.0]), np.array([1.0, 1.1, 2.0, 2.1]))
    with pytest.raises(TableError, match="does not grow") as caught:
        fit_spring_test(LOADS, -LOADS, sources=[Source("rear.csv", "2026-05-01", "0" * 64)])
    assert caught.value.file == "rear.csv"


# Scales.


def test_perfect_weighings_give_mass_and_centre_of_gravity_back() -> None:
    rises = np.array([0.0, 0.06, 0.12, -0.05])
    front, rear = make_weighings(
        rises,
        **WEIGHED,
        random=random_stream(1),
    )
    fit = fit_scales(front, rear, rises, wheelbase=WHEELBASE, axle_height=AXLE)
    assert fit.names == ("mass", "cg_station", "cg_height")
    assert fit.estimates == pytest.approx([6, 0.19, 0.06], rel=1e-6)


def test_level_weighing_against_its_closed_form() -> None:
    # x = L R / (F + R): with readings of 1 g, u(x)^2 = (L/m)^2 u^2 ((1 - r)^2 + r^2) + (r u(L))^2.
    fit = fit_scales(
        np.array([2.8]),
        np.array([3.2]),
        np.array([0.0]),
        wheelbase=WHEELBASE,
        axle_height=AXLE,
        standard_deviation=0.001,
    )
    share = 3.2 / 6
    spread = math.hypot(0.36 / 6 * 0.001 * math.hypot(1 - share, share), share * 0.0005)
    assert fit.estimates == pytest.approx([6.0, 0.36 * share])
    assert fit.standard_uncertainties == pytest.approx([0.001 * math.sqrt(2), spread], rel=1e-3)
    assert any("height of the centre of gravity stays unknown" in note for note in fit.notes)


@pytest.mark.long
def test_intervals_of_300_weighings_hold_the_truth_95_times_in_100() -> None:
    rises = np.array([0.0, 0.0, 0.1, 0.1, 0.15, 0.15])
    truth = np.array([6, 0.19, 0.06])
    hits = np.zeros(3)
    for seed in range(300):
        front, rear = make_weighings(
            rises,
            **WEIGHED,
            rough=Roughness(0.005),
            random=random_stream(seed),
        )
        fit = fit_scales(
            front,
            rear,
            rises,
            wheelbase=Known("wheelbase", 0.36, 0, "m"),
            axle_height=Known("axle_height", 0.05, 0, "m"),
        )
        low, high = fit.interval(0.95).T
        hits += (low <= truth) & (truth <= high)
    for each in hits:
        assert within(float(each) / 300, 0.95, 0.0126, z=3.5)


def test_an_axle_not_weighed_every_time_is_no_harm() -> None:
    front = np.array([2.8, 3.0, np.nan])
    rear = np.array([3.2, np.nan, 3.2])
    fit = fit_scales(front, rear, np.array([0.0, 0.1, 0.0]), wheelbase=WHEELBASE, axle_height=AXLE)
    tangent = 0.1 / math.sqrt(0.36**2 - 0.1**2)
    assert fit.value("cg_height") == pytest.approx(0.05 + 0.36 * 0.2 / (6 * tangent), rel=1e-6)


def test_weighings_that_cannot_be_are_refused() -> None:
    two = np.array([2.8, 2.9])
    with pytest.raises(TableError, match="rear_load was never weighed"):
        fit_scales(two, np.full(2, np.nan), np.zeros(2), wheelbase=WHEELBASE, axle_height=AXLE)
    with pytest.raises(TableError, match="more than the wheelbase"):
        fit_scales(two, two, np.array([0.0, 100.0]), wheelbase=WHEELBASE, axle_height=AXLE)
    with pytest.raises(SampleError, match="too few rows"):
        fit_scales(two[:1], two[:1], np.array([0.0]), wheelbase=WHEELBASE, axle_height=AXLE)


# Readings.


def test_type_a_evaluation_of_readings() -> None:
    # JCGM 100 4.2.3: mean, and standard deviation over the root of the number of readings.
    values = np.array([10.1, 10.3, 9.9, 10.2, 10.0])
    fit = fit_readings({"mass": values}, {"mass": "kg"})
    assert fit.estimates == pytest.approx([10.1])
    assert fit.standard_uncertainties == pytest.approx([np.std(values, ddof=1) / math.sqrt(5)])
    assert fit.degrees_of_freedom == pytest.approx([4])
    # Student's t with four degrees of freedom, 95 %: 2.776 (handbook table).
    assert fit.interval()[0, 1] - 10.1 == pytest.approx(2.776 * fit.standard_uncertainties[0], rel=1e-3)
    # JCGM 101 6.4.9: standard deviation of that t distribution.
    assert spread_of(fit, "mass") == pytest.approx(fit.standard_uncertainties[0] * math.sqrt(2))


def test_resolution_does_not_average_out() -> None:
    # JCGM 100 F.2.2.1: a step is a rectangular distribution of standard deviation step / sqrt(12).
    fit = fit_readings({"mass": np.full(50, 10.0)}, {"mass": "kg"}, resolution={"mass": 0.1})
    assert fit.standard_uncertainties == pytest.approx([0.1 / math.sqrt(12)])
    assert any("all readings of mass are the same" in note for note in fit.notes)


def test_readings_without_spread_are_not_handed_over_as_exact() -> None:
    with pytest.raises(SampleError, match="without any spread"):
        spread_of(fit_readings({"mass": np.full(5, 10.0)}, {"mass": "kg"}), "mass")
    with pytest.raises(SampleError, match="too few rows to say"):
        spread_of(fit_readings({"mass": np.array([10.0, 10.1, 10.2])}, {"mass": "kg"}), "mass")


def test_a_single_reading_is_refused() -> None:
    with pytest.raises(SampleError, match="at least two"):
        fit_readings({"mass": np.array([10.0])}, {"mass": "kg"})
    with pytest.raises(SampleError, match="at least two numbers"):
        fit_readings({"mass": np.array([10.0, np.nan])}, {"mass": "kg"})


def test_drifting_readings_are_worth_fewer() -> None:
    drift = np.cumsum(random_stream(3).standard_normal(60))
    fit = fit_readings({"mass": drift}, {"mass": "kg"})
    assert fit.effective_rows < 20
    assert any("drift" in note for note in fit.notes)


# Hinge and flap.


def test_hinge_moment_and_friction_against_statics() -> None:
    random = random_stream(4)
    opening, closing = 2.0 + 0.01 * random.standard_normal(6), 1.6 + 0.01 * random.standard_normal(5)
    arm = Known("arm", 0.03, 0.0003, "m")
    square = Known("pull_angle", math.pi / 2, 0.0, "rad")
    fit = fit_hinge_pull(opening, closing, arm=arm, element="lower_flap", pull_angle=square)
    assert fit.names == ("lower_flap_closing_moment", "lower_flap_pivot_friction_torque")
    mean, half = (opening.mean() + closing.mean()) / 2, (opening.mean() - closing.mean()) / 2
    assert fit.estimates == pytest.approx([0.03 * mean, 0.03 * half])
    u = math.hypot(opening.std(ddof=1) / math.sqrt(6), closing.std(ddof=1) / math.sqrt(5)) / 2
    assert fit.standard_uncertainties == pytest.approx(
        [math.hypot(0.03 * u, 0.0003 * mean), math.hypot(0.03 * u, 0.0003 * half)], rel=1e-4
    )
    assert fit.kind == "pull at an arm"


@pytest.mark.long
def test_intervals_of_1000_pulls_and_readings_hold_the_truth_95_times_in_100() -> None:
    arm, square = Known("arm", 0.03, 0.0, "m"), Known("pull_angle", math.pi / 2, 0.0, "rad")
    pulled, read, repeats = np.zeros(2), 0, 1000
    for seed in range(repeats):
        random = random_stream(seed)
        opening, closing = 2.0 + 0.01 * random.standard_normal(6), 1.6 + 0.01 * random.standard_normal(5)
        fit = fit_hinge_pull(opening, closing, arm=arm, element="lower_flap", pull_angle=square)
        low, high = fit.interval().T
        pulled += (low <= [0.054, 0.006]) & (high >= [0.054, 0.006])
        low, high = fit_readings({"mass": random.normal(10.0, 0.1, 5)}, {"mass": "kg"}).interval().T
        read += bool(low[0] <= 10.0 <= high[0])
    error = 3 * math.sqrt(0.95 * 0.05 / repeats)
    assert abs(read / repeats - 0.95) <= error
    # Conservative: of few readings on two sides the fewer give the degrees of freedom.
    assert np.all(pulled / repeats >= 0.95 - error), pulled


@pytest.mark.long
def test_flap_travel_is_recovered_in_spite_of_jitter() -> None:
    hits = 0
    for seed in range(300):
        time, angle = make_flap_travel(
            travel_time=0.12,
            delay=0.08,
            angle_before=0.05,
            angle_after=0.6,
            rough=Roughness(noise=0.01, outliers=0.02, outlier_size=0.5),
            random=random_stream(seed),
        )
        fit = fit_flap_travel(time, angle)
        assert fit.names == ("opening_time",)
        assert fit.value("opening_time") == pytest.approx(0.12, rel=0.15)
        low, high = fit.interval(0.95)[0]
        hits += low <= 0.12 <= high
    assert within(hits / 300, 0.95, 0.0126, z=3)
    assert fit.log_values["flap_delay"][0] == pytest.approx(0.08, abs=0.01)
    assert fit.log_values["angle_after"][0] == pytest.approx(0.6, abs=0.01)


def test_closing_is_named_so_and_counts_from_the_command() -> None:
    time, angle = make_flap_travel(
        travel_time=0.2, delay=0.1, angle_before=0.6, angle_after=0.05, rough=PERFECT, random=random_stream(1)
    )
    fit = fit_flap_travel(time + 5, angle, movement="closing", command=5.0)
    assert fit.names == ("closing_time",)
    assert fit.estimates == pytest.approx([0.2], rel=1e-3)
    assert fit.log_values["flap_delay"][0] == pytest.approx(0.1, rel=1e-2)


def test_a_flap_that_does_not_move_or_rest_is_refused() -> None:
    time = np.linspace(0, 1, 50)
    with pytest.raises(TableError, match="does not move"):
        fit_flap_travel(time, 0.01 * random_stream(1).standard_normal(50))
    with pytest.raises(TableError, match="no rest"):
        fit_flap_travel(time, 0.6 * time**0.1)
