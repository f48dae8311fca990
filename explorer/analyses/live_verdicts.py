"""Verdicts that firm up: first ones from a few cars at once, then from more and more, as one watches."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from explorer.analyses.two_levels import check_kinds_apart, sure_cars, sureness_of
from explorer.analyses.verdicts import Verdicts, judge_outcome, with_sureness
from explorer.engine.execution import Execution
from explorer.engine.known_outputs import KnownOutputs, outputs_by_chunk
from explorer.engine.montecarlo import Drawing, Job, SoFar, make_job
from explorer.engine.plan import CHUNK
from explorer.estimators.two_levels import Sureness
from explorer.study.study import Study

# Enough for a first look, and how many times as many the next look takes until a whole chunk is reached.
FIRST_CARS = 500
GROWTH = 4
MOST_CARS = 100_000


@dataclass(frozen=True)
class JudgedSoFar:
    """How every limit stands after some of the cars.

    Attributes
    ----------
    cars, most:
        Cars judged so far, and when it is over.
    verdicts:
        As those of a run of that many samples.
    sureness:
        How sure the limits are that ask it, on as few cars and days as can show it; empty at the first look.
    """

    cars: int
    most: int
    verdicts: Verdicts
    sureness: Mapping[str, Sureness] = field(default_factory=dict)

    @property
    def over(self) -> bool:
        """Whether no more cars follow."""
        return self.cars >= self.most


def live_verdicts(
    study: Study,
    *,
    first: int = FIRST_CARS,
    most: int = MOST_CARS,
    execution: Execution | None = None,
    known: KnownOutputs | None = None,
) -> Iterator[JudgedSoFar]:
    """Judge a study after few cars, then after more, up to a number of them.

    Nothing but what workers have been given already is under way between two standings: who has seen enough,
    or whose study has changed meanwhile, leaves the iterator, and no further chunk is computed.

    Parameters
    ----------
    first, most:
        Cars of the first standing and of the last; scrambled designs are filled up as for a run.
    execution:
        On which workers.
    known:
        What is known of the cars of studies before, and will be of these.

    Yields
    ------
    JudgedSoFar
        Each of plain random cars has the numbers, to the last bit, of a run of as many samples.  Of a
        scrambled design the first and the last ones have; between them stand the replicates so far.
    """
    execution, sureness = execution or Execution(), None
    for cars, verdicts in _standings(study, first, most, execution, known or KnownOutputs()):
        if sureness is None:
            yield JudgedSoFar(cars, most, verdicts)
            check_kinds_apart(study)
            sureness = sureness_of(study, sure_cars(study, few=True, execution=execution))
            if not sureness:
                continue
        yield JudgedSoFar(cars, most, with_sureness(verdicts, study.limits, sureness), sureness)


def _standings(
    study: Study, first: int, most: int, execution: Execution, known: KnownOutputs
) -> Iterator[tuple[int, Verdicts]]:
    job, few = make_job(replace(study, outputs=()), samples=most, keep=False), first
    while few < min(CHUNK, most):
        fewer = replace(job, drawing=Drawing.of(study, few))
        *_, standing = _chunk_by_chunk(study, fewer, execution, known)
        yield standing
        few *= GROWTH
    yield from _chunk_by_chunk(study, job, execution, known)


def _chunk_by_chunk(
    study: Study, job: Job, execution: Execution, known: KnownOutputs
) -> Iterator[tuple[int, Verdicts]]:
    so_far: SoFar | None = None
    for chunk, found in enumerate(outputs_by_chunk(study, job, known, execution)):
        values = (None, *job.judged(found))
        if so_far is None:
            job = job.with_pilot(values)
            so_far = SoFar.start(job)
        so_far.add(job.part(chunk, values), hold=False)
        yield so_far.samples, judge_outcome(job.limits, so_far.outcome({}))
