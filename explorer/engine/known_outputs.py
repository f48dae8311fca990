"""Outputs of cars drawn before, by all that they hang on: what a change does not reach is at hand."""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import pairwise
from threading import Lock
from typing import TypeAlias

import numpy as np

from explorer.engine.execution import Execution
from explorer.engine.montecarlo import Job
from explorer.engine.plan import make_plan
from explorer.graph.arrays import Array
from explorer.graph.program import Program
from explorer.study.study import Study

MOST_BYTES = 2**23
Pair: TypeAlias = tuple[str, str]
# What an output hangs on, and which cars: how they are drawn, and the number of their chunk.
Key: TypeAlias = tuple[str, str, int]


@dataclass
class KnownOutputs:
    """Values of outputs, the longest unused of which make room; several threads may use it."""

    _values: dict[Key, Array] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def first(self, key: Key) -> Array:
        """Return what is known of the first cars of a chunk; an empty array where nothing is."""
        with self._lock:
            if key not in self._values:
                return np.empty(0)
            self._values[key] = found = self._values.pop(key)
            return found

    def keep(self, key: Key, values: Array) -> None:
        """Keep what is known of the first cars of a chunk, in place of what was known of fewer."""
        with self._lock:
            self._values.pop(key, None)
            self._values[key] = values
            held = sum(one.nbytes for one in self._values.values())
            while held > MOST_BYTES:
                held -= self._values.pop(next(iter(self._values))).nbytes


@dataclass(frozen=True)
class _Lacking:
    """Cars of one chunk, and the outputs that are not known of them."""

    chunk: int
    start: int
    stop: int
    pairs: tuple[Pair, ...]


def outputs_by_chunk(
    study: Study, job: Job, known: KnownOutputs, execution: Execution, chunks: range
) -> Iterator[dict[Pair, Array]]:
    """Return all that the limits read, chunk by chunk: what is known, and the rest from the workers.

    The cars of the first chunk, for which one waits, are shared out among the workers.

    Parameters
    ----------
    job:
        Its plan draws; it may have fewer limits than that was made for.
    chunks:
        Which of the chunks.

    Yields
    ------
    dict
        (quantity, condition) -> values of all cars of the next chunk.
    """
    keys, drawing = _keys(study, job), job.drawing
    drawn = drawing.design if not drawing.scrambled else f"{drawing.design} {drawing.each} {job.plan.streams}"
    todo: list[list[_Lacking]] = []
    at_hand: list[dict[Pair, Array]] = []
    for chunk in chunks:
        size = drawing.up_to(chunk + 1) - drawing.up_to(chunk)
        found = {pair: known.first((key, drawn, chunk))[:size] for pair, key in keys.items()}
        pairs = tuple(pair for pair, values in found.items() if values.size < size)
        first = min((found[pair].size for pair in pairs), default=size)
        cuts = np.linspace(first, size, (execution.workers or 1) + 1 if chunk == 0 else 2).astype(int)
        todo.append([_Lacking(chunk, a, b, pairs) for a, b in pairwise(cuts) if a < b])
        at_hand.append(
            {pair: values if values.size == size else values[:first] for pair, values in found.items()}
        )
    tasks = [task for several in todo for task in several]
    programs = {
        pairs: job.plan.program
        if set(pairs) == job.plan.program.outputs.keys()
        else make_plan(study, pairs).program
        for pairs in {task.pairs for task in tasks}
    }
    fresh = execution.in_order(partial(_computed, job, programs, tasks), len(tasks))
    for chunk, several, found in zip(chunks, todo, at_hand, strict=True):
        parts = [next(fresh) for _ in several]
        for place, pair in enumerate(several[0].pairs if several else ()):
            found[pair] = np.concatenate([found[pair], *(part[place] for part in parts)])
            known.keep((keys[pair], drawn, chunk), found[pair])
        yield found


def _computed(
    job: Job, programs: Mapping[tuple[Pair, ...], Program], tasks: list[_Lacking], number: int
) -> list[Array]:
    task = tasks[number]
    drawn = job.drawing.drawn(job.plan, task.chunk)
    some = {key: values[task.start : task.stop] for key, values in drawn.items()}
    found = replace(job.plan, program=programs[task.pairs]).evaluate(some)
    return [np.broadcast_to(found[pair], (task.stop - task.start,)) for pair in task.pairs]


def _keys(study: Study, job: Job) -> dict[Pair, str]:
    """Return for all that the limits read the digest of what its values hang on but the cars drawn."""
    entries = study.entries
    of_all = (
        study.seed,
        entries.models,
        entries.families,
        entries.study.own_quantities,
        entries.model_errors,
    )
    digests: dict[str, str] = {}

    def digest(names: Iterable[str], condition: str) -> Iterator[str]:
        for name, given in study.given_in(condition).items():
            if name in names:
                if given.key not in digests:
                    # The distribution itself: where it is looked at, a few values of many do not show.
                    drawn = pickle.dumps((given.key, given.stream, given.distribution))
                    digests[given.key] = hashlib.sha256(drawn).hexdigest()
                yield f"{name} {digests[given.key]}"

    found = {}
    for name, condition in dict.fromkeys(pair for limit in job.limits for pair in limit.output.pairs):
        needed = study.graph.upstream([name], study.given_names(condition))
        linked = any(one.first in needed or one.second in needed for one in study.correlations)
        said = (
            of_all,
            name,
            sorted(needed),
            list(digest(needed, condition)),
            {table: study.tables[table] for table in sorted(needed & study.tables.keys())},
            [(one.first, one.second, one.value) for one in study.correlations] if linked else [],
        )
        found[name, condition] = hashlib.sha256(pickle.dumps(said)).hexdigest()
    return found
