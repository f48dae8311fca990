"""The demo studies show the phenomena they were made for, in cars that could be put on a strip.

What is expected here is the scenarios' own, invented with them; the facts of the trade behind it are common
practice, no source: a soft rear under much rear downforce squats until the nose lifts, full throttle lifts it
sooner, a flap that opens keeps the car level, a stiffer rear raises the speed at which it happens.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from study_help import AIRFIELD, CHASE

from explorer.analyses.taken_for_granted import taken_for_granted
from explorer.engine.montecarlo import Outcome, run_montecarlo
from explorer.engine.plan import make_plan
from explorer.graph.words import in_unit
from explorer.study.study import Study, load_study


@pytest.fixture(scope="module")
def demo() -> Study:
    return load_study(AIRFIELD)


@pytest.fixture(scope="module")
def outcome(demo: Study) -> Outcome:
    return run_montecarlo(demo, samples=4_000)


def test_it_says_that_it_is_invented(demo: Study) -> None:
    assert "invented" in demo.note.lower()
    assert all("invented" in str(given.source) for given in demo.inputs.values() if not given.default)


@pytest.mark.parametrize("folder", [AIRFIELD, CHASE], ids=lambda path: path.name)
def test_a_demo_takes_nothing_for_granted_and_has_nothing_under_the_road(folder: Path) -> None:
    study = load_study(folder)
    assert list(taken_for_granted(study, {})) == []
    points = [name for name in study.graph.quantities if name.endswith(("_clearance", "_clearance_at_rest"))]
    plan = make_plan(study, [(point, condition) for point in points for condition in study.conditions])
    nominal = {key: np.array([one.distribution.nominal]) for key, one in plan.uncertain.items()}
    for where, clearance in plan.evaluate(nominal).items():
        assert clearance > 0, where


def test_the_wheels_of_the_second_demo_follow_its_bumps() -> None:
    """They have mass, and no bump comes near the frequency at which they hop, where there is no answer."""
    study = load_study(CHASE)
    plan = make_plan(study, [("wheel_hop_share", "over_a_bump"), ("front_airborne_time", "over_a_bump")])
    share, airborne = plan.evaluate(plan.random_chunk(0, 200)).values()
    assert 0.25 < np.max(share) < 0.5
    assert np.all(np.isfinite(airborne))


def test_top_speeds_and_what_the_strip_leaves_of_them(outcome: Outcome) -> None:
    assert np.median(outcome.kept["top_speed | closed"]) == pytest.approx(52, abs=1)
    assert np.median(outcome.kept["top_speed | open"]) == pytest.approx(56, abs=1)
    assert np.median(outcome.kept["top_speed_room | open"]) > 260
    lost = outcome.kept["top_speed | open"] - outcome.kept["strip_speed | open"]
    assert np.all(lost > 0)
    assert np.median(lost) == pytest.approx(3.5, abs=1)


def test_closed_the_nose_comes_up_and_full_throttle_unloads_the_front(demo: Study, outcome: Outcome) -> None:
    at_rest = demo.inputs["mass"].distribution.nominal * 9.80665 * (1 - 172 / 325)
    lowest = np.median(outcome.kept["lowest_front_load | closed_gaining"])
    assert lowest / at_rest == pytest.approx(0.2, abs=0.05)
    assert np.rad2deg(np.median(outcome.kept["pitch | closed_fast"])) > 2
    assert np.mean(outcome.kept["wheel_lift_bounds_drive | closed"]) == pytest.approx(0.08, abs=0.03)


def test_at_55_about_one_in_three_has_lifted(outcome: Outcome) -> None:
    assert np.mean(outcome.kept["front_axle_load | closed_fast"] <= 0) == pytest.approx(1 / 3, abs=0.06)
    lifted = outcome.kept["front_lift_off_speed | closed"] <= 55
    np.testing.assert_array_equal(lifted, outcome.kept["front_axle_load | closed_fast"] <= 0)


def test_open_it_stays_level(outcome: Outcome) -> None:
    assert np.abs(np.rad2deg(np.quantile(outcome.kept["pitch | open_fast"], [0.05, 0.95]))).max() < 1


def test_a_stiffer_rear_spring_raises_the_lift_off_speed_of_every_car(demo: Study) -> None:
    rate = demo.inputs["rear_wheel_rate"]
    stiffer = replace(rate, distribution=replace(rate.distribution, mean=1.3 * rate.distribution.mean))
    (level,) = [limit for limit in demo.limits if limit.output.quantity == "pitch"]
    held = replace(demo, limits=(level,), outputs=(("front_lift_off_speed", "closed"),))
    changed = replace(held, inputs={**demo.inputs, "rear_wheel_rate": stiffer})
    before, after = (
        run_montecarlo(one, samples=20_000).kept["front_lift_off_speed | closed"] for one in (held, changed)
    )
    assert np.all(after >= before)
    assert np.median(after) > np.median(before) + 0.5


def test_nobody_stops_it_and_it_still_does_not_reach_the_fence(outcome: Outcome) -> None:
    """Without brakes it takes four times the way that it takes with them."""
    rolling, braked = (
        np.median(outcome.kept[f"{name} | closed_fast"]) for name in ("run_out_distance", "stopping_distance")
    )
    assert rolling / braked == pytest.approx(4.5, abs=0.7)
    assert np.mean(outcome.kept["fence_energy | closed_fast"] > 0) < 0.01


@pytest.mark.long
def test_it_has_passes_fails_and_an_undecided(demo: Study) -> None:
    from explorer.pipeline import run

    summary = run(demo).summary
    verdicts = {limit.name: limit.conformance.verdict for limit in summary.limits}
    assert set(verdicts.values()) == {"pass", "fail", "undecided"}
    assert verdicts["Front wheels stay down, closed up to 55 m/s"] == "fail"
    assert verdicts["Rear floor edge does not touch, closed at 55 m/s"] == "fail"
    for limit in summary.limits:
        assert limit.sensitivity is not None
        assert limit.sensitivity.settled or limit.conformance.verdict == "pass"
    # What it takes for granted it says: nothing but that a driver lets off where the nose would lift.
    assert not summary.warnings
    (caution,) = summary.cautions_of_cars
    assert "ease off when the front wheels lift" in in_unit(caution)
