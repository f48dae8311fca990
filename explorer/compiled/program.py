"""A program run as machine code: one routine for all that can be recorded, numpy for what is left.

A step that no record can hold, and whatever needs what it finds, is run by numpy on what the routine found;
curves that such a step asks for are routines of their own where they can be recorded.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

import numpy as np

from explorer.compiled.curves import with_compiled_curves
from explorer.compiled.forms import is_number, parts_of, real, values_of
from explorer.compiled.machine import COMPILER, has_compiler
from explorer.compiled.record import NotRecordedError, Record
from explorer.compiled.routine import Routine
from explorer.compiled.samples import Samples
from explorer.engine.versions import installed
from explorer.errors import ClusterError, SquatlineError
from explorer.graph.program import Program, Step

#: Stands for what numpy finds: no record can hold it.
FOUND_BY_NUMPY = object()
NEEDS_NUMPY = "it needs what numpy finds"
#: Samples that are run on both before machine code is trusted.
LOOKED_AT = 50


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
                list(parts_of(form))
            except Exception as fault:  # what a function cannot do with stand-ins, it does with numbers
                needs = any(self.forms.get(slot) is FOUND_BY_NUMPY for slot in step.reads)
                self.by_numpy.setdefault(step.name, NEEDS_NUMPY if needs else _words(fault))
                self.steps.append(with_compiled_curves(step, self.forms))
                self.forms[step.slot] = FOUND_BY_NUMPY
        read = {*self.outputs.values()}.union(*(step.reads for step in self.steps))
        self.slots = sorted(read - {step.slot for step in self.steps} - {*self.leaves.values()})
        values = (value for slot in self.slots for value in values_of(self.forms[slot]))
        self.routine = Routine.of(record, values)

    def run(self, supplied: Mapping[Any, Any]) -> dict[tuple[str, str], Any]:
        """Evaluate on samples, as ``Program.run``."""
        rows = [supplied[token] for token in self.sampled]
        found = self.routine.run(rows, len(rows[0]))
        values = {slot: supplied[token] for token, slot in self.leaves.items()}
        values |= {slot: real(self.forms[slot], found, len(rows[0])) for slot in self.slots}
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
                made = Routines(self, supplied) if sampled and has_compiler() else None
                if made is not None:
                    few = {token: supplied[token][:LOOKED_AT] for token in sampled}
                    _require_agreement(super().run({**supplied, **few}), made.run({**supplied, **few}))
                self._made[key] = made
        return self._made[key]


def _require_agreement(expected: Mapping[Any, Any], found: Mapping[Any, Any]) -> None:
    """Raise unless numpy agrees, but for rounding: a shortcut over all samples may have been no shortcut."""
    for (name, condition), value in expected.items():
        size = np.nanmedian(np.abs(value)) if is_number(value) and np.any(np.isfinite(value)) else 0.0
        if is_number(value) and not np.allclose(found[name, condition], value, 1e-6, 1e-6 * size, True):
            raise SquatlineError(
                "machine code and numpy do not agree",
                key=name,
                found=condition,
                remedy="run without --compiled; what a quantity is for a car may not hang on other cars",
            )


def _words(fault: Exception) -> str:
    return str(fault) if isinstance(fault, NotRecordedError) else f"{type(fault).__name__}: {fault}"


def _is_sampled(value: Any) -> bool:
    return isinstance(value, np.ndarray) and value.ndim == 1


def _told_apart(constant: Any) -> Any:
    """Return what constants are told apart by: numbers by their value, tables as they are."""
    return float(constant) if is_number(constant) else id(constant)
