"""Tables: interpolation, edges, and every slip in the file named."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator

from explorer.errors import StudyError, TableError
from explorer.graph.tables import LookupTable, read_table

LINE = ("along opening [1]", "drag [1]", "down [1]")
GRID = ("along front [m]", "along rear [m]", "area [m2]")
GOOD_GRID = "front,rear,area\n0,0,1\n0,1,2\n2,0,3\n2,1,5\n"


def _file(folder: Path, text: str | bytes) -> Path:
    file = folder / "table.csv"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return file


def test_interpolates_between_the_rows_and_not_beyond(tmp_path: Path) -> None:
    table = read_table(_file(tmp_path, "opening,drag,down\n0,0.3,1.5\n0.5,0.2,1\n1,0.1,0.3\n"), LINE, key="t")
    place = table.locate(np.array([0.0, 0.25, 0.5, 0.75, 1.0, -0.01, 1.01, np.nan]))
    np.testing.assert_allclose(table.at("drag", place), [0.3, 0.25, 0.2, 0.15, 0.1, np.nan, np.nan, np.nan])
    held, (slope,) = table.tangent("down", place)
    np.testing.assert_allclose(held[:7], [1.5, 1.25, 1.0, 0.65, 0.3, 1.5, 0.3])
    np.testing.assert_allclose(slope[:7], [-1, -1, -1.4, -1.4, -1.4, 0, 0])


@given(seed=st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_two_axes_agree_with_scipy(seed: int) -> None:
    """scipy.interpolate.RegularGridInterpolator, linear."""
    stream = np.random.default_rng(seed)
    x, y = np.cumsum(stream.uniform(0.1, 1, 5)), np.cumsum(stream.uniform(0.1, 1, 4))
    values = stream.normal(size=(5, 4))
    table = LookupTable("made", {"x": x, "y": y}, {"v": values})
    places = stream.uniform(x[0] - 0.2, x[-1] + 0.2, 50), stream.uniform(y[0] - 0.2, y[-1] + 0.2, 50)
    expected = RegularGridInterpolator((x, y), values, bounds_error=False)(np.stack(places, axis=-1))
    place = table.locate(*places)
    np.testing.assert_allclose(table.at("v", place), expected, rtol=1e-12, atol=1e-13)
    _, slopes = table.tangent("v", place)
    tiny = 1e-7
    for axis, slope in enumerate(slopes):
        moved = [p + tiny * (axis == i) for i, p in enumerate(places)]
        numeric = (table.at("v", table.locate(*moved)) - table.at("v", place)) / tiny
        inner = np.isfinite(numeric) & (np.abs(numeric - slope) < 1)
        assert inner.sum() > 0.3 * np.isfinite(expected).sum()
        np.testing.assert_allclose(numeric[inner], slope[inner], atol=2e-5)


def test_reads_units_separators_decimal_commas_and_row_orders(tmp_path: Path) -> None:
    text = "# made\nnote;rear;front;area\nx;0;0;1,5\nx;0;2000;3\nx;1000;0;2\nx;1000;2000;5\n"
    table = read_table(_file(tmp_path, text), GRID, {"front": "mm", "rear": "mm", "area": "cm2"}, key="t")
    np.testing.assert_allclose(table.axes["front"], [0, 2])
    np.testing.assert_allclose(table.axes["rear"], [0, 1])
    np.testing.assert_allclose(table.values["area"], np.array([[1.5, 2], [3, 5]]) * 1e-4)


@pytest.mark.parametrize(
    ("text", "columns", "words"),
    [
        (GOOD_GRID.replace("2,1,5\n", ""), GRID, ("hole", "front = 2, rear = 1")),
        (GOOD_GRID.replace("2,1,5", "2,1,"), GRID, ("not a number", "line 5")),
        (GOOD_GRID.replace("2,1,5", "2,1,nan"), GRID, ("not a number", "line 5")),
        (GOOD_GRID + "2,1,6\n", GRID, ("repeated", "lines 5 and 6")),
        ("front,rear,area\n2,0,3\n2,1,5\n0,0,1\n0,1,2\n", GRID, ("do not rise", "line 4")),
        ("opening,drag,down\n0,1,1\n1,1,1\n0.5,1,1\n", LINE, ("do not rise", "line 4")),
        ("opening,drag,down\n0,1,1\n0,1,1\n", LINE, ("single node",)),
        ("opening,drag,down\n0,1,1\n1,1,1\n1,2,2\n", LINE, ("repeated", "lines 3 and 4")),
        ("opening,drog,down\n0,1,1\n1,1,1\n", LINE, ("no column 'drag'", "drog")),
        ("opening,drag,drag,down\n0,1,1,1\n1,1,1,1\n", LINE, ("several columns 'drag'",)),
        ("opening,drag,down\n0,1,1\n1,fast,1\n", LINE, ("not a number", "'fast' in line 3")),
        ("opening,drag,down\n0,1,1\n1,1\n", LINE, ("not a number", "empty cell in line 3")),
        ("", LINE, ("empty",)),
        (b"opening,drag,down\n0,1,1\n1,1,\xff\n", LINE, ("UTF-8",)),
        (b"x" * 6_000_000, LINE, ("too large",)),
    ],
)
def test_every_slip_is_named(
    tmp_path: Path, text: str | bytes, columns: tuple[str, ...], words: tuple[str, ...]
) -> None:
    with pytest.raises(TableError) as caught:
        read_table(_file(tmp_path, text), columns, key="tables.map")
    message = str(caught.value)
    for word in (*words, "table.csv", "tables.map"):
        assert word in message


def test_wrong_units_and_missing_files_are_named(tmp_path: Path) -> None:
    file = _file(tmp_path, GOOD_GRID)
    with pytest.raises(StudyError, match=r"table\.csv"):
        read_table(file, GRID, {"front": "kg"}, key="tables.map")
    with pytest.raises(TableError, match="does not use"):
        read_table(file, GRID, {"frond": "mm"}, key="tables.map")
    with pytest.raises(TableError, match="no such file"):
        read_table(tmp_path / "none.csv", GRID, key="tables.map")
