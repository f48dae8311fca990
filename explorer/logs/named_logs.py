"""Logs as a study names them: columns mapped, units checked, cut to a stretch, faults told in its words."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import PurePath

import numpy as np

from explorer.errors import SquatlineError, StudyError, TableError, unknown, with_key
from explorer.graph.graph import Graph
from explorer.graph.units import parse, to_si
from explorer.logs.clock import CLOCK_UNITS
from explorer.logs.reader import LOGGED, Log, read_log
from explorer.study.schema import ColumnEntry, LogEntry, Value
from explorer.study.study import Study

# SI unit of what only some kinds of fit read; any quantity of the study may be logged as well.
ALSO_LOGGED = {
    "distance": "m",
    "loading": "1",
    "opening_pull": "N",
    "closing_pull": "N",
    "electrical_power": "W",
    "shaft_power": "W",
}


def read_study_log(
    study: Study, entry: LogEntry, columns: Mapping[str, ColumnEntry], key: str, *, most_rows: int
) -> Log:
    """Read the columns of one log that the study names.

    Parameters
    ----------
    entry:
        The file, its date and the times between which it counts.
    columns:
        Quantity -> column and unit.
    key:
        Where the mapping stands in the study, for messages.
    most_rows:
        Longer logs are thinned to this many rows.

    Raises
    ------
    SquatlineError
        With the file as the study names it, and the key.
    """
    with told_in_study(study, key, [entry.file]):
        for quantity, column in columns.items():
            _check_unit(study.graph, quantity, column, f"columns.{quantity}")
        found = read_log(
            study.folder / entry.file,
            {quantity: one.model_dump(exclude_none=True) for quantity, one in columns.items()},
            date=entry.date,
            most_rows=most_rows,
            separator=entry.separator,
            decimal=entry.decimal,
            part=entry.part,
        )
        return found if entry.between is None else _cut(found, entry)


@contextmanager
def told_in_study(study: Study, key: str, files: Collection[str]) -> Iterator[None]:
    """Fill in what goes wrong inside with the files as the study names them, and the section's key."""
    try:
        yield
    except SquatlineError as error:
        named = {PurePath(file).name: file for file in files}
        if error.file in named:
            error.file = named[error.file]
        if not (error.key or "").startswith(key):
            error.key = f"{key}.{error.key}" if error.key else key
        raise error.within(file=str(study.path)) from None


def logged_unit(graph: Graph, quantity: str) -> str:
    """Return the SI unit that a logged quantity is read into.

    Raises
    ------
    StudyError
        When neither a fit nor the study knows such a quantity.
    """
    known = {**LOGGED, **ALSO_LOGGED}
    if quantity in known:
        return known[quantity]
    if quantity in graph:
        return graph[quantity].unit
    raise unknown(
        "no quantity is called {}",
        quantity,
        [*known, *graph.quantities],
        f"columns.{quantity}",
        allowed="a quantity of the study, or one of " + ", ".join(known),
        otherwise="name what the column holds",
    )


def _check_unit(graph: Graph, quantity: str, column: ColumnEntry, key: str) -> None:
    """Refuse a unit of the wrong kind."""
    expected = logged_unit(graph, quantity)
    if not column.unit or (quantity == "time" and column.unit in CLOCK_UNITS):
        return  # the reader of the log says what is missing, and in which file
    with with_key(key):
        to_si(0.0, column.unit, expected)


def _time(value: Value) -> float:
    with with_key("between"):
        return parse(value, None, "s")[0]


def _cut(log: Log, entry: LogEntry) -> Log:
    """Keep the rows between two times."""
    assert entry.between is not None
    if "time" not in log.columns:
        raise StudyError(
            "a log without its time cannot be cut",
            key="between",
            allowed='time = { column = "...", unit = "s" } among the columns',
        )
    start, end = (_time(value) for value in entry.between)
    inside = (log["time"] >= start) & (log["time"] <= end)
    rows = int(np.count_nonzero(inside))
    if not rows:
        raise TableError(
            "no row lies between these times",
            file=entry.file,
            key="between",
            found=f"{start:g} s to {end:g} s",
            allowed=f"times from {float(log['time'][0]):g} s to {float(log['time'][-1]):g} s",
        )
    note = f"{entry.file}: cut to {start:g} s to {end:g} s, {rows} of {log.rows} rows"
    kept = {quantity: values[inside] for quantity, values in log.columns.items()}
    return replace(log, columns=kept, notes=(*log.notes, note))
