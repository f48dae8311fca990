"""What drives a limit and what to measure first, from few cars: a closed form, and the run's own weighing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from study_help import HEAVY, ROOT

from explorer.analyses.live_leads import CARS, live_leads
from explorer.analyses.live_verdicts import live_verdicts
from explorer.analyses.measurement_value import weigh_measurements
from explorer.analyses.ways_to_measure import ways_to_measure
from explorer.desk.rows import rows
from explorer.engine.montecarlo import run_montecarlo
from explorer.estimators.conformance import Verdict
from explorer.study.study import Study, load_study
from explorer.study.throttle import throttle_words
from tests.analyses.test_measurement_value import SCALES


@pytest.fixture
def study(small_study: Callable[..., Path]) -> Study:
    return load_study(small_study(limits=HEAVY.format(bound=50.5) + SCALES))


def test_drivers_come_first_and_have_the_shares_of_a_linear_margin(study: Study) -> None:
    """Closed form: the front's static load is nearly the product of mass and distance to the rear axle."""
    load, heavy, *weighed = live_leads(study)
    assert [one.limit for one in (load, heavy)] == [limit.name for limit in study.limits]
    assert not load.weighed
    mass, station = (0.1 / 5) ** 2, (5 / 170) ** 2
    (first, share), (second, _) = load.drivers
    assert (first, second) == ("cg_station", "mass")
    assert share.low < station / (mass + station) < share.high
    assert [key for key, _ in heavy.drivers] == ["mass"]
    assert [(one.limit, one.drivers) for one in weighed] == [
        (one.limit, one.drivers) for one in (load, heavy)
    ]


def test_what_to_measure_first_is_weighed_as_a_run_of_as_many_cars_weighs_it(study: Study) -> None:
    found = {one.limit: one for one in live_leads(study) if one.weighed}
    plan = weigh_measurements(study, run_montecarlo(study, samples=CARS), ways_to_measure(study))
    assert plan is not None
    for limit, measured in (("front load", "tilt"), ("not too heavy", "scales")):
        worth = found[limit].measure
        expected = next(one for one in plan.worths if (one.limit, one.rank) == (limit, 1))
        assert worth is not None
        assert (worth.measurement, worth.loss_saved) == (measured, expected.loss_saved)
    assert found["not too heavy"].label == "mass"


def test_the_desk_says_of_a_measurement_nothing_that_its_own_verdict_denies(study: Study) -> None:
    standing = next(live_verdicts(study))
    leads = {one.limit: (0, one) for one in live_leads(study) if one.weighed}

    def said(verdict: Verdict) -> str:
        limits = tuple(replace(one, verdict=verdict) for one in standing.verdicts.limits)
        as_told = replace(standing, verdicts=replace(standing.verdicts, limits=limits))
        lead = rows(study, as_told, {}, leads, 0)[0].lead
        assert lead is not None
        return lead.measure

    worth = leads["front load"][1].measure
    assert worth is not None
    agrees: tuple[Verdict, Verdict] = ("pass", "fail") if worth.before.passes.value == 1 else ("fail", "pass")
    assert "chance" in said(agrees[0])
    assert said(agrees[0]) == said("undecided")
    assert "chance" not in said(agrees[1])
    assert said(agrees[0]).startswith(said(agrees[1]))


def test_a_row_of_the_desk_names_the_throttle_that_its_verdict_hangs_on() -> None:
    study = load_study(ROOT / "studies" / "airfield-sprint")
    for limit, row in zip(study.limits, rows(study, None, {}, {}, 0), strict=True):
        assert throttle_words(study, limit.output) in f"{row.name}, {row.asked}"
    assert sum("at full throttle" in row.asked for row in rows(study, None, {}, {}, 0)) == 2
