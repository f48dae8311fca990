"""Safety limits that seldom fail: their probability against closed forms, and the most likely failing car."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from study_help import DEMO, HEAVY, uncounted

from explorer.analyses.rare_failures import search_rare_failures, seldom_failing
from explorer.analyses.verdicts import judge_outcome
from explorer.engine.execution import Execution
from explorer.engine.montecarlo import run_montecarlo
from explorer.estimators.conformance import judge_margins
from explorer.estimators.rare import COUNTED
from explorer.study.study import Study, load_study

Writer = Callable[..., Path]


def study_with(small_study: Writer, sigmas: float) -> Study:
    """Weight is exactly normal: mean 5 kg, standard deviation 0.1 kg, times g."""
    return load_study(small_study(limits=HEAVY.format(bound=(5 + 0.1 * sigmas) * 9.80665)))


@pytest.mark.parametrize("sigmas", [3.5, 4.75])
def test_probability_of_a_normal_tail(sigmas: float, small_study: Writer) -> None:
    study = study_with(small_study, sigmas)
    found = search_rare_failures(study, uncounted(study.limits[1:]))[0].found
    truth = math.erfc(sigmas / math.sqrt(2)) / 2
    assert abs(math.log(found.probability / truth)) < 4 * found.variation
    assert found.variation < 0.1


def test_walks_that_start_from_the_run_find_the_same_with_fewer_cars(small_study: Writer) -> None:
    study = study_with(small_study, 4.0)
    outcome = run_montecarlo(study, samples=6400)
    seldom = uncounted(study.limits[1:])
    found = search_rare_failures(study, seldom, outcome=outcome)[0].found
    afresh = search_rare_failures(study, seldom)[0].found
    truth = math.erfc(4 / math.sqrt(2)) / 2
    assert abs(math.log(found.probability / truth)) < 4 * found.variation
    assert found.agree
    # The first, plain samples of its eight walks at least.
    assert found.evaluations <= afresh.evaluations - 8 * 400


def test_the_most_likely_failing_car_is_the_heavy_one(small_study: Writer) -> None:
    study = study_with(small_study, 4.0)
    (found,) = search_rare_failures(study, uncounted(study.limits[1:]))
    (culprit,) = found.culprits
    assert culprit.key == "mass"
    assert culprit.value == pytest.approx(5.4, abs=0.02)
    assert culprit.score == pytest.approx(4.0, abs=0.2)


def test_only_safety_limits_that_hardly_fail_are_searched(small_study: Writer) -> None:
    study = study_with(small_study, 4.0)
    outcome = run_montecarlo(study)
    judged = judge_outcome(study.limits, outcome).limits
    assert [limit.name for limit in seldom_failing(study, judged)] == ["not too heavy"]


def test_limits_searched_side_by_side_give_the_same_numbers() -> None:
    study = load_study(DEMO)
    limits = [limit for limit in study.limits if limit.safety][:2]
    alone = search_rare_failures(study, uncounted(limits))
    reports: list[tuple[int, int]] = []
    beside = search_rare_failures(
        study,
        uncounted(limits),
        execution=Execution(workers=2, progress=lambda stage, done, total: reports.append((done, total))),
    )
    assert beside == alone
    assert reports == [(1, 2), (2, 2)]


CORRELATED = """
[[limits]]
name = "steers"
quantity = "front_static_load"
condition = "rest"
at_least = "18.9 N"
safety = true

[[correlations]]
between = ["{}", "{}"]
value = -0.8
source = "invented"
"""


def test_the_way_to_the_failure_is_shared_alike_in_whatever_order_inputs_are_correlated(
    small_study: Writer,
) -> None:
    found = []
    for pair in (("mass", "cg_station"), ("cg_station", "mass")):
        study = load_study(small_study(limits=CORRELATED.format(*pair)))
        (record,) = search_rare_failures(study, uncounted(study.limits[1:]))
        found.append({one.key: (one.share, one.score) for one in record.culprits})
    assert found[0].keys() == found[1].keys() == {"mass", "cg_station"}
    for key, (share, spreads) in found[0].items():
        assert found[1][key] == (pytest.approx(share, abs=0.02), pytest.approx(spreads, abs=0.1))
    assert sum(share for share, _ in found[0].values()) == pytest.approx(1)


def test_what_the_run_counted_is_held_against_the_search(small_study: Writer) -> None:
    study = study_with(small_study, 4.0)
    (limit,) = study.limits[1:]
    margins = np.ones(10_000)
    margins[:30] = -1.0
    (record,) = search_rare_failures(study, {limit: judge_margins(margins, limit.probability)})
    found = record.found
    assert (found.probability, found.method, found.agree) == (0.003, COUNTED, False)
    assert "30 of the run's own 10000 cars fail" in found.note
    assert found.low < 0.003 < found.high
