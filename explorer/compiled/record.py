"""A record of what functions do to one sample: operations on values, and loops.

A value is put into the outermost region that has all it is made of, and equal values are one: what does not
change in a loop, or is shared by conditions, is computed once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

#: A record with more values than this would take longer to compile than it saves.
MOST_VALUES = 50_000


class NotRecordedError(Exception):
    """A function does something to its samples that no record can hold."""


@dataclass(frozen=True, eq=False)
class Value:
    """One number a sample, or one truth.

    ``operation`` is that of numpy on the operands, or says where the value is found: ``input``, or in a loop
    ``carried`` from one round to the next, or after it its ``result``.
    """

    number: int
    operation: str
    operands: tuple[Operand, ...]
    truth: bool
    region: Region


Operand = Value | float | bool


@dataclass(eq=False)
class Loop:
    """Rounds until every sample is done, at most so many: ``done`` is the place of that truth.

    What is carried from one round to the next starts as ``initial`` and becomes ``changed``.
    """

    limit: int
    done: int
    body: Region
    initial: list[Operand]
    carried: list[Value]
    changed: list[Operand] = field(default_factory=list)
    results: list[Value] = field(default_factory=list)


@dataclass(eq=False)
class Region:
    """Values and loops in order: a whole record, or the body of a loop."""

    depth: int = 0
    items: list[Value | Loop] = field(default_factory=list)
    known: dict[Any, Value] = field(default_factory=dict)


def is_truth(operand: Operand) -> bool:
    """Tell whether an operand is a truth, not a number."""
    return operand.truth if isinstance(operand, Value) else isinstance(operand, bool)


class Record:
    """Grows while functions run on its samples."""

    def __init__(self) -> None:
        self.top = self.here = Region()
        self.inputs: list[Value] = []
        #: Carried values and results -> their loop and their place in it.
        self.loops: dict[Value, tuple[Loop, int]] = {}
        self.count = 0

    def input(self) -> Value:
        """Note a number that will be supplied."""
        self.inputs.append(self._new("input", (), False, self.top))
        return self.inputs[-1]

    def value(self, operation: str, *operands: Operand, truth: bool = False) -> Value:
        """Note a value, or find it among those noted."""
        homes = [one.region for one in operands if isinstance(one, Value)]
        region = max(homes, key=lambda home: home.depth, default=self.top)
        key = (operation, *map(_identity, operands))
        if key not in region.known:
            region.known[key] = self._new(operation, operands, truth, region)
        return region.known[key]

    def loop(
        self, change: Callable[[list[Value]], list[Operand]], initial: list[Operand], done: int, limit: int
    ) -> list[Value]:
        """Note a loop whose body is what ``change`` does to carried values; return what comes out of it."""
        outside, body = self.here, Region(self.here.depth + 1)
        truths = [is_truth(operand) for operand in initial]
        loop = Loop(limit, done, body, initial, [self._new("carried", (), truth, body) for truth in truths])
        self.here = body
        try:
            loop.changed = change(loop.carried)
        finally:
            self.here = outside
        if [is_truth(operand) for operand in loop.changed] != truths:
            raise NotRecordedError("a loop turns numbers into truths")
        outside.items.append(loop)
        loop.results = [self._new("result", (), truth, outside) for truth in truths]
        for values in (loop.carried, loop.results):
            self.loops.update({value: (loop, place) for place, value in enumerate(values)})
        return loop.results

    def _new(self, operation: str, operands: tuple[Operand, ...], truth: bool, region: Region) -> Value:
        if self.count >= MOST_VALUES:
            raise NotRecordedError("it takes too many operations")
        self.count += 1
        made = Value(self.count, operation, operands, truth, region)
        region.items.append(made)
        return made

    def made_of(self, wanted: Iterable[Operand]) -> set[Value]:
        """Return all values that those wanted are made of, themselves included."""
        found: set[Value] = set()
        pending = list(wanted)
        while pending:
            value = pending.pop()
            if isinstance(value, Value) and value not in found:
                found.add(value)
                pending += value.operands
                if value in self.loops:
                    loop, k = self.loops[value]
                    pending += (loop.initial[k], loop.changed[k], loop.carried[k], loop.carried[loop.done])
        return found


def _identity(operand: Operand) -> Any:
    return operand.number if isinstance(operand, Value) else (type(operand), repr(operand))
