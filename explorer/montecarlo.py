"""The main run: every limit and output of a study over its uncertain inputs, streamed chunk by chunk."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from explorer.engine import (
    CHUNK,
    Plan,
    Progress,
    chunk_sizes,
    in_order,
    limited_value,
    make_plan,
    margin_inside,
    no_progress,
)
from explorer.quantity import Array
from explorer.sampling import sobol_columns
from explorer.streaming import Bins, Tally
from explorer.study import Limit, Study, wanted_outputs

# A scrambled replicate is one chunk, so its length bounds memory; more samples mean more replicates.
LARGEST_REPLICATE = 2**16


@dataclass(frozen=True)
class Output:
    """One distribution to report: a quantity in a condition, or its difference from another condition."""

    quantity: str
    condition: str
    minus: str | None = None

    def value(self, values: Mapping[tuple[str, str], Array]) -> Array:
        """Pick or subtract."""
        value = values[self.quantity, self.condition]
        return value if self.minus is None else value - values[self.quantity, self.minus]

    @property
    def column(self) -> str:
        """Name of its column among the kept samples."""
        minus = f" - {self.minus}" if self.minus else ""
        return f"{self.quantity} | {self.condition}{minus}"


def outputs_of(study: Study) -> tuple[Output, ...]:
    """Distributions to report: first the limited ones, then what the study asks for beyond."""
    limited = [Output(limit.quantity, limit.condition, limit.minus) for limit in study.limits]
    return tuple(dict.fromkeys([*limited, *(Output(*pair) for pair in study.outputs)]))


@dataclass(frozen=True)
class Drawing:
    """How samples are drawn: how many, in which chunks, plain or scrambled."""

    design: str
    sizes: tuple[int, ...]

    @classmethod
    def of(cls, study: Study, samples: int | None = None) -> Drawing:
        """Cut the samples into plain random chunks, or into scrambled replicates of a power of two each."""
        wanted = samples or study.samples
        if study.design == "random":
            return cls("random", chunk_sizes(wanted))
        each = min(2 ** math.ceil(math.log2(max(wanted / study.replicates, 2))), LARGEST_REPLICATE)
        return cls("sobol", (each,) * max(study.replicates, math.ceil(wanted / each)))

    @property
    def samples(self) -> int:
        """Number of samples in all."""
        return sum(self.sizes)

    def drawn(self, plan: Plan, index: int) -> dict[str, Array]:
        """Draw the inputs of one chunk."""
        size = self.sizes[index]
        if self.design == "random":
            return plan.random_chunk(index, size)
        power = size.bit_length() - 1
        return plan.draw(sobol_columns(plan.seed, plan.streams, index, power))


@dataclass(frozen=True)
class Part:
    """What one chunk contributes: per output, and per limit followed by all limits and all safety limits."""

    tallies: tuple[Tally, ...]
    margins: tuple[Tally, ...]
    conforming: tuple[int, ...]
    blamed: Mapping[tuple[int, str], int]
    size: int
    kept: Mapping[str, Array] = field(default_factory=dict)


@dataclass(frozen=True)
class Outcome:
    """The merged parts.

    ``shares`` holds, per limit and for both joint requirements, the conforming share in every chunk: the
    replicates of a scrambled design.
    """

    outputs: tuple[Output, ...]
    tallies: tuple[Tally, ...]
    margins: tuple[Tally, ...]
    conforming: tuple[int, ...]
    blamed: Mapping[tuple[int, str], int]
    samples: int
    shares: Array
    kept: Mapping[str, Array]
    scrambled: bool = False


@dataclass(frozen=True)
class Pilot:
    """What the first chunk settles for all: where the bins lie, and the spread of every margin."""

    outputs: tuple[Bins, ...]
    margins: tuple[Bins, ...]
    scales: tuple[float, ...]


@dataclass(frozen=True)
class Job:
    """Everything a worker needs to do any chunk."""

    plan: Plan
    limits: tuple[Limit, ...]
    outputs: tuple[Output, ...]
    caps: tuple[float | None, ...]
    drawing: Drawing
    keep: bool
    pilot: Pilot | None = None

    def values(self, index: int) -> tuple[dict[str, Array], list[Array], list[Array]]:
        """Return the drawn inputs, the outputs and the margins of one chunk."""
        drawn = self.drawing.drawn(self.plan, index)
        found = self.plan.evaluate(drawn)
        outputs = [output.value(found) for output in self.outputs]
        margins = [margin_inside(limit, limited_value(limit, found)) for limit in self.limits]
        return drawn, outputs, margins

    def joint_margins(self, margins: list[Array], scales: tuple[float, ...]) -> list[Array]:
        """Return the smallest margin, each in its own spread, over all limits and over the safety limits."""
        scaled = [margin / scale for margin, scale in zip(margins, scales, strict=True)]
        safe = [m for m, limit in zip(scaled, self.limits, strict=True) if limit.safety]
        # numpy's minimum hands NaN on: a sample without an answer to one limit has none to all of them.
        return [np.minimum.reduce(scaled), np.minimum.reduce(safe or scaled)]

    def with_pilot(self) -> Job:
        """Place the bins and the scales by the first chunk."""
        _, outputs, margins = self.values(0)
        scales = tuple(float(np.nanstd(m)) or 1.0 if np.isfinite(m).any() else 1.0 for m in margins)
        every = [*margins, *self.joint_margins(margins, scales)]
        return replace(
            self, pilot=Pilot(tuple(map(Bins.around, outputs)), tuple(map(Bins.around, every)), scales)
        )

    def part(self, index: int) -> Part:
        """Do one chunk."""
        assert self.pilot is not None
        drawn, outputs, margins = self.values(index)
        every = [*margins, *self.joint_margins(margins, self.pilot.scales)]
        return Part(
            tuple(
                Tally.of(v, b, cap) for v, b, cap in zip(outputs, self.pilot.outputs, self.caps, strict=True)
            ),
            tuple(Tally.of(v, b) for v, b in zip(every, self.pilot.margins, strict=True)),
            # A comparison with NaN is false: a failed sample counts against the limit.
            tuple(int(np.count_nonzero(margin >= 0)) for margin in every),
            self._blamed(drawn, outputs),
            self.drawing.sizes[index],
            self._kept(drawn, outputs) if self.keep else {},
        )

    def _blamed(self, drawn: Mapping[str, Array], outputs: list[Array]) -> dict[tuple[int, str], int]:
        counts: dict[tuple[int, str], int] = {}
        for position, (output, values) in enumerate(zip(self.outputs, outputs, strict=True)):
            failed = ~np.isfinite(values)
            for condition in (output.condition, output.minus):
                if condition is None or not failed.any():
                    continue
                for name, count in self.plan.blame(drawn, (output.quantity, condition), failed).items():
                    counts[position, name] = counts.get((position, name), 0) + count
        return counts

    def _kept(self, drawn: Mapping[str, Array], outputs: list[Array]) -> dict[str, Array]:
        columns = {output.column: values for output, values in zip(self.outputs, outputs, strict=True)}
        return {**drawn, **columns}


def make_job(study: Study, *, samples: int | None = None, keep: bool | None = None) -> Job:
    """Prepare the main run of a study."""
    outputs = outputs_of(study)
    return Job(
        make_plan(study, wanted_outputs(study)),
        study.limits,
        outputs,
        tuple(_cap(study, output) for output in outputs),
        Drawing.of(study, samples),
        study.keep_samples if keep is None else keep,
    )


def _cap(study: Study, output: Output) -> float | None:
    name = study.graph[output.quantity].capped_by
    if name is None or output.minus is not None:
        return None
    given = study.given_in(output.condition).get(name)
    return float(given.distribution.nominal) if given is not None and given.exact else None


def run_montecarlo(
    study: Study,
    *,
    samples: int | None = None,
    keep: bool | None = None,
    workers: int | None = None,
    executor: Executor | None = None,
    progress: Progress = no_progress,
) -> Outcome:
    """Run a study's samples and merge the parts in the order of the chunks.

    The same study and seed give the same numbers to the last bit for any number of workers.
    """
    job = make_job(study, samples=samples, keep=keep).with_pilot()
    count = len(job.drawing.sizes)
    parts = in_order(
        partial(_part, job),
        count,
        workers=workers,
        executor=executor,
        progress=lambda done: progress(
            "samples", min(done * CHUNK, job.drawing.samples), job.drawing.samples
        ),
    )
    return merge(job, parts)


def _part(job: Job, index: int) -> Part:
    return job.part(index)


def merge(job: Job, parts: Iterable[Part]) -> Outcome:
    """Merge parts, in order, into an outcome."""
    tallies: tuple[Tally, ...] = ()
    margins: tuple[Tally, ...] = ()
    conforming = np.zeros(len(job.limits) + 2, int)
    blamed: dict[tuple[int, str], int] = {}
    shares: list[Array] = []
    kept: list[Mapping[str, Array]] = []
    samples = 0
    for part in parts:
        tallies = _merged(tallies, part.tallies)
        margins = _merged(margins, part.margins)
        conforming += part.conforming
        for key, count in part.blamed.items():
            blamed[key] = blamed.get(key, 0) + count
        shares.append(np.array(part.conforming) / part.size)
        samples += part.size
        if job.keep:
            kept.append(part.kept)
    columns = {name: np.concatenate([part[name] for part in kept]) for name in (kept[0] if kept else ())}
    counts = tuple(int(n) for n in conforming)
    return Outcome(
        job.outputs,
        tallies,
        margins,
        counts,
        blamed,
        samples,
        np.array(shares),
        columns,
        job.drawing.design == "sobol",
    )


def _merged(so_far: tuple[Tally, ...], more: tuple[Tally, ...]) -> tuple[Tally, ...]:
    return tuple(a.merged(b) for a, b in zip(so_far, more, strict=True)) if so_far else more
