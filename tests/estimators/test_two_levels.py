"""How sure a limit is, against a normal margin of car and day, whose answer is known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ndtr, ndtri
from statistics_help import within

from explorer.estimators.two_levels import OfCars, Sureness, how_sure, kept_margins, surpluses_of_cars

CAR, DAY = 1.0, 0.5


def sure_of(mean: float, *, cars: int, days: int, required: float = 0.9, seed: int = 1) -> Sureness:
    random = np.random.default_rng(seed)
    of_cars = mean + CAR * random.standard_normal((cars, 1))
    margins = of_cars + DAY * random.standard_normal((cars, days))
    return how_sure(OfCars.of(margins, required), days, required, 0.9)


def truth(mean: float, required: float = 0.9) -> float:
    """Return the share of cars that hold the limit often enough: their part lies above DAY z(required)."""
    return float(ndtr((mean - DAY * ndtri(required)) / CAR))


def test_closed_form_lies_within_and_the_ends_close_in() -> None:
    found = sure_of(2.5, cars=4000, days=1000)
    assert found.low <= truth(2.5) <= found.high
    assert found.high - found.low < 0.08
    spread = math.hypot(CAR, DAY)
    average = float(ndtr(2.5 / spread))
    assert within(found.average, average, math.sqrt(average * (1 - average) / 4000))
    # One car in ten lies below the mean less 1.28 of the cars' spread.
    at_least = float(ndtr((2.5 - ndtri(0.9) * CAR) / DAY))
    assert found.at_least == pytest.approx(at_least, abs=0.01)
    assert found.at_least_low <= at_least <= found.at_least_high
    assert within(found.ignorance, CAR**2 / (CAR**2 + DAY**2), 0.01)


@pytest.mark.parametrize(("mean", "verdict"), [(3.0, "pass"), (1.0, "fail"), (1.95, "undecided")])
def test_verdict_follows_the_whole_interval(mean: float, verdict: str) -> None:
    assert sure_of(mean, cars=1024, days=256).verdict == verdict


def test_run_without_an_answer_holds_nothing() -> None:
    margins = np.ones((64, 200))
    margins[:, :30] = np.nan
    found = how_sure(OfCars.of(margins, 0.9), 200, 0.9, 0.5)
    assert found.average == pytest.approx(0.85)
    assert found.verdict == "fail"
    assert found.family[0] == (-math.inf,) * 3


@pytest.mark.parametrize("mean", [1.0, 1.7, 1.95, 2.2, 2.6, 3.2])
def test_a_surplus_turns_where_the_verdict_does(mean: float) -> None:
    random = np.random.default_rng(3)
    margins = mean + CAR * random.standard_normal((512, 1)) + DAY * random.standard_normal((512, 64))
    sure, likely, possible = surpluses_of_cars(kept_margins(margins, 0.9), 0.9)
    for by, verdict in ((sure, "pass"), (possible, "undecided")):
        for nudge, there in ((1e-9, True), (-1e-9, False)):
            lifted = margins - by + nudge
            assert (how_sure(OfCars.of(lifted, 0.9), 64, 0.9, 0.9).verdict in ("pass", verdict)) is there
    counted = how_sure(OfCars.of(margins - likely + 1e-9, 0.9), 64, 0.9, 0.9).often_enough
    assert counted == pytest.approx(0.9, abs=1 / 512)
    assert sure < likely < possible


@pytest.mark.parametrize("mean", [1.0, 1.5, 1.95])
def test_what_is_surely_reached_ends_where_the_verdict_would_turn(mean: float) -> None:
    found = sure_of(mean, cars=512, days=128)
    assert found.at_least_low < found.at_least < found.at_least_high
    for nudge, below, above in ((-1e-9, "pass", "undecided"), (1e-9, "undecided", "fail")):
        assert sure_of(mean, cars=512, days=128, required=found.at_least_low + nudge).verdict == below
        assert sure_of(mean, cars=512, days=128, required=found.at_least_high + nudge).verdict == above


def test_ends_of_what_is_surely_reached_where_all_or_none_is_met() -> None:
    met, missed = (how_sure(OfCars.of(np.full((256, 64), by), 0.9), 64, 0.9, 0.9) for by in (1.0, -1.0))
    assert (met.at_least, met.at_least_high) == (1.0, 1.0)
    assert met.at_least_low == pytest.approx(0.05 ** (1 / 64))
    assert (missed.at_least, missed.at_least_low) == (0.0, 0.0)
    assert missed.at_least_high == pytest.approx(1 - 0.05 ** (1 / 64))


@pytest.mark.long
@pytest.mark.parametrize("days", [32, 256])
@pytest.mark.parametrize(("mean", "required"), [(1.95, 0.9), (2.6, 0.9), (2.0, 0.95)])
def test_interval_holds_the_truth_at_least_95_times_in_100(mean: float, required: float, days: int) -> None:
    repeats = 300
    true = truth(mean, required)
    found = [sure_of(mean, cars=256, days=days, required=required, seed=seed) for seed in range(repeats)]
    at_least = float(ndtr((mean - ndtri(0.9) * CAR) / DAY))
    # The scatter of the days is bounded, not estimated, so either is held more often than that.
    for held in (
        np.mean([one.low <= true <= one.high for one in found]),
        np.mean([one.at_least_low <= at_least <= one.at_least_high for one in found]),
    ):
        assert held >= 0.95 - 3 * math.sqrt(0.95 * 0.05 / repeats)
