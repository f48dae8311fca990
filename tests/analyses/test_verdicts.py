"""Drawing until the limits are decided: no more than it takes, and never surer than it may be."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from study_help import Answer

from explorer.engine.execution import Execution
from explorer.engine.plan import CHUNK
from explorer.pipeline import run
from explorer.study.study import Study, load_study

Cli = Callable[..., Answer]
Writer = Callable[..., Path]


def with_probability(small_study: Writer, required: float) -> Study:
    """Ask for another probability: the limit holds in 57 cars of 100, or thereabouts."""
    study = load_study(small_study())
    return replace(study, limits=(replace(study.limits[0], probability=required),))


def test_an_easy_question_is_decided_at_the_first_look(small_study: Writer) -> None:
    results = run(with_probability(small_study, 0.3), samples=1_000_000, until_decided=True)
    assert results.summary.verdict == "pass"
    assert results.summary.reproduction.samples == CHUNK


@pytest.mark.long
def test_a_close_question_takes_more_and_states_a_higher_confidence(small_study: Writer) -> None:
    easy = run(with_probability(small_study, 0.3), samples=1_000_000, until_decided=True)
    truth = easy.summary.limits[0].conformance.probability
    close = run(with_probability(small_study, truth - 0.005), samples=1_000_000, until_decided=True)
    assert close.summary.verdict == "pass"
    assert easy.summary.reproduction.samples < close.summary.reproduction.samples < 1_000_000
    assert close.summary.limits[0].conformance.confidence > 0.975


@pytest.mark.long
def test_a_question_on_the_line_stops_at_the_cap(small_study: Writer) -> None:
    easy = run(with_probability(small_study, 0.3), samples=200_000)
    truth = easy.summary.limits[0].conformance.probability
    stuck = run(with_probability(small_study, truth), samples=200_000, until_decided=True)
    assert stuck.summary.verdict == "undecided"


def test_the_same_stop_for_any_number_of_workers(small_study: Writer) -> None:
    study = with_probability(small_study, 0.55)
    one, four = (
        run(study, samples=400_000, until_decided=True, execution=Execution(workers=n)) for n in (1, 4)
    )
    assert one.summary.limits == four.summary.limits
    assert one.samples is not None
    assert four.samples is not None
    np.testing.assert_array_equal(one.samples.to_numpy(), four.samples.to_numpy())


def test_from_the_command_line(small_study: Writer, squatline: Cli) -> None:
    answer = squatline("run", small_study(), "--until", "decided", "--json", "--no-report")
    assert json.loads(answer.out)["samples"] == pytest.approx(CHUNK)
    wrong = squatline("run", small_study(), "--until", "tired")
    assert wrong.status == 2
    assert "allowed: decided" in wrong.err
