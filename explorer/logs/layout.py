"""How a log is written: encoding, cell separator, header, units row, each wanted column's decimal mark.

All of it is judged by the columns that the study names; what stands in others does not count.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from explorer.errors import SquatlineError, TableError, did_you_mean
from explorer.graph.units import dimension_matches
from explorer.logs.clock import CLOCK_UNITS, ClockForm, clock_form

# A header stands within the first lines, whatever a logger writes above it.
LONGEST_PREAMBLE = 200
# Rows below it by which its columns are judged.
JUDGED = 2000
# Rows shown of a log whose columns have no names yet.
SHOWN = 5
SEPARATORS = {",": ",", ";": ";", "tab": "\t", "space": " "}
_NUMBER = re.compile(r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?")
_BRACKETS = re.compile(r"[\[(]([^\[\]()]*)[\])]")


@dataclass(frozen=True)
class Wording:
    """How the numbers of a column are written: decimal mark, what separates thousands, clock times."""

    decimal: str = "."
    thousands: str = ""
    clock: ClockForm | None = None

    @property
    def plain(self) -> bool:
        """Whether they are numbers as any library reads them."""
        return self.decimal == "." and not self.thousands and self.clock is None


@dataclass(frozen=True)
class Layout:
    """How the file is written.

    Attributes
    ----------
    header_line:
        The last line above the rows.
    header:
        Names of all columns.
    comments:
        Lines above the header that are marked as comments.
    places, wordings, units:
        Wanted quantity -> place in the row, how its numbers are written, unit that the file itself says.
    notes:
        What was guessed, in words.
    """

    encoding: str
    separator: str
    header_line: int
    header: tuple[str, ...]
    comments: tuple[str, ...]
    places: Mapping[str, int]
    wordings: Mapping[str, Wording]
    units: Mapping[str, str]
    notes: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class Glimpse:
    """What a log shows before a study has named its columns.

    Attributes
    ----------
    header, units:
        Names of all columns, and the unit that the file says for each, empty where it says none.
    rows:
        Cells of the first rows below.
    """

    header: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def likeliest(self, quantity: str, unit: str) -> int | None:
        """Return the column that is likely to hold a quantity of this unit: by its name, else by its unit."""
        named = _alike(quantity.replace("_", " "), self.header)
        fitting = [place for place, one in enumerate(self.units) if one and dimension_matches(one, unit)]
        for found in (named, fitting if unit != "1" else []):
            if len(found) == 1:
                return found[0]
        return None


def glimpse_of(lines: Sequence[str]) -> Glimpse:
    """Return what the first lines of a log show; its header is the widest line of words that rows go with."""
    written = [line for line in lines if line.strip() and not line.startswith("#")]
    best: tuple[int, int, str] = (0, 0, ",")
    for number, (line, next_line) in enumerate(pairwise(written[:LONGEST_PREAMBLE])):
        for mark in (";", "\t", ",", " "):
            cells = _cells(line, mark)
            of_words = not any(_NUMBER.fullmatch(cell) for cell in cells)
            if of_words and len(cells) > best[0] and len(cells) == len(_cells(next_line, mark)):
                best = (len(cells), number, mark)
    _, number, mark = best
    header = _cells(written[number], mark) if written else ()
    places = {str(place): place for place in range(len(header))}
    below = _units_line(written, number, mark, places)
    units = _units_said({}, header, places, below[1] if below else ())
    first = (below[0] if below else number) + 1
    return Glimpse(
        header,
        tuple(units.get(str(place), "") for place in range(len(header))),
        tuple(_cells(line, mark) for line in written[first : first + SHOWN]),
    )


def encoding_of(start: bytes) -> str:
    """Tell the encoding of a file by how it begins."""
    if start.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    for zeros, name in ((start[1:2000:2], "utf-16-le"), (start[0:2000:2], "utf-16-be")):
        if 2 * zeros.count(0) > len(zeros) > 0:
            return name
    try:
        # The last character may have been cut in two.
        start[:-4].decode("utf-8-sig")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8-sig"


def layout_of(
    file: str,
    lines: Sequence[str],
    encoding: str,
    columns: Mapping[str, Mapping[str, str]],
    separator: str | None = None,
    decimal: str | None = None,
) -> Layout:
    """Find the header by the names of the wanted columns, and judge how these are written.

    Raises
    ------
    TableError
        When a name fits no column or several, or a number could mean two things.
    """
    names = {quantity: str(entry.get("column") or quantity) for quantity, entry in columns.items()}
    number, mark, header = _header(lines, list(names.values()), separator)
    if not any(_alike(name, header) for name in names.values()):
        # Nothing tells the header by its names: what is refused below is told by what looks like one.
        header = glimpse_of(lines).header or header
    places = {quantity: _place(file, name, header) for quantity, name in names.items()}
    below = _units_line(lines, number, mark, places)
    units = _units_said(columns, header, places, below[1] if below else ())
    last = below[0] if below else number
    rows = [_cells(line, mark) for line in lines[last + 1 : last + 1 + JUDGED] if not line.startswith("#")]
    wordings = {}
    for quantity, place in places.items():
        cells = [row[place] for row in rows if place < len(row)]
        stated = str(columns[quantity].get("unit", ""))
        clock = clock_form(cells, stated, file) if quantity == "time" else None
        wordings[quantity] = Wording(clock=clock) if clock else _wording(file, header[place], cells, decimal)
    return Layout(
        encoding,
        mark,
        last,
        header,
        tuple(line for line in lines[:number] if line.startswith("#")),
        places,
        wordings,
        units,
        tuple(_notes(columns, names, header, places, units)),
    )


def _header(
    lines: Sequence[str], names: Sequence[str], separator: str | None
) -> tuple[int, str, tuple[str, ...]]:
    """Return the likeliest header: the line, what separates its cells, and the cells."""
    best: tuple[int, int, str, tuple[str, ...]] = (-1, 0, SEPARATORS.get(separator or "", ","), ())
    for number, line in enumerate(lines[:LONGEST_PREAMBLE]):
        if line.startswith("#"):
            continue
        for mark in [SEPARATORS[separator]] if separator else SEPARATORS.values():
            cells = _cells(line, mark)
            # Spaces stand inside names as well, so they come last and only where nothing else fits.
            if mark == " " and best[1] == number and best[0] >= 500 * len(names) and not separator:
                continue
            exact = sum(name in cells for name in names)
            found = () if exact == len(names) else (_alike(name, cells) for name in names)
            alike = max(exact, len({places[0] for places in found if places}))
            # A line that merely holds more cells is a likelier header than the first, when no name is right.
            score = 1000 * exact + 500 * (alike - exact) + (min(len(cells), 400) if mark != " " else 0)
            if score > best[0]:
                best = (score, number, mark, cells)
    return best[1:]


def _cells(line: str, mark: str) -> tuple[str, ...]:
    if mark == " ":
        return tuple(line.split())
    try:
        return tuple(cell.strip() for cell in next(csv.reader([line], delimiter=mark), []))
    except csv.Error:
        return ()  # a cell as long as a whole file is in no header


def _words(text: str) -> frozenset[str]:
    return frozenset(re.findall(r"[^\W_]+", text[:200].casefold()))


def _alike(name: str, cells: Sequence[str]) -> list[int]:
    """Return the columns meant by a name: letter for letter, or but for case, marks, unit and other words."""
    if not name:
        return []
    if exact := [place for place, cell in enumerate(cells) if cell == name]:
        return exact
    bare = _BRACKETS.sub("", name).strip() or name
    ways: tuple[Callable[[str], bool], ...] = (
        lambda cell: _squashed(cell) == _squashed(name),
        lambda cell: _squashed(_BRACKETS.sub("", cell[:200])) == _squashed(bare),
        lambda cell: len(bare) > 2 and _words(bare) <= _words(cell),
    )
    for same in ways:
        if found := [place for place, cell in enumerate(cells) if cell and same(cell)]:
            return found
    return []


def _squashed(text: str) -> str:
    return re.sub(r"[\W_]+", "", text[:200].casefold()) or text


def _place(file: str, name: str, header: tuple[str, ...]) -> int:
    """Return the one column that is meant by a name; TableError for none and for several."""
    found = _alike(name, header)
    if len(found) == 1:
        return found[0]
    if not found:
        raise TableError(
            f"the log has no column {name!r}",
            file=file,
            key="columns",
            found=", ".join(header) or "an empty header",
            allowed="the names in the header",
            remedy=did_you_mean(name, header, "write one of these, as it stands there"),
        )
    said = [header[place] for place in found]
    if len(set(said)) < len(said):
        raise TableError(
            f"the log has {len(said)} columns called {said[0]!r}",
            file=file,
            key="columns",
            allowed="one column of that name",
            remedy="rename one of them in the header",
        )
    raise TableError(
        f"several columns of the log are like {name!r}",
        file=file,
        key="columns",
        found=", ".join(said),
        allowed="one of them, letter for letter",
        remedy=f'name the one that is meant: column = "{said[0]}"',
    )


def _units_line(
    lines: Sequence[str], header_line: int, mark: str, places: Mapping[str, int]
) -> tuple[int, tuple[str, ...]] | None:
    """Return the line of units that some loggers write below the names, if there is one."""
    for number in range(header_line + 1, min(header_line + 4, len(lines))):
        cells = _cells(lines[number], mark)
        if not any(cells):
            continue
        wanted = [cells[place] for place in places.values() if place < len(cells)]
        if any(character.isdigit() for cell in wanted for character in _BRACKETS.sub("", cell)[:1]):
            return None
        return (number, cells) if any(_unit_in(cell) for cell in wanted) else None
    return None


def _unit_in(cell: str) -> str | None:
    """Return the unit that a cell holds, with or without brackets."""
    from explorer.graph.units import known_unit

    text = cell.strip().strip("[]()").strip()
    try:
        known_unit(text)
    except SquatlineError:
        return None
    return text


def _units_said(
    columns: Mapping[str, Mapping[str, str]],
    header: tuple[str, ...],
    places: Mapping[str, int],
    below: tuple[str, ...],
) -> dict[str, str]:
    """Return the unit that the file itself gives for a wanted column, in its name or below it."""
    said = {}
    for quantity, place in places.items():
        brackets = _BRACKETS.findall(header[place][:200])
        cells = [*(below[place : place + 1]), *brackets[-1:]]
        if unit := next((unit for cell in cells if cell and (unit := _unit_in(cell))), None):
            said[quantity] = unit
    return said


def _wording(file: str, name: str, cells: Sequence[str], stated: str | None) -> Wording:
    """Tell the decimal mark of a column by its cells, or take the one that is stated."""
    found = {(wording.decimal, wording.thousands) for cell in cells if (wording := _marks(cell))}
    decimals, thousands = {decimal for decimal, _ in found}, {mark for _, mark in found if mark}
    if not stated and len(decimals) == 1 and decimals == {","} and not thousands and _in_thousands(cells):
        return Wording(".", ",")
    if not stated and len(decimals) > 1:
        marked = [(wording.decimal, cell) for cell in reversed(cells) if (wording := _marks(cell))]
        shown = dict(marked)
        usual = max(sorted(shown), key=lambda mark: sum(mark == own for own, _ in marked))
        raise TableError(
            f"the decimal mark in column {name!r} cannot be told",
            file=file,
            key="decimal",
            found=f"{shown['.']!r} and {shown[',']!r}",
            allowed='"." or ","',
            remedy=f'say it beside the file: decimal = "{usual}", as most are written (the rest is left out '
            "and counted)",
        )
    decimal = stated or next(iter(decimals), ".")
    return Wording(decimal, next(iter(thousands - {decimal}), ""))


def _marks(cell: str) -> Wording | None:
    """Return the decimal mark that a cell shows, and what separates its thousands."""
    if grouped := re.fullmatch(r"[+-]?\d{1,3}(?:(?P<mark>[.,' ])\d{3})+(?P<decimal>[.,])\d*", cell):
        if grouped["mark"] != grouped["decimal"]:
            return Wording(grouped["decimal"], grouped["mark"])
        return Wording("," if grouped["mark"] == "." else ".", grouped["mark"])
    if _NUMBER.fullmatch(cell) and re.search(r"[.,]", cell):
        return Wording("," if "," in cell else ".")
    return None


def _in_thousands(cells: Sequence[str]) -> bool:
    """Tell 1,020 beside 950 from three decimals: a logger writes these in every row."""
    marked = [cell for cell in cells if "," in cell]
    whole = [cell for cell in cells if re.fullmatch(r"\d{3}", cell)]
    return bool(whole) and all(re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", cell) for cell in marked)


def _notes(
    columns: Mapping[str, Mapping[str, str]],
    names: Mapping[str, str],
    header: tuple[str, ...],
    places: Mapping[str, int],
    units: Mapping[str, str],
) -> Iterator[str]:
    for quantity, name in names.items():
        if header[places[quantity]] != name:
            yield f"column {header[places[quantity]]!r} taken for {name!r}"
        stated, said = columns[quantity].get("unit", ""), units.get(quantity, "")
        if said and not stated:
            yield f"unit {said!r} of {quantity} taken from the log itself"
        elif said and stated not in CLOCK_UNITS and _differ(said, stated):
            yield f"caution: the log says {said!r} of {quantity}, the study {stated!r}, which was taken"


def _differ(said: str, stated: str) -> bool:
    from explorer.graph.units import known_unit, resolved

    try:
        return known_unit(resolved(said, stated)) != known_unit(stated)
    except SquatlineError:
        return False  # told where the unit is read
