"""A routine with the rows of samples that it takes and the values that it fills."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from explorer.compiled.machine import run_routine
from explorer.compiled.record import Record, Value
from explorer.compiled.text import routine
from explorer.graph.quantity import Array


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
