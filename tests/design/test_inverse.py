"""Inverse questions: edges against closed forms, what to choose, and saying when nothing is enough."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from design_help import write_known
from scipy.stats import norm
from statistics_help import within

from explorer.design.inverse import choice, prepare_question, run_question
from explorer.engine.execution import Execution
from explorer.estimators.design_space import Edge, Stretch
from explorer.estimators.ranges import Range
from explorer.results.exploration import AnswerRecord
from explorer.study.builds import AS_IT_STANDS
from explorer.study.study import load_study
from reports.sections.design import answer_headline
from reports.terminal import words

SAMPLES = 20_000
ERROR = 0.2 * math.sqrt(0.95 * 0.05 / SAMPLES) / float(norm.pdf(norm.ppf(0.95)))
"""Standard error of the 5 % quantile of N(3, 0.2)."""


def answer(folder: Path, design: str, question: str) -> AnswerRecord:
    study = load_study(write_known(folder, f"[design.{design}\n[[questions]]\n{question}\n"), allow_code=True)
    prepared = prepare_question(study, AS_IT_STANDS, 0)
    return run_question(prepared, Execution())


def test_at_most(tmp_path: Path) -> None:
    found = answer(tmp_path, "across]\nlow = 0\nhigh = 5\n", 'vary = "across"\nlimit = "across"')
    (stretch,) = found.stretches
    truth = 3 - 0.2 * float(norm.ppf(0.95))
    assert within(stretch.high.value, truth, ERROR)
    assert stretch.low.at_end
    assert stretch.high.sure is not None
    assert stretch.high.possible - stretch.high.sure == pytest.approx(2 * 1.96 * ERROR, rel=0.2)
    # It is zero as it stands, which is enough.
    assert found.choose == 0.0
    assert "at most 2.6" in words(answer_headline(found)) or "at most 2.7" in words(answer_headline(found))
    assert "it is enough as it is" in words(answer_headline(found))
    assert [(one.name, one.verdict) for one in found.others] == [("up", "pass")]
    assert found.probabilities[0] == 1.0


def test_at_least_with_steps_chooses_what_can_be_had(tmp_path: Path) -> None:
    # "first" keeps its spread of 0.2 around the value chosen, and must stay above zero in 95 of 100.
    found = answer(tmp_path, "first]\nlow = -1\nhigh = 2\nstep = 0.25\n", 'vary = "first"\nlimit = "across"')
    (stretch,) = found.stretches
    assert within(stretch.low.value, 0.2 * float(norm.ppf(0.95)), ERROR)
    # What the build has, 3, lies outside the range; the nearest that can be had inside is its end.
    assert found.choose == 2.0
    assert found.variable.now == 3.0
    assert "at least 0.3" in words(answer_headline(found))


def test_scaled_and_without_spread(tmp_path: Path) -> None:
    scaled = answer(
        tmp_path,
        'first]\nlow = 0.1\nhigh = 6\nspread = "scaled"\n',
        'vary = "first"\nlimit = "across"\nsamples = 20000',
    )
    # Scaled in proportion, N(3, 0.2) stays above zero at any size.
    assert scaled.stretches[0].low.at_end
    assert "any value from 0.1 to 6 is enough" in words(answer_headline(scaled))
    exact = answer(
        tmp_path, 'first]\nlow = -1\nhigh = 2\nspread = "none"\n', 'vary = "first"\nlimit = "across"'
    )
    assert exact.stretches[0].low.value == pytest.approx(0.0, abs=1e-3)


def test_when_no_value_is_enough_it_says_so(tmp_path: Path) -> None:
    found = answer(
        tmp_path,
        "across]\nlow = 2.9\nhigh = 4\n",
        'ask = "How far across may it be?"\nvary = "across"\nlimit = "across"',
    )
    assert found.ask == "How far across may it be?"
    assert found.stretches == ()
    assert found.choose is None
    assert found.others == ()
    assert found.best == pytest.approx(2.9)
    share = float(norm.cdf(0.5))
    assert within(found.best_probability, share, math.sqrt(share * (1 - share) / SAMPLES))
    said = words(answer_headline(found))
    assert said.startswith("No across between 2.9 and 4 is enough; at best 69")


def test_the_other_limits_are_told_at_the_choice(tmp_path: Path) -> None:
    found = answer(tmp_path, "up]\nlow = 4\nhigh = 5.5\n", 'vary = "up"\nlimit = "across"')
    # At 4 the first limit still holds (3 - 2 = 1 left), the second is long broken (2.5 - 4).
    assert found.choose == 4.0
    (other,) = found.others
    assert (other.name, other.verdict) == ("up", "fail")
    assert other.probability < 0.001


def test_a_choice_lies_inside_what_is_sure() -> None:
    def edge(value: float, sure: float | None) -> Edge:
        return Edge(value, sure, value, False)

    two = [Stretch(edge(1, 1.1), edge(2, 1.9)), Stretch(edge(4, 4.2), edge(6, 5.8))]
    assert choice(Range(0, 9), 3.0, two) == pytest.approx(1.9)
    assert choice(Range(0, 9), 3.3, two) == pytest.approx(4.2)
    assert choice(Range(0, 9), 5.0, two) == 5.0
    assert choice(Range(0, 9, 0.5), 3.3, two) == 4.5
    assert choice(Range(0, 9, 3), 3.3, two) is None
    assert choice(Range(0, 9), None, two) == pytest.approx(4.5)
    assert choice(Range(0, 9), 3.0, [Stretch(edge(1, None), edge(2, None))]) is None
