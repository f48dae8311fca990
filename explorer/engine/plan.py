"""Draw inputs, push them through the program, chunk after chunk, on any executor.

A chunk is the unit of everything: it has its own random stream for every input, so a run gives the same
numbers to the last bit whatever the number of workers, and results are merged in the order of the chunks.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cache, partial
from itertools import islice
from typing import Any, TypeVar

import numpy as np

from explorer.engine.kept_values import KeptValues
from explorer.engine.packing import Packed
from explorer.engine.processes import default_workers
from explorer.engine.sampling import correlated, random_column
from explorer.estimators.conformance import finite_or_nan
from explorer.graph.arrays import Array
from explorer.graph.program import Program, Settled, compile_program
from explorer.graph.variants import Moved, run_variants
from explorer.study.correlations import correlated_groups, correlation_matrix
from explorer.study.study import Input, Study

CHUNK = 16_384
# Samples and their variants that are evaluated together.
VARIED = 2 * CHUNK
# A cluster takes a hundredth of a second for every task, up to a tenth of what a chunk takes.
MOST_IN_A_TASK = 4

Part = TypeVar("Part")
Progress = Callable[[str, int, int], None]


def no_progress(stage: str, done: int, total: int) -> None:
    """Report nothing."""


@dataclass(frozen=True)
class Plan:
    """A program with the inputs it draws and the values that are fixed.

    Attributes
    ----------
    uncertain:
        Inputs to draw, by key.
    constants:
        Token -> value of the exact inputs and tables.
    copulas:
        Groups of correlated inputs: streams and the correlation matrix of their normal scores.
    bounds:
        What is physically possible, by key of the inputs that are drawn or chosen.
    inputs:
        Every input that the program reads, exact ones included.
    kept, content:
        Where evaluations are kept, if anywhere, and the digest of program and constants.
    """

    seed: int
    program: Program
    uncertain: Mapping[str, Input]
    constants: Mapping[Any, Any]
    copulas: tuple[tuple[tuple[str, ...], Array], ...]
    bounds: Mapping[str, tuple[float, float]]
    inputs: tuple[Input, ...]
    kept: KeptValues | None = None
    content: str = ""

    @property
    def streams(self) -> tuple[str, ...]:
        """Streams to draw: one an input, but that of another for inputs that follow it."""
        return tuple(dict.fromkeys(given.stream for given in self.uncertain.values()))

    def draw(self, uniforms: Mapping[str, Array]) -> dict[str, Array]:
        """Map one column of uniforms a stream onto the inputs; what is physically impossible becomes NaN."""
        columns = dict(uniforms)
        for names, matrix in self.copulas:
            columns.update(correlated(columns, names, matrix))
        return {
            key: self.possible(key, given.distribution.quantile(columns[given.stream]))
            for key, given in self.uncertain.items()
        }

    def possible(self, key: str, values: Array) -> Array:
        """Return values of an input with what is physically impossible made NaN."""
        low, high = self.bounds[key]
        if values.size and (values.min() < low or values.max() > high):
            return np.where((values < low) | (values > high), np.nan, values)
        return values

    def random_chunk(self, chunk: int, size: int) -> dict[str, Array]:
        """Draw one chunk of plain random inputs."""
        return self.draw({name: random_column(self.seed, name, chunk, size) for name in self.streams})

    def evaluate(
        self, drawn: Mapping[str, Array], settled: Callable[[], Settled] | None = None
    ) -> dict[tuple[str, str], Array]:
        """Evaluate all asked-for (quantity, condition) on drawn inputs: arrays of one length, finite or NaN.

        Parameters
        ----------
        drawn:
            Inputs by key.
        settled:
            What is evaluated already of these cars, where only inputs that are to move differ.

        Notes
        -----
        An endless value is no answer, so whatever is held against a limit, ranked or drawn meets it as NaN.
        """
        size = next(iter(drawn.values())).size if drawn else 1
        if self.kept is None:
            return self._evaluated(drawn, size, settled)
        name, pairs = self.kept.name(self.content, drawn), list(self.program.outputs)
        values = self.kept.get(name, (len(pairs), size))
        if values is not None:
            return dict(zip(pairs, values, strict=True))
        found = self._evaluated(drawn, size, settled)
        self.kept.put(name, np.stack([found[pair] for pair in pairs]))
        return found

    def evaluate_variants(
        self, drawn: Mapping[str, Array], variants: Sequence[Moved]
    ) -> dict[tuple[str, str], Array]:
        """Evaluate drawn inputs and variants of them in which a few differ: each step for what it changes.

        Parameters
        ----------
        drawn:
            Inputs by key, in a variant as well; some may be one number.

        Returns
        -------
        dict
            As ``evaluate``; shape (1 + variants, samples), the inputs as drawn first.
        """
        size = max(np.size(values) for values in drawn.values())
        shape = len(pairs := list(self.program.outputs)), 1 + len(variants), size
        name = ""
        if self.kept is not None:
            changed = {f"{k} {key}": one.leaves[key] for k, one in enumerate(variants) for key in one.leaves}
            asked = [sorted(one.wanted) for one in variants]
            name = self.kept.name(f"{self.content} varied {asked}", {**drawn, **changed})
            if (values := self.kept.get(name, shape)) is not None:
                return dict(zip(pairs, values, strict=True))
        keep_freed_memory()
        found, at_once = np.empty(shape), max(1, VARIED // shape[1])
        for start in range(0, size, at_once):
            part = slice(start, start + at_once)
            supplied = {**self.constants, **_rows_of(drawn, part)}
            moved = [replace(one, leaves=_rows_of(one.leaves, part)) for one in variants]
            answers = run_variants(self.program, supplied, moved, min(at_once, size - start))
            for place, pair in enumerate(pairs):
                found[place, :, part] = finite_or_nan(answers[pair])
        if self.kept is not None:
            self.kept.put(name, found)
        return dict(zip(pairs, found, strict=True))

    def _evaluated(
        self, drawn: Mapping[str, Array], size: int, settled: Callable[[], Settled] | None
    ) -> dict[tuple[str, str], Array]:
        keep_freed_memory()
        found = settled().run(drawn) if settled else self.program.run({**self.constants, **drawn})
        return {key: np.broadcast_to(finite_or_nan(value), (size,)) for key, value in found.items()}

    def settled(self, drawn: Mapping[str, Array], moving: Collection[str]) -> Settled:
        """Evaluate on drawn inputs what none of the inputs that are to move reaches."""
        keep_freed_memory()
        return self.program.settled({**self.constants, **drawn}, moving)

    def first_failures(
        self, drawn: Mapping[str, Array], key: tuple[str, str], failed: Array
    ) -> dict[str, int]:
        """Count, for the failed samples of one output, which quantity gave up first."""
        chosen = {name: values[failed] for name, values in drawn.items()}
        size, names = int(np.count_nonzero(failed)), sorted(set(self.program.names.values()))
        kept_as = self.kept and self.kept.name(f"{self.content} fails {key}", chosen)
        counts = self.kept.get(kept_as, (len(names),)) if self.kept and kept_as else None
        if counts is None:
            values = self.program.trace({**self.constants, **chosen})
            first_failed = self.program.first_failures(self.program.outputs[key], values, size)
            counts = np.array([np.count_nonzero(first_failed.get(name, ())) for name in names], float)
            if self.kept and kept_as:
                self.kept.put(kept_as, counts)
        return {name: int(number) for name, number in zip(names, counts, strict=True) if number}


def _rows_of(drawn: Mapping[str, Array], part: slice) -> dict[str, Array]:
    return {key: values[part] if np.ndim(values) else values for key, values in drawn.items()}


def make_plan(
    study: Study,
    wanted: Sequence[tuple[str, str]],
    *,
    scopes: Mapping[str, Mapping[str, Input]] | None = None,
) -> Plan:
    """Compile what is wanted in the study's conditions (or in the scopes given instead).

    Parameters
    ----------
    wanted:
        (quantity, condition) pairs.
    scopes:
        Condition -> quantity -> input; by default every condition of the study.
    """
    scopes = scopes or {name: study.given_in(name) for name in study.conditions}
    used = {condition for _, condition in wanted}
    tokens: dict[str, dict[str, Any]] = {}
    inputs: dict[Any, Input] = {}
    for condition, given in scopes.items():
        if condition not in used:
            continue
        tokens[condition] = {name: one.token for name, one in given.items()}
        tokens[condition].update({name: ("table", name) for name in study.tables})
        inputs.update({one.token: one for one in given.values()})
    program = compile_program(study.graph, list(dict.fromkeys(wanted)), tokens)
    leaves = {token: inputs[token] for token in program.leaves if token in inputs}
    constants = {token: one.distribution.nominal for token, one in leaves.items() if one.exact}
    constants.update({("table", name): table for name, table in study.tables.items()})
    uncertain = {one.key: one for one in leaves.values() if not one.exact}
    streams = {one.stream for one in uncertain.values()}
    groups = correlated_groups(study.correlations)
    copulas = tuple(
        (
            keys,
            correlation_matrix(
                keys, {(c.first, c.second): c.value for c in study.correlations if c.first in keys}
            ),
        )
        for keys in groups
        if not streams.isdisjoint(keys)
    )
    # A correlated partner shapes the draw even where the program does not read it.
    for keys, _ in copulas:
        uncertain.update({key: study.inputs[key] for key in keys})
    bounded = uncertain | {one.key: one for one in leaves.values() if one.chosen}
    return Plan(
        study.seed,
        program,
        uncertain,
        constants,
        copulas,
        {key: _bounds(study, one) for key, one in bounded.items()},
        tuple(leaves.values()),
        study.kept,
        f"{program.digest} {[value for value in constants.values() if np.isscalar(value)]}"
        if study.kept
        else "",
    )


def _bounds(study: Study, given: Input) -> tuple[float, float]:
    quantity = study.graph[given.quantity]
    low = max((b for b in (quantity.at_least, quantity.above) if b is not None), default=-np.inf)
    if quantity.above is not None and low == quantity.above:
        low = float(np.nextafter(low, np.inf))
    return low, np.inf if quantity.at_most is None else quantity.at_most


@cache
def keep_freed_memory() -> bool:
    """Have this process keep the memory of freed arrays for the next ones; tell whether that could be done.

    By default the GNU C library hands every array of a chunk's length back to the system and fetches it anew,
    page by page: a quarter of the time of a run.  Other C libraries are left as they are.
    """
    if sys.platform != "linux":
        return False
    import ctypes

    set_option = getattr(ctypes.CDLL(None), "mallopt", None)
    if set_option is None:
        return False
    # Numbers of the options M_MMAP_THRESHOLD and M_TRIM_THRESHOLD in malloc.h.
    return bool(set_option(-3, 2**24) and set_option(-1, 2**28))


def in_order(
    job: Callable[[int], Part],
    count: int,
    *,
    workers: int | None = None,
    executor: Executor | None = None,
    progress: Callable[[int], None] | None = None,
    start: int = 0,
) -> Iterator[Part]:
    """Run a job for each index and yield the parts in order, with only a few in memory at a time.

    Parameters
    ----------
    job:
        Function of the index; with an executor of other processes it travels to them, and its parts back.
    executor:
        Any ``concurrent.futures`` executor; by default threads of this process.
    workers:
        How many are at work at once; by default one thread, as several hand the interpreter lock to and fro
        and gain nothing, and one a processor with an executor.
    """
    workers = workers or (1 if executor is None else default_workers())
    if executor is None and workers == 1:
        for index in range(start, count):
            yield job(index)
            if progress:
                progress(index + 1)
        return
    owned = ThreadPoolExecutor(workers) if executor is None else None
    pool = executor or owned
    assert pool is not None
    elsewhere = not isinstance(pool, ThreadPoolExecutor)
    todo: Callable[[range], Any] = Packed.of(job) if elsewhere else partial(_parts, job)
    here = isinstance(pool, (ThreadPoolExecutor, ProcessPoolExecutor))
    tasks = _tasks(start, count, workers, 1 if here else MOST_IN_A_TASK)
    pending: list[Future[Any]] = []
    try:
        done = start
        while done < count:
            pending += [pool.submit(todo, task) for task in islice(tasks, 2 * workers - len(pending))]
            parts = pending.pop(0).result()
            for part in Packed.opened(parts) if elsewhere else parts:
                yield part
                done += 1
                if progress:
                    progress(done)
    finally:
        for future in pending:
            future.cancel()
        if owned is not None:
            owned.shutdown(wait=True, cancel_futures=True)


def _parts(job: Callable[[int], Part], indices: range) -> list[Part]:
    return [job(index) for index in indices]


def _tasks(start: int, count: int, workers: int, most: int) -> Iterator[range]:
    """Cut what there is to do into tasks of several parts, single ones last, so that workers end together."""
    while start < count:
        size = min(most, -((start - count) // (2 * workers)))
        yield range(start, start + size)
        start += size


def chunk_sizes(samples: int, chunk: int = CHUNK) -> tuple[int, ...]:
    """Split a number of samples into chunks of fixed length and a rest."""
    whole, rest = divmod(samples, chunk)
    return (chunk,) * whole + ((rest,) if rest else ())
