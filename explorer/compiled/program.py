"""A program run as machine code: one routine for all that can be recorded, numpy for what is left.

A step that no record can hold, and whatever needs what it finds, is run by numpy on what the routine found;
curves that such a step asks for are routines of their own where they can be recorded.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np

from explorer.compiled.machine import COMPILER, has_compiler, run_routine
from explorer.compiled.record import NotRecordedError, Record, Value
from explorer.compiled.samples import SAMPLES, Samples
from explorer.compiled.text import routine
from explorer.errors import ClusterError
from explorer.program import Argument, Closure, Program, Step
from explorer.quantity import Array
from explorer.versions import installed

#: Stands for what numpy finds: no record can hold it.
FOUND_BY_NUMPY = object()
NEEDS_NUMPY = "it needs what numpy finds"


@dataclass(frozen=True)
class Routine:
    """What some values of a record are made of: its text, which rows of samples it takes, what it fills."""

    text: str
    takes: tuple[int, ...]
    fills: tuple[Value, ...]

    @classmethod
    def of(cls, record: Record, wanted: Iterable[Value]) -> Routine:
        """Write the routine for the values wanted."""
        fills = tuple(dict.fromkeys(wanted))
        made = record.made_of(fills)
        takes = tuple(place for place, value in enumerate(record.inputs) if value in made)
        return cls(routine(record, [record.inputs[place] for place in takes], fills), takes, fills)

    def run(self, rows: Sequence[Array | float], samples: int) -> dict[Value, Array]:
        """Return the samples of each value, from those of all inputs of the record."""
        if not self.fills:
            return {}
        found = run_routine(self.text, [rows[place] for place in self.takes], len(self.fills), samples)
        return dict(zip(self.fills, found, strict=True))


class Routines:
    """A program compiled for the constants it was supplied with.

    Attributes
    ----------
    by_numpy:
        Names of the steps that numpy runs -> why.

    """

    def __init__(self, program: Program, supplied: Mapping[Any, Any]) -> None:
        record = Record()
        self.leaves, self.outputs = program.leaves, program.outputs
        self.sampled = [token for token in self.leaves if _is_sampled(supplied[token])]
        self.forms: dict[int, Any] = {slot: supplied[token] for token, slot in self.leaves.items()}
        self.forms |= {self.leaves[token]: Samples.given(record) for token in self.sampled}
        self.by_numpy: dict[str, str] = {}
        self.steps: list[Step] = []
        for step in program.steps:
            try:
                self.forms[step.slot] = form = step.run(self.forms)
                list(_parts(form))
            except Exception as fault:  # what a function cannot do with stand-ins, it does with numbers
                needs = any(self.forms.get(slot) is FOUND_BY_NUMPY for slot in step.reads)
                self.by_numpy.setdefault(step.name, NEEDS_NUMPY if needs else _words(fault))
                self.steps.append(_with_compiled_curves(step, self.forms))
                self.forms[step.slot] = FOUND_BY_NUMPY
        read = {*self.outputs.values()}.union(*(step.reads for step in self.steps))
        self.slots = sorted(read - {step.slot for step in self.steps} - {*self.leaves.values()})
        values = (value for slot in self.slots for value in _values(self.forms[slot]))
        self.routine = Routine.of(record, values)

    def run(self, supplied: Mapping[Any, Any]) -> dict[tuple[str, str], Any]:
        """Evaluate on samples, as ``Program.run``."""
        rows = [supplied[token] for token in self.sampled]
        found = self.routine.run(rows, len(rows[0]))
        values = {slot: supplied[token] for token, slot in self.leaves.items()}
        values |= {slot: _real(self.forms[slot], found, len(rows[0])) for slot in self.slots}
        with np.errstate(all="ignore"):
            for step in self.steps:
                values[step.slot] = step.run(values)
        return {key: values[slot] for key, slot in self.outputs.items()}


@dataclass(frozen=True)
class CompiledProgram(Program):
    """The same calls, run as machine code where there is a compiler.

    ``compiler`` is the version of the compiler, the same wherever the program runs.
    """

    compiler: str

    @classmethod
    def of(cls, program: Program) -> CompiledProgram:
        """Return a program to be run so."""
        return cls(
            **{one.name: getattr(program, one.name) for one in fields(program)}, compiler=installed(COMPILER)
        )

    @property
    def engine(self) -> str:
        """What computes it, and what is left to numpy and why, as far as it has run."""
        if not has_compiler():
            return "numpy, as there is no compiler here (pip install 'squatline[compiled]')"
        words = f"machine code, by {COMPILER} {self.compiler}"
        made = next((one for one in self._made.values() if one is not None), None)
        if made is None or not made.by_numpy:
            return words
        told = (f"{name} ({why})" for name, why in made.by_numpy.items() if why is not NEEDS_NUMPY)
        others = sum(why is NEEDS_NUMPY for why in made.by_numpy.values())
        return f"{words}; numpy for {', '.join(told)}" + (f" and {others} that need them" if others else "")

    @cached_property
    def _made(self) -> dict[Any, Routines | None]:
        return {}

    def __getstate__(self) -> dict[str, Any]:
        # Machine code is made where it runs.
        return {one.name: getattr(self, one.name) for one in fields(self)}

    def __setstate__(self, state: dict[str, Any]) -> None:
        if installed(COMPILER) != state["compiler"]:
            raise ClusterError(
                f"a worker has another {COMPILER}, and would compute other numbers",
                found=installed(COMPILER),
                allowed=state["compiler"],
                remedy="install the same version on every worker and start them again",
            )
        self.__dict__.update(state)

    def run(self, supplied: Mapping[Any, Any]) -> dict[tuple[str, str], Any]:
        """Evaluate as ``Program.run``."""
        routines = self.routines(supplied)
        return super().run(supplied) if routines is None else routines.run(supplied)

    def routines(self, supplied: Mapping[Any, Any]) -> Routines | None:
        """Return the routines for the constants supplied; None without samples, or a compiler."""
        sampled = [token for token in self.leaves if _is_sampled(supplied[token])]
        key = tuple(None if token in sampled else _told_apart(supplied[token]) for token in self.leaves)
        if key not in self._made:
            with np.errstate(all="ignore"):
                self._made[key] = Routines(self, supplied) if sampled and has_compiler() else None
        return self._made[key]


@dataclass(frozen=True)
class CompiledClosure(Closure):
    """A parameter handed over as a function: a routine of what it reads and of its arguments.

    ``forms`` is what stands in the slots that it reads, ``returned`` what it returns.
    """

    forms: Mapping[int, Any]
    returned: Any
    routine: Routine

    def bind(self, values: Mapping[int, Any]) -> Callable[..., Any]:
        """Return the function of the symbols, on top of the values computed so far."""
        plain = super().bind(values)
        read = [row for slot, form in self.forms.items() for row in _rows(form, values[slot])]

        def curve(*arguments: Any) -> Any:
            rows = [*read, *arguments]
            shape = np.broadcast_shapes(*map(np.shape, rows))
            if len(shape) != 1:
                # A grid, or no samples at all.
                return plain(*arguments)
            return _real(self.returned, self.routine.run(rows, shape[0]), shape[0])

        return curve


def _with_compiled_curves(step: Step, forms: Mapping[int, Any]) -> Step:
    return replace(step, arguments=tuple(_compiled(argument, forms) for argument in step.arguments))


def _compiled(argument: Argument, forms: Mapping[int, Any]) -> Argument:
    """Return a curve that is a routine, where that can be recorded."""
    if not isinstance(argument, Closure):
        return argument
    record = Record()
    read = {slot: forms[slot] for slot in sorted(argument.reads)}
    try:
        curve = argument.bind({slot: _anew(record, form) for slot, form in read.items()})
        returned = curve(*(Samples.given(record) for _ in argument.symbols))
        made = Routine.of(record, _values(returned))
    except Exception:  # as above
        return argument
    return CompiledClosure(
        **{one.name: getattr(argument, one.name) for one in fields(argument)},
        forms=read,
        returned=returned,
        routine=made,
    )


def _words(fault: Exception) -> str:
    return str(fault) if isinstance(fault, NotRecordedError) else f"{type(fault).__name__}: {fault}"


def _is_sampled(value: Any) -> bool:
    return isinstance(value, np.ndarray) and value.ndim == 1


def _told_apart(constant: Any) -> Any:
    """Return what constants are told apart by: numbers by their value, tables as they are."""
    return float(constant) if isinstance(constant, float | int | np.ndarray | np.generic) else id(constant)


def _parts(form: Any) -> Iterator[Any]:
    """Go through the samples and constants that a quantity is made of."""
    if isinstance(form, tuple):
        for part in form:
            yield from _parts(part)
    elif isinstance(form, Samples | float | int | np.ndarray | np.generic):
        yield form
    else:
        raise NotRecordedError(f"it returns a {type(form).__name__}")


def _values(form: Any) -> Iterator[Value]:
    for part in _parts(form):
        nodes = part.nodes.flat if isinstance(part, Samples) else ()
        yield from (node for node in nodes if isinstance(node, Value))


def _replaced(form: Any, part: Callable[[Any], Any]) -> Any:
    """Return what a quantity is made of with each part of it replaced."""
    if not isinstance(form, tuple):
        return part(form)
    parts = (_replaced(one, part) for one in form)
    return type(form)(*parts) if hasattr(form, "_fields") else tuple(parts)


def _anew(record: Record, form: Any) -> Any:
    """Return a quantity with inputs of another record in the place of samples."""

    def anew(part: Any) -> Any:
        if not isinstance(part, Samples):
            return part
        given = Samples.given(record, part.nodes.shape)
        return given != 0 if part.dtype == bool else given

    return _replaced(form, anew)


def _real(form: Any, arrays: Mapping[Value, Array], samples: int) -> Any:
    """Return a quantity with arrays in the place of stand-ins."""

    def real(part: Any) -> Any:
        if isinstance(part, np.ndarray) and part.shape[-1:] == (SAMPLES,):
            return np.broadcast_to(part[..., :1], (*part.shape[:-1], samples))
        if not isinstance(part, Samples):
            return part
        found = np.empty((*part.nodes.shape, samples))
        for place in np.ndindex(part.nodes.shape):
            node = part.nodes[place]
            found[place] = arrays[node] if isinstance(node, Value) else node
        return found != 0 if part.dtype == bool else found

    return _replaced(form, real)


def _rows(form: Any, value: Any) -> list[Array]:
    """Return the rows of samples in a quantity, where its form has stand-ins."""
    if isinstance(form, tuple):
        return [row for one, part in zip(form, value, strict=True) for row in _rows(one, part)]
    return list(np.reshape(value, (-1, np.shape(value)[-1]))) if isinstance(form, Samples) else []
