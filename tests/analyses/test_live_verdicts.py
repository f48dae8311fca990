"""Verdicts that firm up: the numbers of a run, at every step, and nothing computed for who has left."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from study_help import DEMO, HEAVY, SMALL

from explorer.analyses.live_verdicts import live_verdicts
from explorer.analyses.verdicts import judge_outcome
from explorer.desk.rows import rows
from explorer.engine import known_outputs
from explorer.engine.known_outputs import KnownOutputs
from explorer.engine.montecarlo import run_montecarlo
from explorer.engine.plan import CHUNK, Plan
from explorer.graph.arrays import Array
from explorer.study.study import Study, load_study

Evaluated = list[tuple[int, set[tuple[str, str]]]]


@pytest.fixture
def evaluated(monkeypatch: pytest.MonkeyPatch) -> Evaluated:
    """List every evaluation: of how many cars, and what of them."""
    done: Evaluated = []
    evaluate = Plan.evaluate

    def counted(plan: Plan, drawn: dict[str, Array]) -> object:
        done.append((next(iter(drawn.values())).size, set(plan.program.outputs)))
        return evaluate(plan, drawn)

    monkeypatch.setattr(Plan, "evaluate", counted)
    return done


@pytest.fixture
def small(tmp_path: Path) -> Study:
    (tmp_path / "study.toml").write_text(SMALL.format(inputs="", conditions="", limits=""))
    return load_study(tmp_path)


# So near what is asked that no number of cars drawn here decides it.
OPEN = HEAVY.format(bound=50.646)


@pytest.fixture
def one_open(tmp_path: Path) -> Study:
    (tmp_path / "study.toml").write_text(SMALL.format(inputs="", conditions="", limits=OPEN))
    return load_study(tmp_path)


def test_every_standing_is_that_of_a_run_of_as_many_cars(one_open: Study) -> None:
    seen = list(live_verdicts(one_open, first=500, most=2 * CHUNK + 1000))
    assert [one.cars for one in seen] == [500, 2000, 8000, CHUNK, 2 * CHUNK, 2 * CHUNK + 1000]
    assert [one.over for one in seen] == [False] * 5 + [True]
    for one in seen:
        expected = judge_outcome(one_open.limits, run_montecarlo(one_open, samples=one.cars, keep=False))
        if one.cars <= CHUNK:
            assert one.verdicts == expected
        assert one.verdicts.limits[1] == expected.limits[1]


def test_more_cars_are_drawn_only_for_what_is_open(one_open: Study, evaluated: Evaluated) -> None:
    *_, first, second, last = live_verdicts(one_open, most=2 * CHUNK + 1000)
    assert [one.verdict for one in first.verdicts.limits] == ["pass", "undecided"]
    for later in (second, last):
        assert later.verdicts.limits[0] == first.verdicts.limits[0]
        assert [one.trials for one in later.verdicts.limits] == [CHUNK, later.cars]
    assert [pairs for size, pairs in evaluated if size in (CHUNK, 1000)] == [{("weight", "rest")}] * 2
    assert [row.cars for row in rows(one_open, last, {}, {}, 0)] == ["16\u202f384", ""]


def test_what_is_decided_of_all_limits_ends_it(small: Study) -> None:
    *_, last = live_verdicts(small, most=20 * CHUNK)
    assert (last.cars, last.over) == (CHUNK, True)


def test_the_demo_stands_as_its_run_does() -> None:
    study = load_study(DEMO)
    standing = next(live_verdicts(study))
    outcome = run_montecarlo(study, samples=standing.cars, keep=False)
    assert standing.verdicts == judge_outcome(study.limits, outcome)


def test_a_scrambled_design_begins_and_ends_as_its_runs_do(small: Study) -> None:
    scrambled = replace(small, design="sobol")
    first, *_, last = live_verdicts(scrambled, first=2000, most=20_000)
    for one, asked in ((first, 2000), (last, 20_000)):
        outcome = run_montecarlo(scrambled, samples=asked, keep=False)
        assert one.cars == outcome.samples
        assert one.verdicts == judge_outcome(scrambled.limits, outcome)
    assert not first.over
    assert last.over


def test_few_cars_are_one_standing(small: Study) -> None:
    assert [one.cars for one in live_verdicts(small, first=2000, most=1000)] == [1000]


EDGE = {("rear_floor_edge_clearance", "closed")}
# What is changed in the demo, and what is evaluated for it: None stands for what need not be told.
CHANGES = {
    "a bound": ('at_least = "3.4 N"', 'at_least = "3.6 N"', set()),
    "a source": ("invented: kitchen scales, two batteries", "weighed", set()),
    "a value of one limit": ("mean = 12, sd = 1", "mean = 11, sd = 1", EDGE),
    "what no limit reads": ("mean = 9, sd = 1", "mean = 9, sd = 2", set()),
    "a kind": ("{ mean = 12, sd = 1, unit", "{ low = 10, high = 14, unit", EDGE),
    "a value of all": ("mean = 4.60, sd = 0.03", "mean = 4.70, sd = 0.03", None),
    "a number in a condition": ('speed = "55 m/s"', 'speed = "54 m/s"', None),
    "the seed": ("seed = ", "seed = 1", None),
    "a correlation": (
        "[conditions.closed]",
        '[[correlations]]\nbetween = ["mass", "cg_station"]\nvalue = 0.5\nsource = "test"\n\n'
        "[conditions.closed]",
        None,
    ),
}


def test_who_leaves_has_no_further_chunk_computed(small: Study, evaluated: Evaluated) -> None:
    standings = live_verdicts(small, first=500, most=20 * CHUNK)
    next(standings)
    standings.close()
    assert [size for size, _ in evaluated] == [500]


def test_each_car_is_evaluated_once(one_open: Study, evaluated: Evaluated) -> None:
    *_, last = live_verdicts(one_open, first=500, most=2 * CHUNK + 1000)
    assert sum(size for size, _ in evaluated) == last.cars


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_evaluates_only_what_it_reaches(change: str, evaluated: Evaluated) -> None:
    known, text = KnownOutputs(), (DEMO / "study.toml").read_text()
    before, after, reached = CHANGES[change]
    (first,) = live_verdicts(load_study(DEMO), most=200, known=known)
    evaluated.clear()
    changed = load_study(DEMO, text=text.replace(before, after))
    (second,) = live_verdicts(changed, most=200, known=known)
    if reached is not None:
        assert set().union(*(pairs for _, pairs in evaluated)) == reached
    assert (second,) == tuple(live_verdicts(changed, most=200))
    assert (first == second) == (change in ("a source", "what no limit reads"))
    evaluated.clear()
    assert (first,) == tuple(live_verdicts(load_study(DEMO), most=200, known=known))
    assert evaluated == []


def test_what_is_known_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(known_outputs, "MOST_BYTES", 3 * 80)
    known = KnownOutputs()
    for name in "abc":
        known.keep((name, "random", 0), np.zeros(10))
    assert known.first(("a", "random", 0)).size == 10
    known.keep(("d", "random", 0), np.zeros(10))
    assert [known.first((name, "random", 0)).size for name in "abcd"] == [10, 0, 10, 10]


def test_one_of_many_values_is_told_apart(tmp_path: Path, evaluated: Evaluated) -> None:
    """A look at a hundred places of a distribution does not show it, a sample of cars does."""
    weighed = [round(4.8 + 0.0008 * place, 4) for place in range(500)]
    known, found = KnownOutputs(), []
    for values in (weighed, [*weighed[:251], 4.9, *weighed[252:]]):
        entry = f'{{ distribution = "empirical", values = {values}, unit = "kg" }}'
        text = SMALL.format(inputs="", conditions="", limits=OPEN)
        text = text.replace('{ mean = 5.0, sd = 0.1, unit = "kg", source = "test" }', entry)
        (tmp_path / "study.toml").write_text(text)
        found += live_verdicts(load_study(tmp_path), most=500, known=known)
    assert [size for size, _ in evaluated] == [500, 500]
    assert found[0] != found[1]
