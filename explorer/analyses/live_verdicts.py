"""Verdicts that firm up: first ones from a few cars at once, then from more and more, as one watches."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import chain, islice

from explorer.analyses.two_levels import check_kinds_apart, sure_cars, sureness_of
from explorer.analyses.verdicts import Verdicts, judge_outcome, with_sureness
from explorer.engine.execution import Execution
from explorer.engine.known_outputs import KnownOutputs, outputs_by_chunk
from explorer.engine.montecarlo import Drawing, Job, SoFar, make_job
from explorer.engine.plan import CHUNK
from explorer.estimators.two_levels import Sureness
from explorer.graph.arrays import Array
from explorer.study.study import Study

# Enough for a first look, and how many times as many the next look takes until a whole chunk is reached.
FIRST_CARS = 500
GROWTH = 4
MOST_CARS = 100_000
# At this confidence a limit is left alone that has been decided: seven looks do not add up to a twentieth.
BEYOND_DOUBT = 0.999


@dataclass(frozen=True)
class JudgedSoFar:
    """How every limit stands after some of the cars.

    Attributes
    ----------
    cars, most:
        Cars judged so far, and when it is over.  A limit that was decided beyond doubt by the first chunk is
        left at that, which its ``trials`` tell.
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
        Each of plain random cars has the numbers, to the last bit, of a run of as many samples, but for the
        limits that were left and what is said of all at once: those are of the first chunk.  Of a scrambled
        design the first and the last ones have; between them stand the replicates so far.
    """
    execution, sureness = execution or Execution(), None
    for cars, end, verdicts in _standings(study, first, most, execution, known or KnownOutputs()):
        if sureness is None:
            yield JudgedSoFar(cars, end, verdicts)
            check_kinds_apart(study)
            sureness = sureness_of(study, sure_cars(study, few=True, execution=execution))
            if not sureness:
                continue
        yield JudgedSoFar(cars, end, with_sureness(verdicts, study.limits, sureness), sureness)


def _standings(
    study: Study, first: int, most: int, execution: Execution, known: KnownOutputs
) -> Iterator[tuple[int, int, Verdicts]]:
    job, few = make_job(replace(study, outputs=()), samples=most, keep=False), first
    while few < min(CHUNK, most):
        fewer = replace(job, drawing=Drawing.of(study, few))
        chunks = range(fewer.drawing.chunks)
        *_, so_far = _added_up(fewer, outputs_by_chunk(study, fewer, known, execution, chunks))
        yield so_far.samples, most, judge_outcome(job.limits, so_far.outcome({}))
        few *= GROWTH
    (found,) = outputs_by_chunk(study, job, known, execution, range(1))
    (so_far,) = _added_up(job, [found])
    verdicts, still = judge_outcome(job.limits, so_far.outcome({})), _still_open(so_far)
    yield so_far.samples, most if still else so_far.samples, verdicts
    if job.drawing.chunks == 1 or not still:
        return
    limits = tuple(job.limits[place] for place in still)
    caps = {limit.output: dict(zip(job.outputs, job.caps, strict=True))[limit.output] for limit in limits}
    job = replace(job, limits=limits, outputs=tuple(caps), caps=tuple(caps.values()))
    others = outputs_by_chunk(study, job, known, execution, range(1, job.drawing.chunks))
    for so_far in islice(_added_up(job, chain([found], others)), 1, None):
        found_so_far = judge_outcome(limits, so_far.outcome({}))
        if len(limits) < len(verdicts.limits):
            judged = dict(zip(still, found_so_far.limits, strict=True))
            every = tuple(judged.get(place, one) for place, one in enumerate(verdicts.limits))
            found_so_far = replace(verdicts, limits=every)
        yield so_far.samples, most, found_so_far


def _still_open(so_far: SoFar) -> list[int]:
    """List the limits that need more cars; of a scrambled design, whose replicates go together, all."""
    limits = so_far.job.limits
    judged = judge_outcome(limits, so_far.outcome({}), BEYOND_DOUBT).limits
    scrambled = so_far.job.drawing.scrambled
    return [place for place, one in enumerate(judged) if scrambled or one.verdict == "undecided"]


def _added_up(job: Job, chunks: Iterable[Mapping[tuple[str, str], Array]]) -> Iterator[SoFar]:
    """Add up one chunk after another; the first places the bins of all."""
    so_far: SoFar | None = None
    for chunk, found in enumerate(chunks):
        values = (None, *job.judged(found))
        if so_far is None:
            job = job.with_pilot(values)
            so_far = SoFar.start(job)
        so_far.add(job.part(chunk, values), hold=False)
        yield so_far
