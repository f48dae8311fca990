"""Measured logs: a CSV file from any logger -> columns in SI units, with every row that was left out counted.

The study says which column holds which quantity, and in which unit.  Preambles, byte-order marks, decimal
commas, empty cells, text among numbers and a clock that jumps back are handled and reported; what cannot be
used at all is refused.  Files of any length are streamed, and thinned with a word when they are long.
"""

from __future__ import annotations

import csv
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

from explorer.errors import TableError, UnitError, nearest
from explorer.files.reading import Wanted
from explorer.graph.arrays import Array, Mask

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
# A header stands within the first lines, whatever a logger writes above it.
LONGEST_PREAMBLE = 200
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


@dataclass(frozen=True)
class Source:
    """Where a log comes from: file name, date, SHA-256 digest, and whether it was made, not measured."""

    file: str
    date: str
    sha256: str
    synthetic: bool = False

    @property
    def text(self) -> str:
        """One line for the source of an input."""
        kind = "synthetic log (made, not measured)" if self.synthetic else "log"
        return f"{kind} {self.file}, {self.date}, sha256 {self.sha256[:12]}"


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
class _Layout:
    """How the file is written: encoding, cell separator, decimal mark, header line, comments."""

    encoding: str
    separator: str
    decimal: str
    header_line: int
    header: tuple[str, ...]
    comments: tuple[str, ...]


@dataclass(frozen=True)
class _Column:
    """A wanted column: its place in the row, and its unit as one linear map to SI."""

    quantity: str
    place: int
    name: str
    factor: float
    offset: float
    unit: str


def read_log(
    path: str | Path,
    columns: Mapping[str, Mapping[str, str]],
    *,
    date: str | None = None,
    most_rows: int = MOST_ROWS,
) -> Log:
    """Read the wanted columns of a log.

    Parameters
    ----------
    path:
        The CSV file; comma, semicolon or tab between cells, decimal point or comma.
    columns:
        Quantity -> ``{"column": name in the header, "unit": unit of the column}``; for pitch also
        ``"positive": "nose_down"`` where the log counts it so, as ISO 8855 does.
    date:
        Day of the measurement; else a ``# date:`` line of the file, else the day the file was written.
    most_rows:
        Longer logs are thinned to at most this many rows.

    Raises
    ------
    TableError
        When the file cannot be read, a column or its unit is missing, no row is usable, or the clock runs
        backwards.

    """
    path = Path(path)
    layout, digest = _opened(path, columns)
    wanted = [_column(path, layout, quantity, entry) for quantity, entry in columns.items()]
    values, rows_read, dropped, stride = _streamed(path, layout, wanted, most_rows)
    source = Source(path.name, date or _date(path, layout), digest, _is_synthetic(layout))
    return Log(
        source=source,
        columns=values,
        units={column.quantity: column.unit for column in wanted},
        rows_read=rows_read,
        dropped=dropped,
        stride=stride,
        notes=tuple(_notes(path.name, layout, values, rows_read, dropped, stride)),
    )


def _opened(path: Path, columns: Mapping[str, Mapping[str, str]]) -> tuple[_Layout, str]:
    """Find out how the file is written, and take its digest."""
    if LOG.size(path, path.name) == 0:
        raise TableError("the log is empty", file=path.name, allowed="a header line and rows of numbers")
    with LOG.told(path, path.name), path.open("rb") as file:
        start = file.read(1_000_000)
        file.seek(0)
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    if not start.strip():
        raise TableError("the log is empty", file=path.name, allowed="a header line and rows of numbers")
    encoding = _encoding(start)
    text = StringIO(start.decode(encoding, errors="replace").lstrip("\ufeff"), newline=None)
    lines = [line.rstrip("\n") for line in islice(text, LONGEST_PREAMBLE + 20)]
    return _layout(path.name, lines, encoding, columns), digest


def _encoding(start: bytes) -> str:
    if start.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    try:
        # The last character may have been cut in two.
        start[:-4].decode("utf-8-sig")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8-sig"


def _layout(file: str, lines: list[str], encoding: str, columns: Mapping[str, Mapping[str, str]]) -> _Layout:
    names = [str(entry.get("column", "")) for entry in columns.values()]
    best: tuple[int, int, str, tuple[str, ...]] = (-1, 0, ",", ())
    for number, line in enumerate(lines[:LONGEST_PREAMBLE]):
        if line.startswith("#"):
            continue
        for separator in (",", ";", "\t"):
            cells = _cells(line, separator)
            # A line that merely holds more cells is a likelier header than the first, when no name is right.
            score = 1000 * sum(name in cells for name in names) + min(len(cells), 999)
            if score > best[0]:
                best = (score, number, separator, cells)
    _, number, separator, cells = best
    comments = tuple(line for line in lines[:number] if line.startswith("#"))
    below = "\n".join(lines[number + 1 :])
    _check_names(file, names, cells)
    commas = separator != "," and re.search(r"\d,\d", below) and not re.search(r"\d\.\d", below)
    return _Layout(encoding, separator, "," if commas else ".", number, cells, comments)


def _cells(line: str, separator: str) -> tuple[str, ...]:
    try:
        return tuple(cell.strip() for cell in next(csv.reader([line], delimiter=separator), []))
    except csv.Error:
        return ()  # a cell as long as a whole file is in no header


def _check_names(file: str, names: list[str], cells: tuple[str, ...]) -> None:
    """Raise TableError unless the header holds each name once."""
    for name in names:
        near = nearest(name, cells)
        if not name or name not in cells:
            raise TableError(
                f"the log has no column {name!r}",
                file=file,
                key="columns",
                found=", ".join(cells) or "an empty header",
                allowed="the names in the header, letter for letter",
                remedy=f"did you mean {near!r}?" if near else "correct the column name",
            )
        if cells.count(name) > 1:
            raise TableError(
                f"the log has {cells.count(name)} columns called {name!r}",
                file=file,
                key="columns",
                allowed="one column of that name",
                remedy="rename one of them in the header",
            )


def _column(path: Path, layout: _Layout, quantity: str, entry: Mapping[str, str]) -> _Column:
    from explorer.graph.units import allowed_units, to_si

    key, name, unit = f"columns.{quantity}", entry["column"], entry.get("unit", "")
    expected = LOGGED.get(quantity, "")
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
    return _Column(quantity, layout.header.index(name), name, sign * factor, sign * offset, expected)


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


def _chunks(path: Path, layout: _Layout) -> Iterator[Any]:
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
                sep=layout.separator,
                decimal=layout.decimal,
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
    path: Path, layout: _Layout, wanted: list[_Column], most_rows: int
) -> tuple[dict[str, Array], int, dict[str, int], int]:
    """Read chunk by chunk, keeping every stride-th good row; the stride doubles when too many are kept."""
    import pandas as pd

    kept: list[Array] = []
    dropped: dict[str, int] = {}
    rows_read, good_rows, stride, latest = 0, 0, 1, -np.inf
    strange = ""
    clock = next((place for place, column in enumerate(wanted) if column.quantity == "time"), None)
    with warnings.catch_warnings():
        # A first row with far too many cells is cut, and then counted as any other with more than the header.
        warnings.simplefilter("ignore", pd.errors.ParserWarning)
        for frame in _chunks(path, layout):
            rows_read += len(frame)
            numbers, bad, example = _numbers(frame, layout, wanted)
            strange = strange or example
            if clock is not None:
                latest = _check_clock(numbers[clock], bad, latest)
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
    _check_usable(path.name, rows_read, good_rows, dropped, strange)
    return {column.quantity: table[i] for i, column in enumerate(wanted)}, rows_read, dropped, stride


def _numbers(frame: Any, layout: _Layout, wanted: list[_Column]) -> tuple[Array, dict[str, Mask], str]:
    """Turn a chunk into SI numbers, and say for each row why it cannot be used; a row has one reason."""
    import pandas as pd

    empty = np.zeros(len(frame), bool)
    text = np.zeros(len(frame), bool)
    numbers = np.empty((len(wanted), len(frame)))
    example = ""
    for i, column in enumerate(wanted):
        cells = frame[column.place]
        blank = cells.isna().to_numpy()
        values = (
            cells
            if pd.api.types.is_numeric_dtype(cells) and not pd.api.types.is_bool_dtype(cells)
            else pd.to_numeric(
                cells.astype(str).str.strip().str.replace(layout.decimal, ".", regex=False), errors="coerce"
            )
        )
        numbers[i] = values.to_numpy(dtype=float) * column.factor + column.offset
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


def _check_clock(time: Array, bad: dict[str, Mask], latest: float) -> float:
    """Add the rows whose time is not later than all before; return the latest time seen."""
    usable = ~np.logical_or.reduce(list(bad.values()))
    # Rows that are left out already neither advance the clock nor are judged by it.
    clock = np.where(usable, time, -np.inf)
    before = np.maximum.accumulate(np.concatenate([[latest], clock]))
    bad[BACKWARDS] = usable & (clock < before[:-1])
    bad[STANDING] = usable & (clock == before[:-1])
    return float(before[-1])


def _check_usable(
    file: str, rows_read: int, good_rows: int, dropped: Mapping[str, int], strange: str
) -> None:
    backwards = dropped.get(BACKWARDS, 0)
    if backwards > MOST_BACKWARDS * max(good_rows + backwards, 1):
        raise TableError(
            "the time runs backwards",
            file=file,
            key="columns.time",
            found=f"in {backwards} of {rows_read} rows",
            allowed="time rising from row to row, but for a few glitches",
            remedy="cut the file where the clock starts again, one file a run, or name the right column",
        )
    if good_rows == 0:
        reasons = "; ".join(f"{reason}: {count}" for reason, count in dropped.items())
        raise TableError(
            "no row of the log can be used",
            file=file,
            found=(reasons or "no rows below the header") + (f" (such as {strange})" if strange else ""),
            allowed="rows of plain numbers below one header line",
            remedy="check the separator and the decimal mark",
        )


def _date(path: Path, layout: _Layout) -> str:
    for line in layout.comments:
        match = re.search(r"date\s*[:=]\s*(\d{4}-\d{2}-\d{2})", line, flags=re.IGNORECASE)
        if match:
            return match.group(1)
    written = datetime.datetime.fromtimestamp(path.stat().st_mtime, tz=datetime.UTC).date()
    return f"file of {written.isoformat()}"


def _is_synthetic(layout: _Layout) -> bool:
    return any(SYNTHETIC_MARK in line.lower() for line in layout.comments)


def _notes(
    file: str,
    layout: _Layout,
    values: Mapping[str, Array],
    rows_read: int,
    dropped: Mapping[str, int],
    stride: int,
) -> Iterator[str]:
    if _is_synthetic(layout):
        yield f"{file}: a synthetic log, made from known values and not measured"
    for reason, count in dropped.items():
        yield f"{file}: {count} of {rows_read} rows left out: {reason}"
    if stride > 1:
        yield f"{file}: {rows_read} rows thinned to {len(next(iter(values.values())))}: every {stride}th kept"
    if "time" in values and len(values["time"]) > 2:
        steps = np.diff(values["time"])
        gaps = steps > DROPOUT_STEPS * np.median(steps)
        if gaps.any():
            yield (
                f"{file}: {int(np.count_nonzero(gaps))} dropouts, the longest "
                f"{float(steps.max()):.3g} s (the usual step is {float(np.median(steps)):.3g} s)"
            )
