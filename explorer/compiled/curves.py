"""Curves as routines, for the steps that numpy runs: much of their time goes into curves."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from explorer.compiled.forms import anew, real, rows_of, values_of
from explorer.compiled.record import Record
from explorer.compiled.routine import Routine
from explorer.compiled.samples import Samples
from explorer.graph.program import Argument, Closure, Step


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
        read = [row for slot, form in self.forms.items() for row in rows_of(form, values[slot])]

        def curve(*arguments: Any) -> Any:
            rows = [*read, *arguments]
            shape = np.broadcast_shapes(*map(np.shape, rows))
            if len(shape) != 1:
                # A grid, or no samples at all.
                return plain(*arguments)
            return real(self.returned, self.routine.run(rows, shape[0]), shape[0])

        return curve


def with_compiled_curves(step: Step, forms: Mapping[int, Any]) -> Step:
    """Return a step whose curves are routines, those that can be recorded."""
    return replace(step, arguments=tuple(_compiled(argument, forms) for argument in step.arguments))


def _compiled(argument: Argument, forms: Mapping[int, Any]) -> Argument:
    """Return a curve that is a routine, where that can be recorded."""
    if not isinstance(argument, Closure):
        return argument
    record = Record()
    read = {slot: forms[slot] for slot in sorted(argument.reads)}
    try:
        curve = argument.bind({slot: anew(record, form) for slot, form in read.items()})
        returned = curve(*(Samples.given(record) for _ in argument.symbols))
        made = Routine.of(record, values_of(returned))
    except Exception:  # what a function cannot do with stand-ins, it does with numbers
        return argument
    return CompiledClosure(
        **{one.name: getattr(argument, one.name) for one in fields(argument)},
        forms=read,
        returned=returned,
        routine=made,
    )
