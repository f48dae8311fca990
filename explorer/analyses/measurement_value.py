"""What each measurement is worth for a study: the run's own samples, handed to the estimators."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from explorer.analyses.ways_to_measure import WaysToMeasure
from explorer.engine.montecarlo import Outcome
from explorer.engine.replay import replay_margins, replay_samples
from explorer.estimators.measuring import Stake, stacked_margins, take_readings
from explorer.estimators.measuring_plan import MeasuringPlan, plan_measurements
from explorer.estimators.rough_worth import rough_worth
from explorer.graph.arrays import Array
from explorer.study.study import Study

# Of the catalogue's ways so many are weighed that save most, as many that save most an hour, and each
# limit's best.
MOST_USEFUL = 3
# Samples that are enough to sort them.
ROUGH_SAMPLES = 10_000


def stakes_of(study: Study) -> tuple[Stake, ...]:
    """Say what hangs on each limit, in the study's own words."""
    return tuple(
        Stake(
            limit.name,
            limit.probability,
            entry.weight,
        )
        for limit, entry in zip(study.limits, study.entries.limits, strict=True)
    )


def weigh_measurements(study: Study, outcome: Outcome, ways: WaysToMeasure) -> MeasuringPlan | None:
    """Plan measurements from the samples of the study's run; None where there is nothing to measure.

    All that the study lists are weighed, and those of the catalogue that promise most by a rough estimate.
    """
    if not ways.measurements:
        return None
    settings = study.entries.measuring
    kept = replay_samples(study, outcome, settings.samples)
    uncertain = {given.key for given in study.all_inputs() if not given.exact}
    samples = {key: values for key, values in kept.items() if key in uncertain}
    margins, stakes = replay_margins(study, kept), stakes_of(study)
    promising = _promising(ways, samples, stacked_margins(margins, stakes), stakes, study)
    return plan_measurements(
        samples,
        margins,
        [one for one in ways.measurements if one.name not in ways.from_catalogue or one.name in promising],
        stakes,
        budget_hours=settings.budget_hours,
        budget_cost=math.inf if settings.budget_cost is None else settings.budget_cost,
        seed=study.seed,
    )


def _promising(
    ways: WaysToMeasure, samples: Mapping[str, Array], margins: Array, stakes: Sequence[Stake], study: Study
) -> set[str]:
    """Name those of the catalogue that save most, most an hour within the budget, or most on one limit."""
    few = {key: values[:ROUGH_SAMPLES] for key, values in samples.items()}
    margins = margins[:, :ROUGH_SAMPLES]
    offered = [one for one in ways.measurements if one.name in ways.from_catalogue]
    worth = {one.name: rough_worth(take_readings(one, few, study.seed), margins, stakes) for one in offered}
    within = [one for one in offered if one.hours <= study.entries.measuring.budget_hours]
    most = sorted(offered, key=lambda one: -worth[one.name].sum())
    quickest = sorted(within, key=lambda one: -worth[one.name].sum() / one.hours)
    # Without the best for each limit it could be said that nothing helps where something left out would.
    by_limit = np.array([worth[one.name] for one in offered])
    best = [offered[place] for place in by_limit.argmax(axis=0)] if offered else []
    return {one.name for one in (*most[:MOST_USEFUL], *quickest[:MOST_USEFUL], *best)}
