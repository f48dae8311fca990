"""Tables a builder has measured or computed: read from CSV with every slip named, and interpolated.

A table has one or two axes and any number of value columns.  Its columns are declared by the model that needs
it, as texts such as ``"along front_ride_height [m]"`` for an axis and ``"drag_area [m2]"`` for values.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

import numpy as np
import numpy.typing as npt

from explorer.errors import TableError, UnitError, did_you_mean, nearest
from explorer.files.reading import Wanted
from explorer.graph.arrays import Array, Mask

# No map of a model car comes near this; more is another file.
TABLE = Wanted(
    "table",
    5_000_000,
    otherwise="is it the right file? A map of a car has some hundred rows",
    raising=TableError,
)
_DECLARED = re.compile(r"(?P<axis>along )?(?P<name>\w+) \[(?P<unit>[^\]]+)\]")


@dataclass(frozen=True)
class Place:
    """Where samples lie in a table.

    Attributes
    ----------
    below:
        Index of the node below, for each axis.
    share:
        Share of the step to the next node, for each axis, 0 to 1: held at the ends of the axis.
    step:
        Distance between the two nodes, for each axis; infinite beyond the ends, where values are held.
    outside:
        True for samples beyond an end.
    """

    below: tuple[npt.NDArray[np.intp], ...]
    share: tuple[Array, ...]
    step: tuple[Array, ...]
    outside: Mask


@dataclass(frozen=True)
class LookupTable:
    """Values on a grid of one or two axes, straight in between.

    Attributes
    ----------
    file:
        Name of the file, for messages and the report.
    axes:
        Name -> rising nodes, in the order of the dimensions of the values.
    values:
        Name -> values, one dimension for each axis.
    """

    file: str
    axes: Mapping[str, Array]
    values: Mapping[str, Array]

    def locate(self, *places: Array | float) -> Place:
        """Find the cells the samples lie in; one array of places for each axis, broadcast together."""
        below, share, step = [], [], []
        outside: Mask = np.zeros((), dtype=bool)
        for nodes, place in zip(self.axes.values(), np.broadcast_arrays(*places), strict=True):
            beyond = ~((place >= nodes[0]) & (place <= nodes[-1]))
            # Among the inner nodes only, so that the end of the axis belongs to the last cell.
            index = np.searchsorted(nodes[1:-1], place, side="right")
            width = np.diff(nodes)[index]
            below.append(index)
            share.append(np.clip((place - nodes[index]) / width, 0, 1))
            step.append(np.where(beyond, np.inf, width))
            outside = outside | beyond
        return Place(tuple(below), tuple(share), tuple(step), outside)

    def at(self, name: str, place: Place) -> Array:
        """Interpolate a column, linearly along one axis, bilinearly in two; NaN outside the grid."""
        return np.where(place.outside, np.nan, self.tangent(name, place)[0])

    def tangent(self, name: str, place: Place) -> tuple[Array, tuple[Array, ...]]:
        """Return a column and its slope along each axis; held at the edge outside the grid, for searches."""
        values = self.values[name]
        if len(place.below) == 1:
            (i,), (s,), (width,) = place.below, place.share, place.step
            rise = values[i + 1] - values[i]
            return values[i] + s * rise, (rise / width,)
        (i, j), (s, t), (width, depth) = place.below, place.share, place.step
        near, right = values[i, j], values[i, j + 1]
        across_near, across_far = right - near, values[i + 1, j + 1] - values[i + 1, j]
        along = (values[i + 1, j] - near) + t * (across_far - across_near)
        across = across_near + s * (across_far - across_near)
        return near + t * across_near + s * along, (along / width, across / depth)


def read_table(
    path: Path | str, columns: Sequence[str], units: Mapping[str, str] | None = None, *, key: str
) -> LookupTable:
    """Read a table from a CSV file with a header line.

    Comma, semicolon or tab between cells; with semicolon or tab a decimal comma is understood.  Lines that
    start with # are left out, and columns that were not asked for too.

    Parameters
    ----------
    path:
        The file.
    columns:
        As the model declares them: axes first as ``"along NAME [SI unit]"``, then ``"NAME [SI unit]"``.
    units:
        Unit of each column that is not in SI units.
    key:
        Where the study names the table, for messages.

    Raises
    ------
    TableError
        When the file cannot be read, a column is missing or has a wrong unit, a cell is not a number, nodes
        repeat or do not rise, or the grid has a hole.
    """
    path = Path(path)
    declared = [_declared(column) for column in columns]
    try:
        lines, header, cells = _cells(path)
        numbers = {
            name: _column(name, unit, header, cells, lines, dict(units or {})) for name, unit, _ in declared
        }
        _require_known_units(dict(units or {}), [name for name, _, _ in declared])
        axes = [name for name, _, is_axis in declared if is_axis]
        grid = _grid(axes, numbers, lines)
    except (TableError, UnitError) as error:
        raise error.within(file=path.name, key=key) from None
    shape = tuple(len(nodes) for nodes in grid.values())
    order = np.lexsort([numbers[name] for name in reversed(axes)])
    values = {name: numbers[name][order].reshape(shape) for name, _, is_axis in declared if not is_axis}
    return LookupTable(path.name, grid, values)


def _declared(column: str) -> tuple[str, str, bool]:
    match = _DECLARED.fullmatch(column)
    if match is None:
        raise TableError(
            "a table column is declared in a form that is not understood",
            found=column,
            allowed="'along NAME [unit]' for an axis, 'NAME [unit]' for values",
            remedy="correct given_table in the model file",
        )
    return match["name"], match["unit"], match["axis"] is not None


def _cells(path: Path) -> tuple[list[int], list[str], list[list[str]]]:
    """Return the line numbers of the rows, the header and the cells."""
    lines = [
        (n, line)
        for n, line in enumerate(StringIO(TABLE.text(path, path.name), newline=None), 1)
        if line.strip() and not line.startswith("#")
    ]
    if len(lines) < 2:
        raise TableError(
            "the table is empty", found=f"{len(lines)} lines", allowed="a header line and rows of numbers"
        )
    separator = max(",;\t", key=lines[0][1].count)
    rows = [[cell.strip() for cell in _split(line, separator, n)] for n, line in lines]
    if separator != ",":
        rows = [[cell.replace(",", ".") for cell in row] for row in rows]
    return [n for n, _ in lines[1:]], rows[0], rows[1:]


def _split(line: str, separator: str, number: int) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator))
    except csv.Error as error:
        raise TableError(
            "a line of the table cannot be split into cells",
            found=f"{error}, in line {number}",
            remedy="look for a quote that is not closed, or a cell that is a whole file",
        ) from None


def _column(
    name: str, unit: str, header: list[str], cells: list[list[str]], lines: list[int], units: dict[str, str]
) -> Array:
    """Return one column in SI units."""
    from explorer.graph.units import to_si

    if header.count(name) != 1:
        near = nearest(name, header)
        raise TableError(
            f"the table has {'no column' if name not in header else 'several columns'} {name!r}",
            found=", ".join(header),
            allowed="one column of that name, letter for letter",
            remedy=f"did you mean {near!r}?" if near and near != name else "correct the header",
        )
    place = header.index(name)
    numbers = np.empty(len(cells))
    for row, (line, found) in enumerate(zip(lines, cells, strict=True)):
        numbers[row] = _number(found[place] if place < len(found) else "", name, line)
    return np.asarray(to_si(numbers, units.get(name, unit), unit))


def _number(cell: str, name: str, line: int) -> float:
    try:
        number = float(cell)
    except ValueError:
        number = np.nan
    if not np.isfinite(number):
        raise TableError(
            f"a cell of column {name!r} is not a number",
            found=f"{cell[:40]!r} in line {line}" if cell else f"an empty cell in line {line}",
            allowed="a finite number in every cell: a table with holes is not filled in by guessing",
            remedy="measure or compute the missing point, or leave its whole row or column of the grid out",
        )
    return number


def _require_known_units(units: dict[str, str], names: list[str]) -> None:
    for name in units:
        if name not in names:
            raise TableError(
                "a unit is given for a column this table does not use",
                found=name,
                allowed=", ".join(names),
                remedy=did_you_mean(name, names, "take it out"),
            )


def _grid(axes: list[str], numbers: Mapping[str, Array], lines: list[int]) -> dict[str, Array]:
    """Return the nodes of each axis once they are known to rise and to meet exactly once each."""
    grid = {name: _nodes(name, numbers[name], lines, alone=len(axes) == 1) for name in axes}
    first_line: dict[tuple[float, ...], int] = {}
    for row, line in enumerate(lines):
        point = tuple(float(numbers[name][row]) for name in axes)
        if point in first_line:
            raise TableError(
                "a node of the table is repeated",
                found=f"{_named(axes, point)} in lines {first_line[point]} and {line}",
                allowed="every node once",
                remedy="take one of the two rows out",
            )
        first_line[point] = line
    for index in np.ndindex(*(len(nodes) for nodes in grid.values())):
        point = tuple(float(nodes[i]) for nodes, i in zip(grid.values(), index, strict=True))
        if point not in first_line:
            raise TableError(
                "the table has a hole",
                found=f"no row for {_named(axes, point)}",
                allowed="a row for every combination of the nodes of both axes",
                remedy="add the missing row, or leave out that node everywhere",
            )
    return grid


def _nodes(name: str, column: Array, lines: list[int], *, alone: bool) -> Array:
    """Return the nodes of an axis in the order in which they first appear, which must rise."""
    _, first = np.unique(column, return_index=True)
    first = np.sort(first)
    nodes = column[first]
    falls = np.flatnonzero(np.diff(column if alone else nodes) < 0)
    if falls.size:
        row = int(falls[0]) + 1 if alone else int(first[falls[0] + 1])
        raise TableError(
            f"the nodes of {name!r} do not rise",
            found=f"a smaller value than before in line {lines[row]}",
            allowed="nodes in rising order",
            remedy="sort the rows; if they were meant to be sorted, look for a slip in that line",
        )
    if len(nodes) < 2:
        raise TableError(
            f"the axis {name!r} has a single node",
            found=f"{float(nodes[0]):g} (SI units)",
            allowed="two or more nodes along each axis",
            remedy="give a constant under [inputs] instead, or add rows",
        )
    return nodes


def _named(axes: list[str], point: tuple[float, ...]) -> str:
    return ", ".join(f"{name} = {value:g}" for name, value in zip(axes, point, strict=True)) + " (SI units)"
