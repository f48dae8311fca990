"""What each measurement is worth for a study: the run's own samples, handed to the estimators."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from explorer.analyses.sensitivity import keys_upstream
from explorer.analyses.two_levels import CarsAndDays, sure_limits
from explorer.analyses.ways_to_measure import WaysToMeasure
from explorer.engine.montecarlo import Outcome
from explorer.engine.replay import replay_margins, replay_samples
from explorer.estimators.measuring import (
    SIGNIFICANT,
    Measurement,
    Stake,
    Worth,
    calls_after,
    stacked_margins,
    worth_of_calls,
)
from explorer.estimators.measuring_outlook import MeasuringPlan
from explorer.estimators.measuring_plan import Judged, plan_measurements
from explorer.estimators.rough_worth import rough_worth
from explorer.graph.arrays import Array
from explorer.study.correlations import correlated_groups
from explorer.study.limits import Limit
from explorer.study.study import Study

# Of the catalogue's ways so many are weighed that save most, as many that save most an hour, and each
# limit's best.
MOST_USEFUL = 3
# Samples that are enough to sort them.
ROUGH_SAMPLES = 10_000


def stakes_of(study: Study) -> tuple[Stake, ...]:
    """Say what hangs on each limit, at the probability of its verdict: of cars where it asks ``sure``."""
    return tuple(
        Stake(limit.name, limit.threshold, entry.weight, None if limit.sure is None else limit.probability)
        for limit, entry in zip(study.limits, study.entries.limits, strict=True)
    )


def weigh_measurements(
    study: Study, outcome: Outcome, ways: WaysToMeasure, cars: CarsAndDays | None = None
) -> MeasuringPlan | None:
    """Plan measurements from the samples of the study's run; None where there is nothing to measure.

    All that the study lists are weighed, and those of the catalogue that promise most by a rough estimate.

    Parameters
    ----------
    cars:
        Those drawn for the limits that ask ``sure``: their verdict is on cars, each on all its days, and
        reading what a car is tells nothing of the day.
    """
    settings = study.entries.measuring
    kept = replay_samples(study, outcome, settings.samples)
    uncertain = {given.key for given in study.all_inputs() if not given.exact}
    samples = {key: values for key, values in kept.items() if key in uncertain}
    judged = _judged(study, samples, replay_margins(study, kept), cars)
    known = set().union(*(of.samples for of in judged))
    ways = ways.of_inputs(known)
    if not ways.measurements:
        return None
    promising = _promising(ways, judged, study)
    plan = plan_measurements(
        judged,
        [one for one in ways.measurements if one.name not in ways.from_catalogue or one.name in promising],
        budget_hours=settings.budget_hours,
        budget_cost=math.inf if settings.budget_cost is None else settings.budget_cost,
        seed=study.seed,
    )
    order = {limit.name: place for place, limit in enumerate(study.limits)}
    return replace(
        plan,
        worths=tuple(sorted(plan.worths, key=lambda one: order[one.limit])),
        outlooks=tuple(sorted(plan.outlooks, key=lambda one: order[one.limit])),
    )


def _judged(
    study: Study, samples: Mapping[str, Array], margins: Mapping[str, Array], cars: CarsAndDays | None
) -> list[Judged]:
    """Put each limit to the samples that it is judged on."""
    surely = {limit.name for limit in study.limits if limit.sure is not None and cars is not None}
    stakes = stakes_of(study)
    behind = {limit.name: _telling_of(study, limit) for limit in study.limits}
    plain = Judged(samples, margins, tuple(one for one in stakes if one.limit not in surely), behind)
    found = [plain] if plain.stakes else []
    if cars is not None:
        kept = (one.margins_of_cars(cars.inputs) for one in cars.found)
        of_cars = dict(zip([limit.name for limit in sure_limits(study)], kept, strict=True))
        found.append(
            Judged(cars.inputs, of_cars, tuple(one for one in stakes if one.limit in surely), behind)
        )
    return found


def _telling_of(study: Study, limit: Limit) -> set[str]:
    """Name the inputs upstream of a limit, and those that are correlated with one."""
    upstream = keys_upstream(study, limit)
    followed = {one.stream for one in study.all_inputs() if one.key in upstream}
    together = [set(group) for group in correlated_groups(study.correlations) if followed.intersection(group)]
    return upstream.union(*together)


def first_to_measure(
    study: Study,
    samples: Mapping[str, Array],
    margins: Mapping[str, Array],
    ways: WaysToMeasure,
    cars: CarsAndDays | None = None,
) -> Iterator[tuple[str, Worth | None]]:
    """Find for one limit after the other the measurement that alone saves most on it, from few samples.

    Yields
    ------
    tuple
        Name of a limit, and what is worth measuring first; None where nothing saves anything that shows.
    """
    judged = _judged(study, samples, margins, cars)
    known = set().union(*(of.samples for of in judged))
    ways = ways.of_inputs(known)
    for of, worths in zip(judged, _rough_worths(ways.measurements, judged, study), strict=True):
        for place, stake in enumerate(of.stakes):
            telling = of.telling(ways.measurements, stake.limit)
            offered = [one for one in ways.measurements if one.name in telling]
            best = sorted(offered, key=lambda one: -worths[one.name][place])[:MOST_USEFUL]
            margin = stacked_margins(of.margins, (stake,))
            calls = [calls_after(of.reading(one, study.seed, known), margin) for one in best]
            found = worth_of_calls(list(margin), best, (stake,), calls)
            shows = found and found[0].loss_saved.value > SIGNIFICANT * found[0].loss_saved.error
            yield stake.limit, found[0] if shows else None


def _rough_worths(
    measurements: Sequence[Measurement], judged: Sequence[Judged], study: Study
) -> list[dict[str, Array]]:
    """Estimate roughly what each measurement saves, for each kind of samples an array over its limits."""
    known = set().union(*(of.samples for of in judged))
    few = [
        Judged(
            {key: values[:ROUGH_SAMPLES] for key, values in of.samples.items()},
            {key: values[:ROUGH_SAMPLES] for key, values in of.margins.items()},
            of.stakes,
        )
        for of in judged
    ]
    margins = [stacked_margins(of.margins, of.stakes) for of in few]
    return [
        {one.name: rough_worth(of.reading(one, study.seed, known), own, of.stakes) for one in measurements}
        for of, own in zip(few, margins, strict=True)
    ]


def _promising(ways: WaysToMeasure, judged: Sequence[Judged], study: Study) -> set[str]:
    """Name those of the catalogue that save most, most an hour within the budget, or most on one limit."""
    offered = [one for one in ways.measurements if one.name in ways.from_catalogue]
    rough = _rough_worths(offered, judged, study)
    worth = {one.name: np.concatenate([found[one.name] for found in rough]) for one in offered}
    within = [one for one in offered if one.hours <= study.entries.measuring.budget_hours]
    most = sorted(offered, key=lambda one: -worth[one.name].sum())
    quickest = sorted(within, key=lambda one: -worth[one.name].sum() / one.hours)
    # Without the best for each limit it could be said that nothing helps where something left out would.
    by_limit = np.array([worth[one.name] for one in offered])
    best = [offered[place] for place in by_limit.argmax(axis=0)] if offered else []
    return {one.name for one in (*most[:MOST_USEFUL], *quickest[:MOST_USEFUL], *best)}
