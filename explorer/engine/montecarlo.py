"""The main run: every limit and output of a study over its uncertain inputs, streamed chunk by chunk."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Protocol, TypeAlias

import numpy as np

from explorer.engine.checkpoint import Bytes, Checkpoint
from explorer.engine.execution import Execution
from explorer.engine.fingerprint import CHOOSING, fingerprint
from explorer.engine.plan import CHUNK, Plan, make_plan
from explorer.engine.sampling import random_column, sobol_columns
from explorer.engine.storage import HELD_AT_ONCE, SampleFolder
from explorer.engine.streaming import Bins, Counts, Tally
from explorer.estimators.stopping import BATCH, Batches
from explorer.graph.arrays import Array
from explorer.study.asked_for import wanted_outputs
from explorer.study.limits import Limit, Output
from explorer.study.study import Study

# A scrambled replicate is one chunk, so its length bounds memory; more samples mean more replicates.
LARGEST_REPLICATE = 2**16


def outputs_of(study: Study) -> tuple[Output, ...]:
    """Distributions to report: first the limited ones, then what the study asks for beyond."""
    limited = [limit.output for limit in study.limits]
    return tuple(dict.fromkeys([*limited, *(Output(*pair) for pair in study.outputs)]))


@dataclass(frozen=True)
class Drawing:
    """How samples are drawn: plain or scrambled, how many in all, and how many a chunk but the last."""

    design: str
    samples: int
    each: int

    @classmethod
    def of(cls, study: Study, samples: int | None = None) -> Drawing:
        """Cut the samples into plain random chunks, or into scrambled replicates of a power of two each."""
        wanted = samples or study.samples
        if study.design == "random":
            return cls("random", wanted, CHUNK)
        each = min(2 ** math.ceil(math.log2(max(wanted / study.replicates, 2))), LARGEST_REPLICATE)
        return cls("sobol", each * max(study.replicates, math.ceil(wanted / each)), each)

    @property
    def scrambled(self) -> bool:
        """Whether each chunk is a scramble of one design."""
        return self.design == "sobol"

    @property
    def chunks(self) -> int:
        """Number of chunks."""
        return math.ceil(self.samples / self.each)

    def up_to(self, chunk: int) -> int:
        """Count the samples of all chunks before one."""
        return min(chunk * self.each, self.samples)

    def drawn(self, plan: Plan, index: int) -> dict[str, Array]:
        """Draw the inputs of one chunk."""
        return plan.draw(self.uniforms(plan, index))

    def uniforms(self, plan: Plan, index: int) -> dict[str, Array]:
        """Draw the uniforms behind them, one column a stream."""
        size = self.up_to(index + 1) - self.up_to(index)
        if not self.scrambled:
            return {name: random_column(plan.seed, name, index, size) for name in plan.streams}
        return sobol_columns(plan.seed, plan.streams, index, size.bit_length() - 1)


@dataclass(frozen=True)
class ChunkPart:
    """What one chunk contributes: per output, and per limit followed by all limits and all safety limits."""

    tallies: tuple[Tally, ...]
    margins: tuple[Tally, ...]
    conforming: tuple[int, ...]
    first_failed: Mapping[tuple[int, str], int]
    size: int
    kept: Mapping[str, Array] = field(default_factory=dict)


@dataclass(frozen=True)
class Outcome:
    """The merged parts.

    ``shares`` holds, for every replicate of a scrambled design, the conforming share per limit and for both
    joint requirements; it is empty for plain random samples.  ``batches`` adds up the figures of every output
    from whole chunk to whole chunk, to tell whether they stand still.
    """

    outputs: tuple[Output, ...]
    tallies: tuple[Tally, ...]
    margins: tuple[Tally, ...]
    conforming: tuple[int, ...]
    first_failed: Mapping[tuple[int, str], int]
    samples: int
    shares: Array
    kept: Mapping[str, Array]
    scrambled: bool = False
    batches: tuple[Batches, ...] = ()


@dataclass(frozen=True)
class Pilot:
    """What the first chunk settles for all: where the bins lie, and the spread of every margin."""

    outputs: tuple[Bins, ...]
    margins: tuple[Bins, ...]
    scales: tuple[float, ...]


# The drawn inputs, the outputs and the margins of one chunk; without the first no failure can be traced.
Values: TypeAlias = tuple[dict[str, Array] | None, list[Array], list[Array]]


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

    @property
    def name(self) -> str:
        """Tell it from other runs of its study."""
        columns = [output.column for output in self.outputs]
        return f"{self.drawing.design} {self.drawing.samples} {self.keep} {columns}"

    def values(self, index: int) -> Values:
        """Return the drawn inputs, the outputs and the margins of one chunk."""
        drawn = self.drawing.drawn(self.plan, index)
        return drawn, *self.judged(self.plan.evaluate(drawn))

    def judged(self, found: Mapping[tuple[str, str], Array]) -> tuple[list[Array], list[Array]]:
        """Return the outputs and the margins of cars of which all that they read has been evaluated."""
        outputs = [output.value(found) for output in self.outputs]
        return outputs, [limit.margin_in(found) for limit in self.limits]

    def joint_margins(self, margins: list[Array], scales: tuple[float, ...]) -> list[Array]:
        """Return the smallest margin, each in its own spread, over all limits and over the safety limits."""
        scaled = [margin / scale for margin, scale in zip(margins, scales, strict=True)]
        safe = [m for m, limit in zip(scaled, self.limits, strict=True) if limit.safety]
        # numpy's minimum hands NaN on: a sample without an answer to one limit has none to all of them.
        return [np.minimum.reduce(scaled), np.minimum.reduce(safe or scaled)]

    def with_pilot(self, first: Values | None = None) -> Job:
        """Place the bins and the scales by the first chunk, whose values may be at hand."""
        _, outputs, margins = self.values(0) if first is None else first
        scales = tuple(float(np.nanstd(m)) or 1.0 if np.isfinite(m).any() else 1.0 for m in margins)
        every = [*margins, *self.joint_margins(margins, scales)]
        return replace(
            self, pilot=Pilot(tuple(map(Bins.around, outputs)), tuple(map(Bins.around, every)), scales)
        )

    def part(self, index: int, values: Values | None = None) -> ChunkPart:
        """Do one chunk, or what is left of it where its values are at hand."""
        assert self.pilot is not None
        drawn, outputs, margins = self.values(index) if values is None else values
        every = [*margins, *self.joint_margins(margins, self.pilot.scales)]
        return ChunkPart(
            tuple(
                Tally.of(v, b, cap) for v, b, cap in zip(outputs, self.pilot.outputs, self.caps, strict=True)
            ),
            tuple(Tally.of(v, b) for v, b in zip(every, self.pilot.margins, strict=True)),
            # A comparison with NaN is false: a failed sample counts against the limit.
            tuple(int(np.count_nonzero(margin >= 0)) for margin in every),
            {} if drawn is None else self._first_failures(drawn, outputs),
            self.drawing.up_to(index + 1) - self.drawing.up_to(index),
            self._kept(drawn, outputs) if self.keep and drawn is not None else {},
        )

    def _first_failures(self, drawn: Mapping[str, Array], outputs: list[Array]) -> dict[tuple[int, str], int]:
        counts: dict[tuple[int, str], int] = {}
        for position, (output, values) in enumerate(zip(self.outputs, outputs, strict=True)):
            failed = ~np.isfinite(values)
            for pair in output.pairs if failed.any() else ():
                for name, count in self.plan.first_failures(drawn, pair, failed).items():
                    counts[position, name] = counts.get((position, name), 0) + count
        return counts

    def _kept(self, drawn: Mapping[str, Array], outputs: list[Array]) -> dict[str, Array]:
        columns = {output.column: values for output, values in zip(self.outputs, outputs, strict=True)}
        return {**drawn, **columns}


def make_job(study: Study, *, samples: int | None = None, keep: bool | None = None) -> Job:
    """Prepare the main run of a study."""
    outputs, drawing, plan = (
        outputs_of(study),
        Drawing.of(study, samples),
        make_plan(study, wanted_outputs(study)),
    )
    return Job(
        # A long run has its notes, and would fill the room that is for others.
        plan if drawing.samples <= HELD_AT_ONCE else replace(plan, kept=None),
        study.limits,
        outputs,
        tuple(_cap(study, output) for output in outputs),
        drawing,
        study.keep_samples if keep is None else keep,
    )


def _cap(study: Study, output: Output) -> float | None:
    name = study.graph[output.quantity].capped_by
    if name is None or output.is_difference:
        return None
    given = study.given_in(output.condition).get(name)
    return float(given.distribution.nominal) if given is not None and given.exact else None


def room_for_samples(study: Study, samples: int) -> int:
    """Return how many bytes on the disk the kept samples of a run take at the most."""
    if not study.keep_samples:
        return 0
    columns = len(outputs_of(study)) + sum(not given.exact for given in study.all_inputs())
    # Those of a long run lie in a file a chunk, before they are put into one.
    return np.dtype(float).itemsize * samples * columns * (2 if samples > HELD_AT_ONCE else 1)


class StopRule(Protocol):
    """Says after each chunk whether the chunks so far are enough.

    It may hang on nothing but what it remembers and the chunks so far: then a run that was stopped and goes
    on asks the same questions at the same samples, and ends where it would have ended.

    Attributes
    ----------
    name:
        Tells runs under this rule from others of their study.
    memory:
        What it remembers from chunk to chunk, as numbers; it is noted with the run.
    """

    @property
    def name(self) -> str:
        """Return its name."""

    @property
    def memory(self) -> Array:
        """Return what it remembers."""

    def recall(self, memory: Array) -> None:
        """Go on as the rule that remembered this."""

    def enough(self, so_far: SoFar) -> bool:
        """Tell whether to stop here."""


@dataclass
class AllOf:
    """Stops when each of several rules has said enough once; one that has is not asked again."""

    rules: tuple[StopRule, ...]
    satisfied: list[bool]

    @property
    def name(self) -> str:
        """Return the names of all."""
        return " and ".join(rule.name for rule in self.rules)

    @property
    def memory(self) -> Array:
        """Return who is satisfied, and how much each remembers and what."""
        memories = [rule.memory for rule in self.rules]
        return np.concatenate([np.array(self.satisfied, float), [one.size for one in memories], *memories])

    def recall(self, memory: Array) -> None:
        """Hand back to each what is its own."""
        count = len(self.rules)
        self.satisfied = [bool(one) for one in memory[:count]]
        ends = np.cumsum(memory[count : 2 * count]).astype(int)
        for rule, own in zip(self.rules, np.split(memory[2 * count :], ends[:-1]), strict=True):
            rule.recall(own)

    def enough(self, so_far: SoFar) -> bool:
        """Ask those that are not satisfied yet."""
        self.satisfied = [
            done or rule.enough(so_far) for rule, done in zip(self.rules, self.satisfied, strict=True)
        ]
        return all(self.satisfied)


def all_of(rules: Sequence[StopRule]) -> StopRule | None:
    """Return one rule for several, or none for none."""
    if len(rules) < 2:
        return rules[0] if rules else None
    return AllOf(tuple(rules), [False] * len(rules))


def run_montecarlo(
    study: Study,
    *,
    samples: int | None = None,
    keep: bool | None = None,
    execution: Execution | None = None,
    until: StopRule | None = None,
) -> Outcome:
    """Run a study's samples and merge the parts in the order of the chunks.

    The same study and seed give the same numbers to the last bit for any number of workers, and however often
    a long run with a checkpoint was stopped and started again.

    Parameters
    ----------
    samples, keep:
        Instead of what the study says.
    execution:
        On which workers, told to whom.  In its checkpoint a long run notes how far it is and puts the samples
        that it keeps; shorter ones are over before that is worth it, and keep theirs in memory.
    until:
        Asked after each chunk whether to stop there; without a checkpoint such a run keeps its first samples
        only.
    """
    job = make_job(study, samples=samples, keep=keep)
    first = job.values(0)
    job = job.with_pilot(first)
    drawing = job.drawing
    execution = execution or Execution()
    kept = execution.checkpoint if drawing.samples > HELD_AT_ONCE else Checkpoint()
    name = _name(study, job, until) if kept.keeps else ""
    files = kept.samples(name) if kept.keeps and job.keep else None
    so_far = _noted(job, kept.noted(name), files) or SoFar.start(job)
    if until is not None and so_far.memory is not None:
        until.recall(so_far.memory)

    def parts() -> Iterator[ChunkPart]:
        start, end = so_far.chunks, so_far.chunks if so_far.over else drawing.chunks
        if start == 0 < end:
            # It has been evaluated to place the bins by.
            yield job.part(0, first)
        yield from execution.in_order(job.part, end, start=max(start, 1))

    for part in parts():
        if files is not None:
            files.keep(so_far.chunks, part.kept)
        so_far.add(part, hold=not kept.keeps and (until is None or so_far.samples < HELD_AT_ONCE))
        enough = until is not None and until.enough(so_far)
        so_far.over = enough or so_far.chunks == drawing.chunks
        kept.note(name, partial(so_far.packed, until), last=so_far.over)
        if enough:
            break
        execution.progress("samples", so_far.samples, drawing.samples)
    return so_far.outcome(None if files is None else _kept(so_far, files))


def _name(study: Study, job: Job, until: StopRule | None) -> str:
    """Tell a run from others of the same cars: by what is asked of them, and how many are drawn."""
    return f"{fingerprint(study, CHOOSING)} {job.name} until {until.name if until else 'all are drawn'}"


def _noted(job: Job, note: Bytes | None, files: SampleFolder | None) -> SoFar | None:
    """Return what an earlier call has noted, unless samples that it kept are there no more."""
    if note is None:
        return None
    so_far = SoFar.unpacked(job, note)
    return so_far if files is None or files.has(so_far.chunks) else None


def _kept(so_far: SoFar, folder: SampleFolder) -> Mapping[str, Array]:
    """Return the kept samples: in files, but in memory where a run stopped so early that they are few."""
    files = folder.files(so_far.chunks)
    return files if so_far.samples > HELD_AT_ONCE else files.first(so_far.samples)


@dataclass
class SoFar:
    """What the chunks so far add up to, in their order.

    ``over`` tells whether that is all; ``memory`` is what the stop rule remembered when it was noted.
    """

    job: Job
    tallies: tuple[Tally, ...]
    margins: tuple[Tally, ...]
    conforming: Counts
    first_failed: dict[tuple[int, str], int]
    shares: list[Array]
    kept: list[Mapping[str, Array]]
    batches: tuple[Batches, ...]
    chunks: int = 0
    samples: int = 0
    over: bool = False
    memory: Array | None = None

    @classmethod
    def start(cls, job: Job) -> SoFar:
        """Return what no chunk at all adds up to."""
        assert job.pilot is not None
        return cls(
            job,
            tuple(map(Tally.empty, job.pilot.outputs)),
            tuple(map(Tally.empty, job.pilot.margins)),
            np.zeros(len(job.pilot.margins), np.int64),
            {},
            [],
            [],
            (Batches.none(),) * len(job.outputs),
        )

    def add(self, part: ChunkPart, hold: bool = True) -> None:
        """Add the next chunk; hold its samples in memory unless they are kept elsewhere."""
        self.tallies = tuple(one.merged(more) for one, more in zip(self.tallies, part.tallies, strict=True))
        self.margins = tuple(one.merged(more) for one, more in zip(self.margins, part.margins, strict=True))
        self.conforming = self.conforming + part.conforming
        for key, count in part.first_failed.items():
            self.first_failed[key] = self.first_failed.get(key, 0) + count
        # Only replicates of a design are set against each other; a list of all chunks would grow for nothing.
        if self.job.drawing.scrambled:
            self.shares.append(np.array(part.conforming) / part.size)
        # A batch is a whole chunk, large enough for the ends of its interval (JCGM 101:2008, 7.9.4 b).
        if part.size == self.job.drawing.each >= BATCH:
            self.batches = tuple(
                one.added(more.figures) if more.count > 1 else one
                for one, more in zip(self.batches, part.tallies, strict=True)
            )
        self.chunks += 1
        self.samples += part.size
        if part.kept and hold:
            self.kept.append(part.kept)

    def packed(self, until: StopRule | None = None) -> Bytes:
        """Return all but the samples in memory, and what a stop rule remembers, as bytes to go on from."""
        file = io.BytesIO()
        np.savez(
            file,
            tallies=np.array([tally.row for tally in (*self.tallies, *self.margins)]),
            conforming=self.conforming,
            first_failed=np.array(
                [(position, count) for (position, _), count in self.first_failed.items()], np.int64
            ),
            first_failed_names=np.array([name for _, name in self.first_failed], np.str_),
            shares=np.array(self.shares),
            batches=np.array([one.row for one in self.batches]),
            reached=np.array([self.chunks, self.samples, self.over], np.int64),
            memory=np.empty(0) if until is None else until.memory,
        )
        return np.frombuffer(file.getvalue(), np.uint8)

    @classmethod
    def unpacked(cls, job: Job, data: Bytes) -> SoFar:
        """Return what was packed by an equal job."""
        with np.load(io.BytesIO(data.tobytes()), allow_pickle=False) as kept:
            so_far = cls.start(job)
            outputs, rows = len(so_far.tallies), kept["tallies"]
            tallies = zip(so_far.tallies, rows[:outputs], strict=True)
            margins = zip(so_far.margins, rows[outputs:], strict=True)
            so_far.tallies = tuple(Tally.of_row(row, empty.bins) for empty, row in tallies)
            so_far.margins = tuple(Tally.of_row(row, empty.bins) for empty, row in margins)
            so_far.conforming = kept["conforming"]
            pairs = zip(
                kept["first_failed"].reshape(-1, 2).tolist(), kept["first_failed_names"].tolist(), strict=True
            )
            so_far.first_failed = {(position, name): count for (position, count), name in pairs}
            so_far.shares = list(kept["shares"])
            so_far.batches = tuple(map(Batches.of_row, kept["batches"]))
            so_far.chunks, so_far.samples, over = kept["reached"].tolist()
            so_far.over = bool(over)
            so_far.memory = kept["memory"]
        return so_far

    def outcome(self, files: Mapping[str, Array] | None = None) -> Outcome:
        """Return the outcome; its samples are those given, else those in memory."""
        if files is None:
            names = self.kept[0] if self.kept else ()
            files = {name: np.concatenate([part[name] for part in self.kept]) for name in names}
        return Outcome(
            self.job.outputs,
            self.tallies,
            self.margins,
            tuple(int(count) for count in self.conforming),
            self.first_failed,
            self.samples,
            np.array(self.shares),
            files,
            self.job.drawing.scrambled,
            self.batches,
        )
