"""Measured logs: a CSV file from any logger -> columns in SI units, with every row that was left out counted.

The study says which column holds which quantity, and in which unit.  How the file is written is judged by
these columns (``layout``), times by ``clock``; empty cells, text among numbers and a clock that jumps back
are handled and reported; what cannot be used at all is refused.  Files of any length are streamed, and
thinned with a word when they are long.
"""

from __future__ import annotations

import datetime
import hashlib
import re
import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from io import StringIO
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from explorer.errors import TableError, UnitError
from explorer.files.reading import Source, Wanted
from explorer.graph.arrays import Array, Mask
from explorer.logs.clock import CLOCK_UNITS, DIGITS, RunningClock, clock_seconds, looks_like_digits
from explorer.logs.layout import (
    JUDGED,
    LONGEST_PREAMBLE,
    Glimpse,
    Layout,
    Wording,
    encoding_of,
    glimpse_of,
    layout_of,
)

# SI unit of what logs usually hold; any other quantity may be logged in any unit.
LOGGED = {
    "time": "s",
    "speed": "m/s",
    "voltage": "V",
    "current": "A",
    "motor_speed": "rad/s",
    "pitch": "rad",
    "front_ride_height": "m",
    "rear_ride_height": "m",
    "front_compression": "m",
    "rear_compression": "m",
    "load": "N",
    "deflection": "m",
    "front_load": "kg",
    "rear_load": "kg",
    "rise": "m",
    "angle": "rad",
    "pull": "N",
}

LOG = Wanted(
    "log",
    2_000_000_000,
    otherwise="cut it into runs, or have the logger write less often",
    raising=TableError,
)
MOST_ROWS = 200_000
CHUNK_ROWS = 200_000
# More of the clock running backwards than this is not a glitch but another run, or a wrong column.
MOST_BACKWARDS = 0.2
# A step in time this many times the usual one is a dropout.
DROPOUT_STEPS = 5.0
SYNTHETIC_MARK = "synthetic log"

EMPTY = "a cell is empty"
TEXT = "text where a number should stand"
INFINITE = "not a finite number"
EXTRA = "more cells than the header has"
BACKWARDS = "time runs backwards"
STANDING = "time stands still"
OTHER_RUN = "of another run in the file"


@dataclass(frozen=True)
class Log:
    """A log in SI units.

    Attributes
    ----------
    source:
        File, date and digest.
    columns, units:
        Quantity -> values, all of shape (rows,), and its SI unit ("" where the study did not say).
    rows_read:
        Rows of the file below its header.
    dropped:
        Reason -> rows left out for it; a row is counted once.
    stride:
        Every stride-th good row was kept.
    notes:
        What was done to the file, in words for the report.
    """

    source: Source
    columns: Mapping[str, Array]
    units: Mapping[str, str]
    rows_read: int
    dropped: Mapping[str, int] = field(default_factory=dict)
    stride: int = 1
    notes: tuple[str, ...] = ()

    def __getitem__(self, quantity: str) -> Array:
        """Return the values of a quantity; TableError when it was not read."""
        try:
            return self.columns[quantity]
        except KeyError:
            raise TableError(
                f"the log was read without {quantity!r}",
                file=self.source.file,
                key="columns",
                found=", ".join(self.columns),
                remedy=f"say which column holds it: {quantity} = {{ column = ..., unit = ... }}",
            ) from None

    @property
    def rows(self) -> int:
        """Number of rows kept."""
        return len(next(iter(self.columns.values())))


@dataclass(frozen=True)
class _LoggedColumn:
    """A wanted column: its place in the row, how it is written, and its unit as one linear map to SI."""

    quantity: str
    place: int
    name: str
    wording: Wording
    factor: float
    offset: float
    unit: str
    stated: str


def read_log(
    path: str | Path,
    columns: Mapping[str, Mapping[str, str]],
    *,
    date: str | None = None,
    most_rows: int = MOST_ROWS,
    separator: str | None = None,
    decimal: str | None = None,
    part: int | None = None,
) -> Log:
    """Read the wanted columns of a log.

    Parameters
    ----------
    path:
        The CSV file; comma, semicolon, tab or space between cells, decimal point or comma.
    columns:
        Quantity -> ``{"column": name in the header, "unit": unit of the column}``; for pitch also
        ``"positive": "nose_down"`` where the log counts it so, as ISO 8855 does.  Time may be a clock's.
    date:
        Day of the measurement; else a ``# date:`` line of the file, else the day of its time stamps, else the
        day the file was written.
    most_rows:
        Longer logs are thinned to at most this many rows.
    separator, decimal:
        "," or ";" or "tab" or "space", and "." or ",", where they are not to be found out.
    part:
        The run to read, counted from 1, of a file in which the clock starts again.

    Raises
    ------
    TableError
        When the file cannot be read, a column or its unit is missing, no row is usable, or the clock runs
        backwards.
    """
    path = Path(path)
    layout, digest = _opened(path, columns, separator, decimal)
    wanted = [_column(path, layout, quantity, entry) for quantity, entry in columns.items()]
    clock = RunningClock(layout.wordings["time"].clock, part) if "time" in columns else None
    values, rows_read, dropped, stride = _streamed(path, layout, wanted, most_rows, clock)
    source = Source(path.name, date or _date(path, layout, clock), digest, _is_synthetic(layout))
    return Log(
        source=source,
        columns=values,
        units={column.quantity: column.unit for column in wanted},
        rows_read=rows_read,
        dropped=dropped,
        stride=stride,
        notes=tuple(_notes(path.name, layout, clock, values, rows_read, dropped, stride)),
    )


def _opened(
    path: Path, columns: Mapping[str, Mapping[str, str]], separator: str | None, decimal: str | None
) -> tuple[Layout, str]:
    """Find out how the file is written, and take its digest."""
    lines, encoding, digest = _first_lines(path)
    return layout_of(path.name, lines, encoding, columns, separator, decimal), digest


def _first_lines(path: Path) -> tuple[list[str], str, str]:
    """Return the first lines of a file, its encoding and its digest."""
    if LOG.size(path, path.name) == 0:
        raise TableError("the log is empty", file=path.name, allowed="a header line and rows of numbers")
    with LOG.told(path, path.name), path.open("rb") as file:
        start = file.read(1_000_000)
        file.seek(0)
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    if not start.strip():
        raise TableError("the log is empty", file=path.name, allowed="a header line and rows of numbers")
    encoding = encoding_of(start)
    text = StringIO(start.decode(encoding, errors="replace").lstrip("\ufeff"), newline=None)
    return [line.rstrip("\n") for line in islice(text, LONGEST_PREAMBLE + JUDGED)], encoding, digest


def glimpse(path: Path) -> Glimpse:
    """Look at a log before a study names its columns.

    Raises
    ------
    TableError
        When the file cannot be read, or is empty.
    """
    return glimpse_of(_first_lines(path)[0])


def _column(path: Path, layout: Layout, quantity: str, entry: Mapping[str, str]) -> _LoggedColumn:
    from explorer.graph.units import allowed_units, to_si

    place, wording = layout.places[quantity], layout.wordings[quantity]
    key, name = f"columns.{quantity}", layout.header[place]
    unit = entry.get("unit") or layout.units.get(quantity, "")
    expected = LOGGED.get(quantity, "")
    if wording.clock is not None or unit in CLOCK_UNITS:
        unit = "s"
    if not unit:
        raise TableError(
            "the unit of the column is missing",
            file=path.name,
            key=key,
            found=dict(entry),
            allowed=allowed_units(expected) if expected else "a unit, or 1 for a pure number",
            remedy=f'{quantity} = {{ column = "{name}", unit = "..." }}',
        )
    try:
        offset = to_si(0.0, unit, expected or unit)
        factor = to_si(1.0, unit, expected or unit) - offset
    except UnitError as error:
        raise error.within(file=path.name, key=key) from None
    sign = _sign(path, quantity, entry.get("positive"))
    return _LoggedColumn(quantity, place, name, wording, sign * factor, sign * offset, expected, unit)


def _sign(path: Path, quantity: str, positive: str | None) -> float:
    """Return -1 for a pitch that the log counts as ISO 8855 does, positive nose-down."""
    if positive is not None and quantity != "pitch":
        raise TableError(
            "only pitch may be counted either way",
            file=path.name,
            key=f"columns.{quantity}.positive",
            found=positive,
            allowed="positive beside the column of pitch",
            remedy="remove it; turn the sign in the log",
        )
    return -1.0 if positive == "nose_down" else 1.0


def _chunks(path: Path, layout: Layout, wanted: list[_LoggedColumn]) -> Iterator[Any]:
    import pandas as pd

    spare = 8
    with path.open(encoding=layout.encoding, errors="replace", newline="") as file:
        # What stands above the rows is left behind line by line, as it was counted: the reader of the rows
        # would take a quoted line break for none.
        for _ in range(layout.header_line + 1):
            file.readline()
        try:
            yield from pd.read_csv(
                file,
                sep=layout.separator if layout.separator != " " else r"\s+",
                # What is not a plain number is made one below, column by column.
                dtype={column.place: str for column in wanted if not column.wording.plain},
                na_values=["-", "--", "---"],
                header=None,
                index_col=False,
                # Room for a row with more cells than the header, so that it can be counted.
                names=list(range(len(layout.header) + spare)),
                skipinitialspace=True,
                chunksize=CHUNK_ROWS,
                low_memory=False,
                comment="#",
            )
        except pd.errors.EmptyDataError:
            return
        except pd.errors.ParserError as error:
            raise TableError(
                "the rows of the log cannot be told apart",
                file=path.name,
                found=str(error).strip(),
                remedy="look for a quote that is not closed, or a row with far more cells than the header",
            ) from None


def _streamed(
    path: Path, layout: Layout, wanted: list[_LoggedColumn], most_rows: int, clock: RunningClock | None
) -> tuple[dict[str, Array], int, dict[str, int], int]:
    """Read chunk by chunk, keeping every stride-th good row; the stride doubles when too many are kept."""
    import pandas as pd

    kept: list[Array] = []
    dropped: dict[str, int] = {}
    rows_read, good_rows, stride = 0, 0, 1
    strange = ""
    time = next((place for place, column in enumerate(wanted) if column.quantity == "time"), 0)
    with warnings.catch_warnings():
        # A first row with far too many cells is cut, and then counted as any other with more than the header.
        warnings.simplefilter("ignore", pd.errors.ParserWarning)
        for frame in _chunks(path, layout, wanted):
            rows_read += len(frame)
            numbers, bad, example = _numbers(frame, layout, wanted, clock)
            strange = strange or example
            if clock is not None:
                _check_digits(path.name, wanted[time], numbers[time])
                numbers[time] = clock.counted(numbers[time], path.name)
                usable = ~np.logical_or.reduce(list(bad.values()))
                bad[BACKWARDS], bad[STANDING], bad[OTHER_RUN] = clock.judge(numbers[time], usable)
            for reason, rows in bad.items():
                dropped[reason] = dropped.get(reason, 0) + int(np.count_nonzero(rows))
            good = numbers[:, ~np.logical_or.reduce(list(bad.values()))]
            kept.append(good[:, (-good_rows) % stride :: stride])
            good_rows += good.shape[1]
            while sum(part.shape[1] for part in kept) > most_rows:
                kept = [np.concatenate(kept, axis=1)[:, ::2]]
                stride *= 2
    dropped = {reason: count for reason, count in dropped.items() if count}
    table = np.concatenate(kept, axis=1) if kept else np.empty((len(wanted), 0))
    if clock is not None:
        clock.check(path.name)
    _check_usable(path.name, layout, rows_read, good_rows, dropped, strange)
    return {column.quantity: table[i] for i, column in enumerate(wanted)}, rows_read, dropped, stride


def _numbers(
    frame: Any, layout: Layout, wanted: list[_LoggedColumn], clock: RunningClock | None
) -> tuple[Array, dict[str, Mask], str]:
    """Turn a chunk into SI numbers, and say for each row why it cannot be used; a row has one reason."""
    empty = np.zeros(len(frame), bool)
    text = np.zeros(len(frame), bool)
    numbers = np.empty((len(wanted), len(frame)))
    example = ""
    for i, column in enumerate(wanted):
        cells = frame[column.place]
        blank = cells.isna().to_numpy()
        if column.wording.clock is not None:
            values, zones = clock_seconds(cells, column.wording.clock)
            if clock is not None:
                clock.zones |= zones
        else:
            values = _plain_numbers(cells, column.wording)
        numbers[i] = values * column.factor + column.offset
        strange = np.isnan(numbers[i]) & ~blank
        if strange.any() and not example:
            example = f"{str(cells.iloc[int(np.argmax(strange))])[:40]!r} in column {column.name!r}"
        empty |= blank
        text |= strange
    extra = frame[len(layout.header)].notna().to_numpy()
    infinite = np.isinf(numbers).any(axis=0)
    bad: dict[str, Mask] = {}
    taken = np.zeros(len(frame), bool)
    for reason, rows in ((EXTRA, extra), (TEXT, text), (EMPTY, empty), (INFINITE, infinite)):
        bad[reason] = rows & ~taken
        taken |= rows
    return numbers, bad, example


def _plain_numbers(cells: Any, wording: Wording) -> Array:
    """Turn a column into numbers, NaN where there is none."""
    import pandas as pd

    numbers: Array
    if pd.api.types.is_numeric_dtype(cells) and not pd.api.types.is_bool_dtype(cells):
        numbers = cells.to_numpy(dtype=float)
        return numbers
    text = cells.astype(str).str.strip()
    if wording.thousands:
        text = text.str.replace(wording.thousands, "", regex=False)
    if wording.decimal == ",":
        # A point is no decimal mark here, and so no number.
        text = text.str.replace(".", "_", regex=False).str.replace(",", ".", regex=False)
    numbers = pd.to_numeric(text, errors="coerce").to_numpy(dtype=float)
    return numbers


def _check_digits(file: str, column: _LoggedColumn, time: Array) -> None:
    if column.wording.clock is None and column.stated == "s" and looks_like_digits(time):
        raise TableError(
            "these times look like a clock written hhmmss, not like seconds",
            file=file,
            key="columns.time.unit",
            found=f"{time[np.isfinite(time)][0]:.10g} and so on, never 60 or more in minutes and seconds",
            allowed=", ".join(("s", "ms", *CLOCK_UNITS)),
            remedy=f'unit = "{DIGITS}", or unit = "seconds" if they are that after all',
        )


def _check_usable(
    file: str, layout: Layout, rows_read: int, good_rows: int, dropped: Mapping[str, int], strange: str
) -> None:
    backwards = dropped.get(BACKWARDS, 0)
    if backwards > MOST_BACKWARDS * max(good_rows + backwards, 1):
        raise TableError(
            "the time runs backwards",
            file=file,
            key="columns.time",
            found=f"in {backwards} of {rows_read} rows",
            allowed="time rising from row to row, but for a few glitches",
            remedy="name the right column, or sort the rows by time",
        )
    if layout.separator == "," and 2 * dropped.get(EXTRA, 0) > rows_read:
        raise TableError(
            "a comma between cells and a comma in numbers cannot be told apart",
            file=file,
            found=f"{dropped[EXTRA]} of {rows_read} rows with more cells than the header has",
            allowed="decimal points; or other marks between cells; or numbers in quotes",
            remedy="write the file again with semicolons or tabs between cells",
        )
    if good_rows == 0:
        reasons = "; ".join(f"{reason}: {count}" for reason, count in dropped.items())
        raise TableError(
            "no row of the log can be used",
            file=file,
            found=(reasons or "no rows below the header") + (f" (such as {strange})" if strange else ""),
            allowed="rows of plain numbers below one header line",
            remedy="look at a row: is it the right column, with nothing but numbers in its cells? Where they "
            'are misread say beside the file: separator = ";", decimal = ","',
        )


def _date(path: Path, layout: Layout, clock: RunningClock | None) -> str:
    for line in layout.comments:
        match = re.search(r"date\s*[:=]\s*(\d{4}-\d{2}-\d{2})", line, flags=re.IGNORECASE)
        if match:
            return match.group(1)
    if clock is not None and clock.date:
        return clock.date
    written = datetime.datetime.fromtimestamp(path.stat().st_mtime, tz=datetime.UTC).date()
    return f"file of {written.isoformat()}"


def _is_synthetic(layout: Layout) -> bool:
    return any(SYNTHETIC_MARK in line.lower() for line in layout.comments)


def _notes(
    file: str,
    layout: Layout,
    clock: RunningClock | None,
    values: Mapping[str, Array],
    rows_read: int,
    dropped: Mapping[str, int],
    stride: int,
) -> Iterator[str]:
    if _is_synthetic(layout):
        yield f"{file}: a synthetic log, made from known values and not measured"
    for note in (*layout.notes, *(clock.notes() if clock else ())):
        yield f"{file}: {note}"
    for reason, count in dropped.items():
        yield f"{file}: {count} of {rows_read} rows left out: {reason}"
    if stride > 1:
        yield f"{file}: {rows_read} rows thinned to {len(next(iter(values.values())))}: every {stride}th kept"
    if "time" in values and len(values["time"]) > 2:
        steps = np.diff(values["time"])
        gaps = steps > DROPOUT_STEPS * np.median(steps)
        if gaps.any():
            lost = int(np.count_nonzero(gaps))
            yield (
                f"{file}: {lost} dropout{'' if lost == 1 else 's'}, the longest "
                f"{float(steps.max()):.3g} s (the usual step is {float(np.median(steps)):.3g} s)"
            )
