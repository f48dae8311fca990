"""Safety limits that seldom fail: their probability against closed forms, and the most likely failing car."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest
from study_help import DEMO

from explorer.analyses.rare_failures import search_rare_failures, seldom_failing
from explorer.analyses.verdicts import judge_outcome
from explorer.engine.montecarlo import run_montecarlo
from explorer.study.study import Study, load_study

Writer = Callable[..., Path]

HEAVY = """
[[limits]]
name = "not too heavy"
quantity = "weight"
condition = "rest"
at_most = "{bound} N"
safety = true
"""


def study_with(small_study: Writer, sigmas: float) -> Study:
    """Weight is exactly normal: mean 5 kg, standard deviation 0.1 kg, times g."""
    return load_study(small_study(limits=HEAVY.format(bound=(5 + 0.1 * sigmas) * 9.80665)))


@pytest.mark.parametrize("sigmas", [3.5, 4.75])
def test_probability_of_a_normal_tail(sigmas: float, small_study: Writer) -> None:
    study = study_with(small_study, sigmas)
    (found,) = search_rare_failures(study, study.limits[1:])
    truth = math.erfc(sigmas / math.sqrt(2)) / 2
    assert abs(math.log(found.probability / truth)) < 4 * found.variation
    assert found.variation < 0.1


def test_the_most_likely_failing_car_is_the_heavy_one(small_study: Writer) -> None:
    study = study_with(small_study, 4.0)
    (found,) = search_rare_failures(study, study.limits[1:])
    (culprit,) = found.culprits
    assert culprit.key == "mass"
    assert culprit.value == pytest.approx(5.4, abs=0.02)
    assert culprit.spreads == pytest.approx(4.0, abs=0.2)


def test_only_safety_limits_that_hardly_fail_are_searched(small_study: Writer) -> None:
    study = study_with(small_study, 4.0)
    outcome = run_montecarlo(study)
    judged = judge_outcome(study.limits, outcome).limits
    assert [limit.name for limit in seldom_failing(study, judged)] == ["not too heavy"]


def test_limits_searched_side_by_side_give_the_same_numbers() -> None:
    study = load_study(DEMO)
    limits = [limit for limit in study.limits if limit.safety][:2]
    alone = search_rare_failures(study, limits)
    reports: list[tuple[int, int]] = []
    beside = search_rare_failures(
        study, limits, workers=2, progress=lambda stage, done, total: reports.append((done, total))
    )
    assert beside == alone
    assert reports == [(1, 2), (2, 2)]
