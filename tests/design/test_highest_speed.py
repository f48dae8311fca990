"""Highest conforming speed: against roots found separately, and a steps that stays below it."""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from design_help import write_known
from scipy.optimize import brentq
from scipy.special import ndtr
from scipy.stats import norm
from statistics_help import within
from study_help import DEMO, Answer

from explorer.design.evaluator import set_up
from explorer.design.highest_speed import LOOK_AFTER_EACH, run_highest_speed
from explorer.design.objectives import read_objectives
from explorer.design.variables import read_variables
from explorer.engine.execution import Execution
from explorer.engine.plan import chunk_sizes, make_plan
from explorer.errors import SquatlineError
from explorer.estimators.conformance import judge_margins
from explorer.graph.program import Call
from explorer.results.exploration import HighestSpeeds
from explorer.study.builds import AS_IT_STANDS, find_build
from explorer.study.distributions import Exact
from explorer.study.study import Input, Study, load_study
from reports.sections.speed_steps import headline, state_headline
from reports.terminal import words

SAMPLES = 20_000
STRENGTH = 'strength = { mean = 20.0, sd = 2.0, source = "test" }\n'
HOLD = """
[[limits]]
name = "hold"
quantity = "hold"
condition = "run"
at_least = 0
probability = 0.95
safety = true
"""
DESIGN = """
[design.across]
low = 0
high = 3
[design.up]
low = 0
high = 3
[[objectives]]
quantity = "total"
condition = "run"
"""
SHAKE = """
[[limits]]
name = "shake"
quantity = "shake_speed"
condition = "run"
at_least = "40 m/s"
probability = 0.99
safety = true
"""


def known(folder: Path, rest: str, **changes: str) -> Study:
    return load_study(write_known(folder, rest, inputs=STRENGTH, **changes), allow_code=True)


def speeds_of(study: Study, build: str | None = None) -> HighestSpeeds:
    found = run_highest_speed(study, find_build(study, build), Execution())
    assert found is not None
    return found


def test_the_speed_is_the_root_of_the_conforming_probability(tmp_path: Path) -> None:
    (state,) = speeds_of(known(tmp_path, HOLD)).states
    # Strength is N(20, 2) and is used up by 0.01 v^2: a root found on the normal distribution itself.
    root = brentq(lambda v: float(ndtr((20 - 0.01 * v**2) / 2)) - 0.95, 10, 60)
    # The quantile's error turned into speed by the slope 0.02 v.
    error = 2 * math.sqrt(0.95 * 0.05 / SAMPLES) / float(norm.pdf(norm.ppf(0.95))) / (0.02 * root)
    assert state.speed is not None
    assert within(state.speed, root, error)
    assert state.sure is not None
    assert state.possible is not None
    assert state.sure < state.speed < state.possible
    # The interval is the one of 95 %: 1.96 errors on each side.
    assert state.possible - state.sure == pytest.approx(2 * 1.96 * error, rel=0.15)
    assert state.held_back_by == "hold"
    assert (state.limits[0].how, state.to_the_end) == ("at each speed", False)


def test_a_sure_limit_is_held_by_cars_and_not_by_the_average(tmp_path: Path) -> None:
    surely = HOLD.replace("probability = 0.95", "probability = 0.9\nsure = 0.8")
    day = '[model_errors]\nhold = { offset = { mean = 0, sd = 3, varies = true }, source = "test" }\n'
    (state,) = speeds_of(known(tmp_path, surely + day)).states
    # A car holds it often enough where its N(20, 2) reaches 0.01 v^2 and 1.28 of the day's 3.
    root = math.sqrt((20 - 3 * norm.ppf(0.9) - 2 * norm.ppf(0.8)) / 0.01)
    # Of 256 cars the fifth from below, and of 64 days the tenth, which scatters each car a little more.
    error = 2 * math.sqrt(0.2 * 0.8 / 256) / float(norm.pdf(norm.ppf(0.8))) / (0.02 * root)
    assert state.speed is not None
    assert within(state.speed, root, 1.2 * error)
    assert state.sure is not None
    assert state.possible is not None
    assert state.sure < root < state.possible
    assert state.limits[0].required == 0.8


def test_a_critical_speed_must_reach_the_speed_tried(tmp_path: Path) -> None:
    (state,) = speeds_of(known(tmp_path, SHAKE)).states
    root = 45 + 2 * float(norm.ppf(0.01))
    error = 2 * math.sqrt(0.99 * 0.01 / SAMPLES) / float(norm.pdf(norm.ppf(0.01)))
    assert state.speed is not None
    assert within(state.speed, root, error)
    assert state.limits[0].how == "must reach the speed"


def test_what_knows_no_speed_is_evaluated_once_for_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    study, calls, evaluate = known(tmp_path, HOLD + SHAKE), Counter[str](), Call.run

    def counted(call: Call, values: Mapping[int, Any]) -> Any:
        calls[call.name] += 1
        return evaluate(call, values)

    monkeypatch.setattr(Call, "run", counted)
    speeds_of(study)
    # A chunk and a rest, once for the speeds; at each of 41 of them and more what hangs on it.
    assert calls["shake_speed"] <= 4
    assert calls["hold"] > 2 * 41


def test_what_is_evaluated_once_leaves_every_bit_as_it_was(tmp_path: Path) -> None:
    study = known(tmp_path, DESIGN)
    evaluator = set_up(study, read_variables(study), samples=SAMPLES, objectives=read_objectives(study))
    for point in ((0.5, 1.0), (2.0, 0.25)):
        drawn = [evaluator.plan.random_chunk(index, size) for index, size in enumerate(chunk_sizes(SAMPLES))]
        chosen = {
            variable.given.key: variable.at(value, None)
            for variable, value in zip(evaluator.variables, point, strict=True)
        }
        for once, anew in zip(evaluator.outcomes(point), drawn, strict=True):
            whole = evaluator.plan.evaluate({**anew, **chosen})
            assert once.keys() == whole.keys()
            assert all(np.array_equal(once[pair], whole[pair]) for pair in whole)


def test_the_first_limit_to_give_way_decides(tmp_path: Path) -> None:
    both = speeds_of(known(tmp_path, HOLD + SHAKE)).states[0]
    assert both.held_back_by == "shake"
    assert both.speed == pytest.approx(speeds_of(known(tmp_path, SHAKE)).states[0].speed, abs=0.02)
    assert [limit.name for limit in both.limits] == ["hold", "shake"]
    assert both.limits[0].up_to == speeds_of(known(tmp_path, HOLD)).states[0].speed
    assert both.limits[1].up_to == pytest.approx(both.speed, abs=0.02)
    falling = np.array(both.together)
    assert np.all(np.diff(falling) <= 0)


def test_a_limit_that_fails_at_any_speed_leaves_none(tmp_path: Path) -> None:
    broken = HOLD.replace('"hold"', '"strength"').replace('name = "strength"', 'name = "broken"')
    found = speeds_of(known(tmp_path, HOLD + broken.replace("at_least = 0", "at_least = 25")))
    (state,) = found.states
    assert (state.speed, state.sure, state.steps) == (None, None, ())
    assert "at no speed are all safety limits met; “broken” already fails at 10\xa0m/s" in words(
        state_headline(state, "m/s")
    )
    assert state.limits[0].up_to == pytest.approx(40.9, abs=0.2)
    assert state.limits[1].up_to is None
    assert {limit.how for limit in state.limits} == {"at each speed", "at any speed"}


def test_limits_that_hold_everywhere_hold_to_the_end_of_the_search(tmp_path: Path) -> None:
    rest = HOLD + '[highest_speed]\nfrom = "5 m/s"\nto = "20 m/s"\n'
    (state,) = speeds_of(known(tmp_path, rest)).states
    assert (state.speed, state.to_the_end, state.held_back_by) == (20.0, True, None)
    assert "where the search ends" in words(state_headline(state, "m/s"))


def test_the_speed_steps_stay_below_and_rises_by_equal_air_loads(tmp_path: Path) -> None:
    found = speeds_of(known(tmp_path, HOLD))
    (state,) = found.states
    assert state.sure is not None
    assert len(state.steps) == 5
    loads = [step.speed**2 for step in state.steps]
    assert np.diff(loads) == pytest.approx([loads[0]] * 4)
    assert state.steps[-1].speed == pytest.approx(state.sure * math.sqrt(0.9))
    assert state.steps[-1].load_share == pytest.approx(0.9)
    assert all(step.holds >= 0.95 for step in state.steps)
    (expected,) = state.steps[2].expectations
    assert expected.quantity == "hold"
    middle = 20 - 0.01 * state.steps[2].speed ** 2
    assert within(expected.middle, middle, 1.2533 * 2 / math.sqrt(16_384))
    assert within(expected.high - expected.low, 2 * 1.6449 * 2, 0.06)
    assert found.look_after_each == LOOK_AFTER_EACH
    assert words(headline(found.states, "m/s")).endswith("A prediction, never a clearance.")
    assert "km/h" in words(headline(found.states, "km/h"))


def test_flap_states_are_told_apart_and_one_without_a_limit_is_named(tmp_path: Path) -> None:
    conditions = '\n[conditions.flat]\nspeed = "10 m/s"\nflap_opening = 1\n'
    found = speeds_of(known(tmp_path, HOLD, conditions=conditions))
    assert [state.words for state in found.states] == ["flap closed"]
    assert found.notes == ("flap open: no safety limit is set, so no highest speed follows",)
    both = HOLD + HOLD.replace('name = "hold"', 'name = "flat"').replace('"run"', '"flat"')
    states = speeds_of(known(tmp_path, both, conditions=conditions)).states
    assert [state.flap_opening for state in states] == [0.0, 1.0]
    assert states[0].speed == states[1].speed


def test_a_candidate_has_speeds_of_its_own(tmp_path: Path) -> None:
    study = known(tmp_path, HOLD + "[candidates.strong]\nstrength = 40.0\n")
    (state,) = speeds_of(study, "strong").states
    assert state.speed == pytest.approx(math.sqrt(40 / 0.01), abs=0.02)
    (plain,) = speeds_of(study).states
    assert plain.speed is not None
    assert plain.speed < 45


@pytest.mark.long
def test_the_demo_speed_separates_passing_from_failing() -> None:
    study = load_study(DEMO)
    found = speeds_of(study)
    state = found.states[0]
    assert state.sure is not None
    assert state.possible is not None
    limits = [limit for limit in study.limits if limit.name in {one.name for one in state.limits}]
    moving = {one.name: one.how for one in state.limits}

    def verdicts(speed: float) -> set[str]:
        """Judge the safety limits of that state at one speed, through the plain engine."""
        given = Input("speed", "speed", Exact(speed), "m/s")
        scopes = {name: {**study.given_in(name), "speed": given} for name in study.conditions}
        plan = make_plan(study, [limit.output.pairs[0] for limit in limits], scopes=scopes)
        parts = [plan.evaluate(plan.random_chunk(i, n)) for i, n in ((0, 16_384), (1, SAMPLES - 16_384))]
        judged = set()
        for limit in limits:
            value = np.concatenate([part[limit.output.pairs[0]] for part in parts])
            bound = speed if moving[limit.name] == "must reach the speed" else limit.low
            margin = np.minimum(value - bound, limit.high - value)
            judged.add(judge_margins(margin, limit.probability).verdict)
        return judged

    assert verdicts(state.sure - 0.05) == {"pass"}
    assert "fail" in verdicts(state.possible + 0.05)
    if state.speed is not None and not state.to_the_end:
        assert "fail" not in verdicts((state.sure + state.possible) / 2)


def test_without_safety_limits_no_speed_follows(tmp_path: Path) -> None:
    study = load_study(write_known(tmp_path), allow_code=True)
    assert run_highest_speed(study, AS_IT_STANDS, Execution()) is None


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('from = "30 m/s"\nto = "20 m/s"\n', "the range of speeds is empty"),
        ('to = "20 kg"\n', "highest_speed"),
        ('to = "-5 m/s"\n', "the range of speeds is empty"),
    ],
)
def test_an_impossible_range_is_told(text: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(SquatlineError, match=words) as caught:
        speeds_of(known(tmp_path, HOLD + "[highest_speed]\n" + text))
    assert "study.toml" in str(caught.value)


def test_the_command_prints_the_speed_steps(tmp_path: Path, squatline: Callable[..., Answer]) -> None:
    folder = write_known(tmp_path, HOLD, inputs=STRENGTH, samples=500)
    answer = squatline("explore", folder, "--allow-code", "--no-report", "--only", "speed")
    assert answer.status == 0, answer.err
    for said in (
        "Flap closed: all safety limits are met up to",
        "never a clearance",
        "Steps, and what nine cars in ten would show",
    ):
        assert said in answer.out
    record = json.loads((folder / "results" / "highest_speed.json").read_text())
    assert record["states"][0]["steps"][0]["load_share"] == pytest.approx(0.18)
