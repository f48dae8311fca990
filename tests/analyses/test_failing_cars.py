"""Cars that miss a limit: who they are, and the likeliest of them against a closed form."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from study_help import HEAVY

from explorer.analyses.failing_cars import failing_cars, first_kept, most_in_the_way, nearest_car
from explorer.analyses.verdicts import judge_outcome
from explorer.engine.montecarlo import run_montecarlo
from explorer.study.study import Study, load_study

Writer = Callable[..., Path]

TOO_HEAVY = (
    HEAVY
    + """
[[limits]]
name = "light"
quantity = "weight"
condition = "rest"
at_most = "{bound} N"
"""
)


def study_with(small_study: Writer, sigmas: float) -> Study:
    """Weight is exactly normal: mean 5 kg, standard deviation 0.1 kg, times g."""
    return load_study(small_study(limits=TOO_HEAVY.format(bound=(5 + 0.1 * sigmas) * 9.80665)))


@pytest.mark.parametrize("sigmas", [1.5, -0.8])
def test_the_likeliest_car_on_the_other_side_lies_on_the_limit(sigmas: float, small_study: Writer) -> None:
    study = study_with(small_study, sigmas)
    found = nearest_car(study, study.limits[1])
    assert found is not None
    assert found.median_meets == (sigmas > 0)
    assert found.distance == pytest.approx(abs(sigmas), rel=0.01)
    (one,) = found.differences
    assert (one.key, one.median) == ("mass", pytest.approx(5.0))
    assert one.value == pytest.approx(5 + 0.1 * sigmas, abs=0.01)
    weight, bound = found.values["weight"], study.limits[1].high
    assert weight is not None
    assert (weight > bound) == (sigmas > 0)


def test_cars_that_miss_a_limit_are_told_from_the_rest(small_study: Writer) -> None:
    study = study_with(small_study, 1.0)
    outcome = run_montecarlo(study, samples=4000)
    kept = first_kept(outcome)
    described, together = failing_cars(study, kept)
    found = next(one for one in described if one.limit == "not too heavy")
    assert found.missing == int(np.sum(kept["weight | rest"] > study.limits[1].high))
    assert found.inputs[0].key == "mass"
    assert found.inputs[0].apart.shift > 1
    assert [part.missing for part in found.slices[:3]] == [0, 0, 0]
    assert together is not None
    first, other = (together.limits.index(name) for name in ("not too heavy", "light"))
    assert together.counts[first][other] == together.counts[first][first] == found.missing
    judged = judge_outcome(study.limits, outcome).limits
    assert most_in_the_way(study.limits, judged) == study.limits[1]


def test_without_kept_samples_nothing_is_described(small_study: Writer) -> None:
    study = study_with(small_study, 1.0)
    assert failing_cars(study, first_kept(run_montecarlo(study, samples=500, keep=False))) == ((), None)
