"""What drives each limit and what to measure first, from few cars, limit after limit, as one watches."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from explorer.analyses.measurement_value import first_to_measure
from explorer.analyses.sensitivity import keys_upstream, known_from_few_readings
from explorer.analyses.two_levels import sure_cars
from explorer.analyses.ways_to_measure import ways_to_measure
from explorer.engine.execution import Execution
from explorer.engine.known_outputs import KnownOutputs, outputs_by_chunk
from explorer.engine.montecarlo import Job, make_job
from explorer.errors import SampleError
from explorer.estimators.given_data import first_order_given_data
from explorer.estimators.measuring import Worth
from explorer.estimators.sensitivity import LEADING_SHARE, Estimate
from explorer.estimators.sobol_parts import places_among
from explorer.graph.arrays import Array
from explorer.study.study import Study

# A share of spread is off by some hundredths with so many.
CARS = 8000
MOST_NAMED = 3


@dataclass(frozen=True)
class Lead:
    """What is known of one limit.

    Attributes
    ----------
    limit:
        Its name.
    drivers:
        Keys of the inputs that alone answer for most of its margin's spread, with their share.
    weighed:
        Whether ``measure`` is known already.
    measure, label:
        What to measure first and its words, which follow "measure the"; None where nothing saves anything
        that shows.
    """

    limit: str
    drivers: tuple[tuple[str, Estimate], ...]
    weighed: bool = False
    measure: Worth | None = None
    label: str = ""


def live_leads(
    study: Study, *, execution: Execution | None = None, known: KnownOutputs | None = None
) -> Iterator[Lead]:
    """Find what drives each limit, then what to measure first for each.

    Parameters
    ----------
    execution:
        On which workers: two are at work at once.
    known:
        What is known of the cars already.

    Raises
    ------
    StudyError
        When a measurement of the study cannot be used.
    """
    execution = execution or Execution()
    job = make_job(replace(study, outputs=()), samples=CARS, keep=False)
    chunks = outputs_by_chunk(study, job, known or KnownOutputs(), execution, range(job.drawing.chunks))
    margins = _joined([job.judged(found)[1] for found in chunks])
    # One after the other: who has left by the first asks for no second.
    halves = execution.in_order(partial(_half, study, job, margins), 2)
    drivers = next(halves)
    yield from drivers.values()
    for name, lead in next(halves).items():
        yield replace(lead, drivers=drivers[name].drivers)


def _joined(chunks: Sequence[Sequence[Array]]) -> list[Array]:
    return [np.concatenate(parts)[:CARS] for parts in zip(*chunks, strict=True)]


def _half(study: Study, job: Job, margins: Sequence[Array], number: int) -> dict[str, Lead]:
    drawn = [job.drawing.drawn(job.plan, chunk) for chunk in range(job.drawing.chunks)]
    inputs = dict(zip(drawn[0], _joined([list(one.values()) for one in drawn]), strict=True))
    named = {limit.name: margin for limit, margin in zip(study.limits, margins, strict=True)}
    return (_drivers, _worths)[number](study, inputs, named)


def _drivers(study: Study, inputs: Mapping[str, Array], margins: Mapping[str, Array]) -> dict[str, Lead]:
    few, found = known_from_few_readings(study), {}
    for limit in study.limits:
        keys, margin = keys_upstream(study, limit) & inputs.keys(), margins[limit.name]
        margin = places_among(margin, margin) if keys & few else margin
        try:
            shares = first_order_given_data({key: inputs[key] for key in sorted(keys)}, margin)
        except SampleError:  # hardly a car has an answer: nothing is said of what drives it
            shares = {}
        leading = [(key, one) for key, one in shares.items() if one.value >= LEADING_SHARE]
        found[limit.name] = Lead(limit.name, tuple(leading[:MOST_NAMED]))
    return found


def _worths(study: Study, inputs: Mapping[str, Array], margins: Mapping[str, Array]) -> dict[str, Lead]:
    ways = ways_to_measure(study)
    labels = {one.name: one.label for one in ways.measurements}
    return {
        name: Lead(name, (), True, worth, "" if worth is None else labels[worth.measurement])
        for name, worth in first_to_measure(study, inputs, margins, ways, sure_cars(study, few=True))
    }
