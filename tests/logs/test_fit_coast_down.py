"""Coast-down: recovery of what the logs were made from, honest intervals, and what cannot be inferred."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from explorer.errors import SampleError, TableError
from explorer.graph.words import in_unit
from explorer.logs.fitting.coast_down import CoastDownRun, coast_down_inputs, coasting_speed, fit_coast_down
from explorer.logs.fitting.fit import Fit, Known
from tests.synthetic import PERFECT, Roughness, make_coast_down, random_stream

MASS = Known("mass", 6.0, 0.01, "kg")
FACTOR = Known("rotating_mass_factor", 1.05, 0.005, "1")
DENSITY = Known("air_density", 1.2, 0.01, "kg/m3")
CAR = {"mass": 6.0, "rotating_mass_factor": 1.05, "air_density": 1.2}
TRUTH = {"drag_area": 0.012, "rolling_resistance": 0.015, **CAR}


def runs_of(
    random: np.random.Generator, rough: Roughness, count: int = 2, **changes: Any
) -> list[CoastDownRun]:
    return [
        make_coast_down(
            **{**TRUTH, "rows": 40, **changes},
            direction=1 if number % 2 == 0 else -1,
            first_speed=40.0 - number,
            rough=rough,
            random=random,
        )
        for number in range(count)
    ]


def fitted(runs: list[CoastDownRun], **changes: Any) -> Fit:
    return fit_coast_down(
        runs, **{"mass": MASS, "rotating_mass_factor": FACTOR, "air_density": DENSITY, **changes}
    )


def drawn(known: Known, random: np.random.Generator) -> Known:
    return replace(known, value=known.value + known.standard_uncertainty * float(random.standard_normal()))


def test_a_perfect_log_gives_the_truth_back() -> None:
    fit = fitted(runs_of(random_stream(1), PERFECT, headwind=1.5, grade=0.004))
    assert fit.names == ("drag_area", "rolling_resistance")
    assert fit.estimates == pytest.approx([0.012, 0.015], rel=1e-4)
    assert fit.log_values["headwind"][0] == pytest.approx(1.5, rel=1e-3)
    assert fit.log_values["grade"][0] == pytest.approx(0.004, rel=1e-3)


@pytest.mark.parametrize("grade", [0.0, -0.05, -0.014286], ids=["level", "downhill", "all but free of force"])
def test_every_sign_of_the_constant_deceleration_agrees_with_numerical_integration(grade: float) -> None:
    # Reference: scipy.integrate.solve_ivp on the same differential equation.
    from scipy.integrate import solve_ivp

    square, constant = 0.00114, 9.80665 * (0.015 + grade) / 1.05
    time = np.linspace(0, 15, 31)
    solved = solve_ivp(
        lambda _, v: -(square * v**2 + constant), (0, 15), [40.0], t_eval=time, rtol=1e-10, atol=1e-10
    )
    closed = coasting_speed(time, np.asarray(40.0), np.asarray(square), np.asarray(constant))
    assert closed == pytest.approx(solved.y[0], rel=1e-7)


def test_a_car_that_has_stopped_stays_stopped() -> None:
    time = np.linspace(0, 200, 50)
    speed = coasting_speed(time, np.asarray(10.0), np.asarray(0.001), np.asarray(0.15))
    assert speed[0] == 10.0
    assert (np.diff(speed) <= 0).all()
    assert (speed[time > 70] == 0).all()


@pytest.mark.long
def test_intervals_of_500_synthetic_logs_hold_the_truth_95_times_in_100() -> None:
    hits = np.zeros(2)
    for seed in range(500):
        random = random_stream(seed)
        runs = runs_of(random, Roughness(noise=0.15), headwind=1.0, grade=0.003)
        # What is known of the car is wrong by as much as it is said to be uncertain.
        fit = fitted(
            runs,
            mass=drawn(MASS, random),
            rotating_mass_factor=drawn(FACTOR, random),
            air_density=drawn(DENSITY, random),
        )
        low, high = fit.interval(0.95).T
        hits += (low <= [0.012, 0.015]) & (high >= [0.012, 0.015])
    assert ((hits / 500 >= 0.93) & (hits / 500 <= 0.97)).all(), hits / 500


def test_uncertain_mass_carries_through_where_the_log_is_good() -> None:
    # Closed form: drag area goes with mass, so its share is drag area times the mass's relative uncertainty.
    mass = Known("mass", 6.0, 0.3, "kg")
    fit = fitted(runs_of(random_stream(2), Roughness(noise=0.01), rows=200), mass=mass)
    assert fit.contributions["mass"][0] == pytest.approx(0.012 * 0.3 / 6.0, rel=0.05)
    assert fit.standard_uncertainty("drag_area") == pytest.approx(0.012 * np.hypot(0.05, 0.0097), rel=0.1)
    assert abs(fit.contributions["mass"][1]) < 5e-5  # rolling resistance does not need the mass
    assert any("drag area over effective mass only" in in_unit(note) for note in fit.notes)


@pytest.mark.long
def test_outliers_and_dropouts_do_little_harm() -> None:
    rough = Roughness(noise=0.15, outliers=0.05, outlier_size=15.0, dropouts=2, dropout_rows=10)
    distances = []
    for seed in range(40):
        fit = fitted(runs_of(random_stream(seed), rough, rows=100, headwind=1.0))
        distances.append((fit.estimates - [0.012, 0.015]) / fit.standard_uncertainties)
        assert 0 < fit.outliers < 30
        assert any("left out as outliers" in in_unit(note) for note in fit.notes)
    # Mean square of 80 standard distances: 1, with standard error sqrt(2 / 80).
    assert float(np.mean(np.square(distances))) < 1 + 4 * np.sqrt(2 / 80)


def test_repeating_errors_widen_the_interval() -> None:
    plain = fitted(runs_of(random_stream(3), Roughness(noise=0.15), 4, rows=200))
    slow = fitted(runs_of(random_stream(3), Roughness(noise=0.15, lapse=10), 4, rows=200))
    assert slow.effective_rows < plain.effective_rows / 5
    assert slow.standard_uncertainty("drag_area") > 2 * plain.standard_uncertainty("drag_area")
    assert any("successive rows repeat each other" in note for note in slow.notes)


def gusty(seed: int) -> list[CoastDownRun]:
    """Six runs, each in a wind of its own about 1 m/s."""
    random = random_stream(seed)
    gusts = 0.5 * random.standard_normal(6)
    return [
        run
        for number, gust in enumerate(gusts)
        for run in runs_of(random, Roughness(noise=0.1), number + 1, headwind=1.0 + gust, rows=60)[number:]
    ]


def test_a_wind_of_its_own_for_each_run_makes_a_useful_log_of_it() -> None:
    one, own = fitted(gusty(5)), fitted(gusty(5), wind_varies=0.5)
    assert any("wind_varies" in note for note in one.notes)
    assert not any("wind_varies" in note for note in own.notes)
    assert own.standard_uncertainty("drag_area") < one.standard_uncertainty("drag_area") / 2
    assert abs(own.value("drag_area") - 0.012) < 4 * own.standard_uncertainty("drag_area")
    assert own.standard_uncertainty("drag_area") < 0.03 * 0.012


@pytest.mark.long
def test_intervals_hold_the_truth_where_the_wind_varies() -> None:
    hits, logs = np.zeros(2), 60
    for seed in range(logs):
        low, high = fitted(gusty(seed), wind_varies=0.5).interval(0.95).T
        hits += (low <= [0.012, 0.015]) & (high >= [0.012, 0.015])
    # Conservative: what is believed of wind and slope is wider than the truth.
    assert (hits / logs >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / logs)).all(), hits / logs


def test_flap_open_and_closed_together_give_the_difference_best() -> None:
    random = random_stream(4)
    closed = runs_of(random, Roughness(noise=0.1), rows=200)
    opened = runs_of(random, Roughness(noise=0.1), rows=200, drag_area=0.009, flap="open")
    fit = fitted([*closed, *opened], mass=Known("mass", 6.0, 0.2, "kg"))
    assert fit.names == ("drag_area_closed", "drag_area_open", "rolling_resistance")
    wing_area = Known("wing_area", 0.01, 1e-4, "m2")
    drag_open = Known("wing_drag_coefficient_open", 0.1, 0.02, "1")
    inputs = coast_down_inputs(fit, wing_area=wing_area, wing_drag_coefficient_open=drag_open)
    assert inputs.names == ("body_drag_area", "rolling_resistance", "wing_drag_coefficient_closed")
    truth = [0.009 - 0.01 * 0.1, 0.015, 0.1 + 0.003 / 0.01]
    assert np.all(np.abs(inputs.estimates - truth) < 4 * inputs.standard_uncertainties)
    # Error of the open wing's coefficient moves the body one way and the closed wing the other.
    place = inputs.contributions["wing_drag_coefficient_open"]
    assert place == pytest.approx([-0.01 * 0.02, 0.0, 0.02], abs=1e-9)
    assert any("drag_area_closed minus drag_area_open: 0.003" in in_unit(note) for note in fit.notes)


def test_downforce_on_the_tyres_is_told_from_drag_when_it_is_given() -> None:
    runs = runs_of(random_stream(5), PERFECT, downforce_area=0.05)
    blind = fitted(runs)
    told = fitted(runs, downforce_area={"closed": Known("downforce_area", 0.05, 0.0, "m2")})
    assert told.value("drag_area") == pytest.approx(0.012, rel=1e-4)
    assert blind.value("drag_area") == pytest.approx(0.012 + 0.015 * 0.05, rel=1e-4)
    assert any("no downforce was given" in note for note in blind.notes)


def test_one_direction_needs_wind_and_slope_given() -> None:
    runs = [run for run in runs_of(random_stream(6), Roughness(noise=0.1), 4, rows=100) if run.direction == 1]
    with pytest.raises(SampleError, match="one direction cannot tell wind and slope") as caught:
        fitted(runs)
    assert tomllib.loads((caught.value.remedy or "").partition(": ")[2])["known"].keys() == {
        "headwind",
        "grade",
    }
    both = fitted(runs_of(random_stream(6), Roughness(noise=0.1), 4, rows=100))
    given = fitted(runs, headwind=Known("headwind", 0.0, 0.5, "m/s"), grade=Known("grade", 0.0, 0.002, "rad"))
    # A slope of 0.2 % that is not known is 0.002 of rolling resistance that is not known.
    assert given.standard_uncertainty("rolling_resistance") > 0.002
    assert both.standard_uncertainty("rolling_resistance") < given.standard_uncertainty("rolling_resistance")


def test_known_wind_and_slope_are_taken_as_they_are() -> None:
    runs = runs_of(random_stream(7), PERFECT, headwind=2.0, grade=0.01)
    exact = {"headwind": Known("headwind", 2.0, 0.0, "m/s"), "grade": Known("grade", 0.01, 0.0, "rad")}
    fit = fitted(runs[:1], **exact)
    assert fit.estimates == pytest.approx([0.012, 0.015], rel=1e-4)
    assert "headwind" not in fit.log_values


def test_short_and_steady_logs_are_refused() -> None:
    time = np.linspace(0, 10, 100)
    steady = CoastDownRun(time, 20 + 0.1 * np.sin(time))
    with pytest.raises(TableError, match="hardly falls"):
        fitted([steady])
    with pytest.raises(TableError, match="too short"):
        fitted([CoastDownRun(time[:5], 20 - time[:5])])
    with pytest.raises(SampleError):
        fitted([])


def test_inputs_need_the_flap_open() -> None:
    fit = fitted(runs_of(random_stream(8), PERFECT))
    with pytest.raises(SampleError, match="flap open"):
        coast_down_inputs(
            fit,
            wing_area=Known("wing_area", 0.01, 0, "m2"),
            wing_drag_coefficient_open=Known("wing_drag_coefficient_open", 0.1, 0, "1"),
        )
