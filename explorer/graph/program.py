"""From the graph to a list of calls: what every condition needs, each value computed once.

Expressions are numbered: two conditions that ask for the same function of the same values share the number,
so what a condition does not change is evaluated once for all.  A parameter declared ``varying`` is an
expression with a free symbol; at run time it becomes a function that evaluates just the part that depends on
that symbol.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from explorer.graph.arrays import Array, Which, picked
from explorer.graph.graph import Graph
from explorer.graph.quantity import Need

Token = tuple[Any, ...]


@dataclass(frozen=True)
class Closure:
    """A parameter handed over as a function: which slots to recompute when its symbols are bound."""

    symbols: tuple[int, ...]
    steps: tuple[Call, ...]
    results: tuple[int, ...]
    stacked: bool

    @cached_property
    def reads(self) -> frozenset[int]:
        """Slots read from outside this curve."""
        inside = {step.slot for step in self.steps} | set(self.symbols)
        return frozenset(self.results).union(*(step.reads for step in self.steps)) - inside

    @cached_property
    def schedule(self) -> tuple[tuple[Call, tuple[int, ...]], ...]:
        """Each step with the slots that nothing reads after it."""
        return _schedule(self.steps, self.results)

    def bind(self, values: Mapping[int, Any]) -> BoundCurve:
        """Return the function of the symbols, on top of the values computed so far."""
        return BoundCurve(self, {slot: values[slot] for slot in self.reads})


@dataclass(frozen=True)
class BoundCurve:
    """A parameter as the function it is handed over as, on top of the values computed so far."""

    closure: Closure
    outside: Mapping[int, Any]

    def __call__(self, *arguments: Any) -> Array:
        """Evaluate the part of the graph that depends on the symbols."""
        inner = {**self.outside, **dict(zip(self.closure.symbols, arguments, strict=True))}
        _run(self.closure.schedule, inner)
        result: Array = _gathered([inner[slot] for slot in self.closure.results], self.closure.stacked)
        return result

    def of_samples(self, where: Which) -> BoundCurve:
        """Return the same function for some of the samples."""
        fewer = picked(tuple(self.outside.values()), where)
        return BoundCurve(self.closure, dict(zip(self.outside, fewer, strict=True)))


@dataclass(frozen=True)
class Stack:
    """A parameter that gathers a family: the slots of its members, stacked along a new first axis."""

    slots: tuple[int, ...]


Argument = int | Stack | Closure


@dataclass(frozen=True)
class Call:
    """One call: the function, where its arguments come from, and the slot its result goes to."""

    slot: int
    name: str
    function: Callable[..., Any]
    arguments: tuple[Argument, ...]
    free: frozenset[int] = frozenset()

    def run(self, values: Mapping[int, Any]) -> Any:
        """Evaluate the function on the values computed so far."""
        if self.plain is not None:
            return self.function(*[values[slot] for slot in self.plain])
        return self.function(*[_fetch(argument, values) for argument in self.arguments])

    @cached_property
    def plain(self) -> tuple[int, ...] | None:
        """Slots of the arguments, when each is one value: the usual case, run without asking further."""
        slots = tuple(argument for argument in self.arguments if isinstance(argument, int))
        return slots if len(slots) == len(self.arguments) else None

    @cached_property
    def reads(self) -> frozenset[int]:
        """Slots read from outside this step."""
        return frozenset(slot for argument in self.arguments for slot in _reads(argument))


def _schedule(steps: Sequence[Call], kept: Collection[int]) -> tuple[tuple[Call, tuple[int, ...]], ...]:
    """Pair each step with the slots that are read there for the last time, but for those to be kept."""
    last = {slot: position for position, step in enumerate(steps) for slot in step.reads}
    return tuple(
        (step, tuple(slot for slot in sorted(step.reads) if last[slot] == position and slot not in kept))
        for position, step in enumerate(steps)
    )


def _run(schedule: Iterable[tuple[Call, tuple[int, ...]]], values: dict[int, Any]) -> None:
    """Run the steps, letting go of each value once nobody needs it: its memory is warm for the next."""
    for step, done_with in schedule:
        values[step.slot] = step.run(values)
        for slot in done_with:
            del values[slot]


def _reads(argument: Argument) -> Collection[int]:
    if isinstance(argument, int):
        return (argument,)
    return argument.slots if isinstance(argument, Stack) else argument.reads


def _fetch(argument: Argument, values: Mapping[int, Any]) -> Any:
    if isinstance(argument, int):
        return values[argument]
    if isinstance(argument, Stack):
        return _gathered([values[slot] for slot in argument.slots], stacked=True)
    return argument.bind(values)


def _gathered(parts: list[Any], stacked: bool) -> Any:
    return np.stack(np.broadcast_arrays(*parts)) if stacked else parts[0]


@dataclass(frozen=True)
class Program:
    """The calls in order, the leaves to fill in, and where each asked-for value ends up.

    Attributes
    ----------
    leaves:
        Token of every value to be supplied -> slot.  A token is what ``compile_program`` was given for it.
    outputs:
        (quantity, condition) -> slot.
    names:
        slot -> quantity name.
    """

    steps: tuple[Call, ...]
    leaves: Mapping[Any, int]
    outputs: Mapping[tuple[str, str], int]
    names: Mapping[int, str]
    upstream: Mapping[int, tuple[int, ...]]

    @cached_property
    def schedule(self) -> tuple[tuple[Call, tuple[int, ...]], ...]:
        """Each step with the slots that nothing reads after it."""
        return _schedule(self.steps, frozenset(self.outputs.values()))

    @property
    def digest(self) -> str:
        """Digest of what is called on what: equal ones compute the same from equal leaves."""
        calls: dict[int, str] = {}
        pending = list(self.steps)
        while pending:
            step = pending.pop()
            if step.slot not in calls:
                calls[step.slot] = f"{step.name} {[_identity(argument) for argument in step.arguments]}"
                pending += [s for one in step.arguments if isinstance(one, Closure) for s in one.steps]
        said = (sorted(calls.items()), list(self.leaves.items()), list(self.outputs.items()))
        return hashlib.sha256(repr(said).encode()).hexdigest()

    def run(self, supplied: Mapping[Any, Any]) -> dict[tuple[str, str], Any]:
        """Evaluate on one set of leaf values; arrays broadcast against each other.

        Parameters
        ----------
        supplied:
            A value (number, array or table) for every token in ``leaves``.

        Returns
        -------
        dict
            (quantity, condition) -> value.
        """
        values = self._evaluate({token: supplied[token] for token in self.leaves}, self.schedule)
        return {key: values[slot] for key, slot in self.outputs.items()}

    def settled(self, supplied: Mapping[Any, Any], moving: Collection[Any]) -> Settled:
        """Evaluate what none of the leaves that are to move reaches; ``Settled.run`` does the rest."""
        reached = {slot for token, slot in self.leaves.items() if token in moving}
        first: list[Call] = []
        then: list[Call] = []
        for step in self.steps:
            moves = not reached.isdisjoint(step.reads)
            (then if moves else first).append(step)
            if moves:
                reached.add(step.slot)
        needed = frozenset(self.outputs.values()).union(*(step.reads for step in then))
        values = self._evaluate(
            {token: value for token, value in supplied.items() if token not in moving},
            _schedule(first, needed),
        )
        kept = {slot: value for slot, value in values.items() if slot in needed}
        return Settled(self, kept, _schedule(then, frozenset(self.outputs.values())))

    def trace(self, supplied: Mapping[Any, Any]) -> dict[int, Any]:
        """Evaluate and keep every intermediate value, by slot."""
        return self._evaluate(supplied, [(step, ()) for step in self.steps])

    def _evaluate(
        self, supplied: Mapping[Any, Any], schedule: Iterable[tuple[Call, tuple[int, ...]]]
    ) -> dict[int, Any]:
        values = {slot: supplied[token] for token, slot in self.leaves.items() if token in supplied}
        # A NaN is how a model says "no answer"; the engine counts them, numpy need not warn.
        with np.errstate(all="ignore"):
            _run(schedule, values)
        return values

    def first_failures(self, slot: int, values: Mapping[int, Any], size: int) -> dict[str, Array]:
        """For samples where an output is not finite, find the first quantity that stopped being finite.

        Returns a boolean array per quantity name; together they cover every such sample once.
        """
        open_samples = ~np.isfinite(np.broadcast_to(np.asarray(values[slot], dtype=float), (size,)))
        first_failed: dict[str, Array] = {}
        for candidate in (*self.upstream[slot], slot):
            if not open_samples.any():
                break
            value = values.get(candidate)
            if value is None or not isinstance(value, (int, float, np.ndarray, np.generic)):
                continue
            bad = ~np.isfinite(np.broadcast_to(np.asarray(value, dtype=float), (size,))) & open_samples
            if bad.any():
                name = self.names[candidate]
                first_failed[name] = first_failed.get(name, np.zeros(size, bool)) | bad
                open_samples = open_samples & ~bad
        return first_failed


@dataclass(frozen=True)
class Settled:
    """A program of which all but what hangs on a few leaves is evaluated.

    Attributes
    ----------
    values:
        What the rest reads, and what is asked for, by slot.
    rest:
        The steps that are left, each with the slots that nothing reads after it.
    """

    program: Program
    values: Mapping[int, Any]
    rest: tuple[tuple[Call, tuple[int, ...]], ...]

    def run(self, moved: Mapping[Any, Any]) -> dict[tuple[str, str], Any]:
        """Evaluate the rest at values of the leaves that move: as ``Program.run`` does all of it."""
        leaves = self.program.leaves
        values = {
            **self.values,
            **{leaves[token]: value for token, value in moved.items() if token in leaves},
        }
        with np.errstate(all="ignore"):
            _run(self.rest, values)
        return {key: values[slot] for key, slot in self.program.outputs.items()}


class _Numbering:
    """Gives equal expressions equal numbers while the graph is walked condition by condition."""

    def __init__(self, graph: Graph) -> None:
        self.graph = graph
        self.numbers: dict[Token, int] = {}
        self.names: dict[int, str] = {}
        self.steps: dict[int, Call] = {}
        self.leaves: dict[Any, int] = {}
        self.free: dict[int, frozenset[int]] = {}

    def _number(self, token: Token, name: str) -> int:
        if token not in self.numbers:
            self.numbers[token] = len(self.numbers)
            self.names[self.numbers[token]] = name
        return self.numbers[token]

    def leaf(self, token: Any, name: str) -> int:
        slot = self._number(("leaf", token), name)
        self.leaves[token] = slot
        self.free[slot] = frozenset()
        return slot

    def symbol(self, name: str) -> int:
        slot = self._number(("symbol", name), name)
        self.free[slot] = frozenset({slot})
        return slot

    def expression(self, name: str, scope: Mapping[str, int], memo: dict[Any, int]) -> int:
        """Return the number of a quantity in a scope that maps given or bound names to slots."""
        if name in scope:
            return scope[name]
        bound = frozenset(slot for slot in scope.values() if self.free[slot])
        key = (name, bound)
        if key not in memo:
            memo[key] = self._call(name, scope, memo)
        return memo[key]

    def _call(self, name: str, scope: Mapping[str, int], memo: dict[Any, int]) -> int:
        entry = self.graph[name]
        assert entry.function is not None, f"{name} must be in scope"
        arguments = tuple(self._argument(need, scope, memo) for need in entry.needs)
        free = frozenset[int]().union(*(self._free_of(argument) for argument in arguments))
        token = ("call", name, tuple(_identity(argument) for argument in arguments))
        slot = self._number(token, name)
        self.free[slot] = free
        self.steps.setdefault(slot, Call(slot, name, entry.function, arguments, free))
        return slot

    def _argument(self, need: Need, scope: Mapping[str, int], memo: dict[Any, int]) -> Argument:
        inner = {**scope, **{name: self.symbol(name) for name in need.over}}
        slots = tuple(self.expression(name, inner, memo) for name in need.names)
        if not need.over:
            return Stack(slots) if need.stacked else slots[0]
        symbols = tuple(inner[name] for name in need.over)
        return Closure(symbols, self._dependent(slots, frozenset(symbols)), slots, need.stacked)

    def _dependent(self, slots: Sequence[int], symbols: frozenset[int]) -> tuple[Call, ...]:
        """List the steps to repeat, in order, when these symbols change."""
        found: dict[int, Call] = {}

        def visit(slot: int) -> None:
            step = self.steps.get(slot)
            if step is None or slot in found or not (self.free[slot] & symbols):
                return
            for read in sorted(step.reads):
                visit(read)
            found[slot] = step

        for slot in slots:
            visit(slot)
        return tuple(found.values())

    def _free_of(self, argument: Argument) -> frozenset[int]:
        if isinstance(argument, int):
            return self.free[argument]
        if isinstance(argument, Stack):
            return frozenset[int]().union(*(self.free[slot] for slot in argument.slots))
        inside = frozenset[int]().union(*(self.free[slot] for slot in argument.results))
        return inside - frozenset(argument.symbols)


def _identity(argument: Argument) -> Any:
    if isinstance(argument, int):
        return argument
    if isinstance(argument, Stack):
        return ("stack", argument.slots)
    return ("curve", argument.symbols, argument.results)


def compile_program(
    graph: Graph,
    wanted: Sequence[tuple[str, str]],
    scopes: Mapping[str, Mapping[str, Any]],
) -> Program:
    """Turn asked-for (quantity, condition) pairs into a program.

    Parameters
    ----------
    wanted:
        Pairs of quantity and condition name.
    scopes:
        For each condition: given quantity -> token of the value it takes there.  Equal tokens mean equal
        values; defaults of the graph are filled in by the caller, so that every leaf is in a scope.

    Raises
    ------
    MissingInputError, UnknownQuantityError
        When a quantity cannot be computed from what its condition gives.
    """
    numbering = _Numbering(graph)
    outputs: dict[tuple[str, str], int] = {}
    for condition, tokens in scopes.items():
        names = [name for name, where in wanted if where == condition]
        graph.require(names, tokens)
        needed = graph.upstream(names, tokens)
        scope = {name: numbering.leaf(token, name) for name, token in tokens.items() if name in needed}
        memo: dict[Any, int] = {}
        for name in names:
            outputs[name, condition] = numbering.expression(name, scope, memo)
    return _scheduled(numbering, outputs)


def _scheduled(numbering: _Numbering, outputs: dict[tuple[str, str], int]) -> Program:
    order: dict[int, Call] = {}
    used_leaves: set[int] = set()
    upstream: dict[int, tuple[int, ...]] = {}

    def visit(slot: int) -> None:
        step = numbering.steps.get(slot)
        if step is None:
            used_leaves.add(slot)
            return
        if slot in order:
            return
        for read in sorted(step.reads):
            visit(read)
        order[slot] = step

    for slot in outputs.values():
        visit(slot)
    position = {slot: index for index, slot in enumerate(order)}
    for slot in set(outputs.values()):
        seen: set[int] = set()
        pending = [slot]
        while pending:
            step = order.get(pending.pop())
            fresh = (step.reads if step else frozenset()) - seen
            seen |= fresh
            pending.extend(fresh)
        upstream[slot] = tuple(sorted(seen, key=lambda s: position.get(s, -1)))
    return Program(
        steps=tuple(order.values()),
        leaves={token: slot for token, slot in numbering.leaves.items() if slot in used_leaves},
        outputs=outputs,
        names=numbering.names,
        upstream=upstream,
    )
