"""Whether figures stand still: many samples settle them, few do not, and what it takes is said."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from study_help import Answer

from explorer.analyses.convergence import Steady, convergence_of
from explorer.analyses.verdicts import Looks
from explorer.engine.execution import Execution
from explorer.engine.montecarlo import AllOf, run_montecarlo
from explorer.engine.plan import CHUNK
from explorer.pipeline import run
from explorer.results.records import Convergence
from explorer.study.study import load_study

Writer = Callable[..., Path]
Cli = Callable[..., Answer]


def test_more_samples_settle_more_figures(small_study: Writer) -> None:
    study = load_study(small_study())
    few = convergence_of(run_montecarlo(study, samples=40_000))
    many = convergence_of(run_montecarlo(study, samples=1_000_000))
    assert few is not None
    assert few.open == ("front_static_load | rest",)
    assert few.samples_needed > 40_000
    assert many == Convergence(("front_static_load | rest",), (), 0)


def test_one_batch_says_nothing(small_study: Writer) -> None:
    assert convergence_of(run_montecarlo(load_study(small_study()), samples=15_000)) is None


def test_a_run_goes_on_until_its_figures_stand_still(small_study: Writer) -> None:
    study = load_study(small_study())
    found = run_montecarlo(study, samples=4_000_000, until=Steady(4_000_000), keep=False)
    assert 3 * CHUNK <= found.samples < 1_000_000
    assert convergence_of(found) == Convergence(("front_static_load | rest",), (), 0)
    # One chunk fewer, and they did not: it stopped where it could, not later.
    before = run_montecarlo(study, samples=found.samples - CHUNK, keep=False)
    earlier = convergence_of(before)
    assert earlier is not None
    assert earlier.open == ("front_static_load | rest",)
    again = run_montecarlo(
        study, samples=4_000_000, until=Steady(4_000_000), keep=False, execution=Execution(workers=3)
    )
    assert again.samples == found.samples
    # The promise kept: mean and spread of the front load, m g (1 - x / L), in closed form.
    mean, arm, gravity = 5.0, 1 - 190 / 360, 9.80665
    sd = gravity * np.sqrt((0.1 * arm) ** 2 + (mean * 5 / 360) ** 2 + (0.1 * 5 / 360) ** 2)
    (tally,) = found.tallies
    tolerance = 0.005 if sd < 1 else 0.05
    assert tally.mean == pytest.approx(mean * gravity * arm, abs=2 * tolerance)
    assert tally.sd == pytest.approx(sd, abs=2 * tolerance)


def test_a_cap_ends_it_with_figures_still_open(small_study: Writer) -> None:
    found = run_montecarlo(load_study(small_study()), samples=2 * CHUNK, until=Steady(2 * CHUNK))
    assert found.samples == 2 * CHUNK
    capped = convergence_of(found)
    assert capped is not None
    assert capped.open


@pytest.mark.long
def test_both_rules_hold_where_both_are_given(small_study: Writer) -> None:
    study = load_study(small_study())
    decided, steady, both = (
        run(study, samples=2_000_000, until_decided=d, until_steady=s).summary
        for d, s in ((True, False), (False, True), (True, True))
    )
    least = max(decided.reproduction.samples, steady.reproduction.samples)
    assert both.reproduction.samples == least
    assert both.convergence is not None
    assert both.convergence.open == ()
    assert all(limit.conformance.verdict != "undecided" for limit in both.limits)


def test_rules_together_remember_each_their_own() -> None:
    rules = AllOf((Looks((), 10, count=3, due=70), Steady(10)), [False, True])
    fresh = AllOf((Looks((), 10), Steady(10)), [False, False])
    fresh.recall(rules.memory)
    assert fresh == rules
    assert fresh.name == "decided, 10 at the most and steady, 10 at the most"


@pytest.mark.long
def test_from_the_command_line(squatline: Cli, small_study: Writer) -> None:
    answer = squatline("run", small_study(), "--until", "steady", "--no-report", "--json")
    assert json.loads(answer.out)["samples"] > 2 * CHUNK
    wrong = squatline("run", small_study(), "--until", "bored")
    assert wrong.status == 2
    assert "decided, steady" in wrong.err
