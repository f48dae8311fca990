"""What each measurement that the study names is worth: the run's own samples, handed to the estimators."""

from __future__ import annotations

import math

from explorer.analyses.catalogue import measurement_from
from explorer.engine.montecarlo import Outcome
from explorer.engine.replay import replay_margins, replay_samples
from explorer.errors import Faults, SquatlineError, StudyError, nearest
from explorer.estimators.measuring import Measurement, Stake
from explorer.estimators.measuring_plan import MeasuringPlan, plan_measurements
from explorer.study.study import Study


def measurements_of(study: Study) -> tuple[Measurement, ...]:
    """Read the measurements of a study.

    Raises
    ------
    StudyError
        For each that reads an input the study does not give, or gives exactly.
    """
    uncertain = {given.key for given in study.inputs.values() if not given.exact}

    def unit_of(name: str) -> str:
        if name not in uncertain:
            near = nearest(name, uncertain)
            exact = name in study.inputs
            raise StudyError(
                "a measurement reads an uncertain input of this study",
                found=f"{name}, which is given as exact" if exact else name,
                allowed=", ".join(sorted(uncertain)),
                remedy=f"did you mean {near!r}?" if near else None,
            )
        return study.graph[name].unit

    found, faults = [], Faults()
    for name, table in study.entries.measurements.items():
        with faults.noted():
            try:
                found.append(measurement_from(name, table, unit_of))
            except SquatlineError as error:
                error.key = f"measurements.{error.key or name}"
                raise error.within(file=str(study.path)) from None
    faults.tell()
    return tuple(found)


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


def weigh_measurements(study: Study, outcome: Outcome) -> MeasuringPlan | None:
    """Plan the measurements of a study from the samples of its run; None when it names none."""
    measurements = measurements_of(study)
    if not measurements:
        return None
    settings = study.entries.measuring
    kept = replay_samples(study, outcome, settings.samples)
    uncertain = {given.key for given in study.all_inputs() if not given.exact}
    samples = {key: values for key, values in kept.items() if key in uncertain}
    return plan_measurements(
        samples,
        replay_margins(study, kept),
        measurements,
        stakes_of(study),
        budget_hours=settings.budget_hours,
        budget_cost=math.inf if settings.budget_cost is None else settings.budget_cost,
        seed=study.seed,
    )
