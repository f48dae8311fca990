"""Columns of numbers that an entry of a study names in a file."""

from __future__ import annotations

import csv
import math
from io import StringIO
from pathlib import Path

from explorer.errors import DistributionError, did_you_mean
from explorer.files.reading import Wanted

VALUES = Wanted("file of values", 20_000_000, raising=DistributionError)


def column_of(path: Path, column: str | None) -> list[float]:
    """Read one column of numbers from a CSV file with or without a heading row."""
    rows = _rows(path)
    heading = None if all(_is_number(cell) for cell in rows[0]) else [cell.strip() for cell in rows[0]]
    body = rows if heading is None else rows[1:]
    position = _position(path, heading, column, len(rows[0]))
    first_line = 1 if heading is None else 2
    numbers = []
    for line, row in enumerate(body, start=first_line):
        cell = row[position].strip() if position < len(row) else ""
        if not _is_number(cell):
            raise DistributionError(
                f"row {line} holds no number",
                file=str(path),
                found=repr(cell),
                allowed="a number, with a decimal point",
            )
        numbers.append(float(cell))
    return numbers


def _rows(path: Path) -> list[list[str]]:
    try:
        text = StringIO(VALUES.text(path), newline="")
        rows = [row for row in csv.reader(text) if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise DistributionError(
            "the file of values cannot be split into cells",
            file=str(path),
            found=str(error),
            remedy="look for a quote that is not closed, or a cell that is a whole file",
        ) from None
    if not rows:
        raise DistributionError("the file is empty", file=str(path), allowed="a column of numbers")
    return rows


def _position(path: Path, heading: list[str] | None, column: str | None, width: int) -> int:
    if column is None:
        if width == 1:
            return 0
        raise DistributionError(
            "the file has several columns",
            file=str(path),
            found=", ".join(heading) if heading else f"{width} columns without a heading row",
            remedy='name one: column = "..."',
        )
    if heading is None or column not in heading:
        raise DistributionError(
            f"the file has no column {column!r}",
            file=str(path),
            found=", ".join(heading) if heading else "no heading row",
            remedy=did_you_mean(column, heading or []),
        )
    return heading.index(column)


def _is_number(cell: str) -> bool:
    try:
        return math.isfinite(float(cell))
    except ValueError:
        return False
