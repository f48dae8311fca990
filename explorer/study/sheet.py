"""The inputs of a study as a table for a spreadsheet, and back into the study with its comments kept.

A row is an input of the study's own file; what stands in conditions, candidates and included files is not.
"""

from __future__ import annotations

import csv
import json
import math
import re
from collections.abc import Mapping
from dataclasses import astuple, dataclass
from io import StringIO
from pathlib import Path
from typing import Any

from explorer.errors import SquatlineError, StudyError
from explorer.files.reading import Wanted
from explorer.files.writing import write_whole
from explorer.graph.units import from_si, spread_from_si
from explorer.study.distributions import Distribution, Exact, Normal, TruncatedNormal
from explorer.study.distributions_between_limits import Triangular, Uniform
from explorer.study.editing import document_of, write_changed
from explorer.study.entries import read_distribution
from explorer.study.inputs import read_inputs
from explorer.study.study import Study
from explorer.study.text import STUDY, parsed
from explorer.study.usual import is_usual, usual_entry

SHEET = Wanted("table of inputs", 5_000_000)
HEADINGS = ("name", "value", "spread (one sd)", "low", "high", "unit", "source", "form", "what it is")
VALUE, NORMAL, UNIFORM, TRIANGULAR = "value", "value and spread", "low and high", "likeliest, low and high"
LOCKED = "change it in the study"
_FORMULA = ("=", "+", "-", "@")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")


@dataclass(frozen=True)
class SheetRow:
    """One input as text, cell by cell; ``form`` and ``meaning`` are for the reader."""

    name: str
    value: str
    spread: str
    low: str
    high: str
    unit: str
    source: str
    form: str
    meaning: str

    @property
    def said(self) -> tuple[str, ...]:
        """The cells that can be changed."""
        return (self.value, self.spread, self.low, self.high, self.unit, self.source)


@dataclass(frozen=True)
class Taken:
    """What was taken back: inputs changed, inputs added, and those of the study that the table leaves out."""

    changed: tuple[str, ...]
    added: tuple[str, ...]
    left_out: tuple[str, ...]


def rows_of(study: Study) -> tuple[SheetRow, ...]:
    """Return the inputs of a study's own file, in its order."""
    entries = parsed(STUDY.text(study.path)).get("inputs", {})
    return tuple(_row(name, entry, study) for name, entry in entries.items())


def sheet_text(study: Study) -> str:
    """Return the inputs of a study as CSV, marked so that spreadsheets read it as UTF-8."""
    out = StringIO()
    table = csv.writer(out)
    table.writerow(HEADINGS)
    table.writerows(astuple(row) for row in rows_of(study))
    return "\ufeff" + out.getvalue()


def write_sheet(study: Study, file: Path) -> None:
    """Write the table beside other files.

    Raises
    ------
    StudyError
        When something else stands there.
    ResultsError
        When it cannot be written.
    """
    if file.exists() and not SHEET.text(file).startswith(f"{HEADINGS[0]},{HEADINGS[1]},"):
        raise StudyError(
            "a file that is no table of inputs stands there",
            file=str(file),
            remedy="name another file; nothing was overwritten",
        )
    write_whole(file, sheet_text(study))


def take_sheet(study: Study, file: Path) -> Taken:
    """Bring the rows of a table that are others than in a study into its file; all else stays as it is.

    Raises
    ------
    StudyError
        When a row makes no input, with file and name; nothing is written then.
    ResultsError
        When the study cannot be written.
    """
    text = STUDY.text(study.path)
    wanted = parsed(text)
    before = {row.name: row for row in rows_of(study)}
    rows = _read(file)
    document = document_of(text)
    if "inputs" not in wanted:
        wanted["inputs"] = document["inputs"] = {}
    changed: list[str] = []
    added: list[str] = []
    for row in rows:
        old = before.get(row.name)
        if old is not None and row.said == old.said:
            continue
        try:
            entry = _entry(row, old, wanted["inputs"].get(row.name))
            read_inputs({row.name: entry.unwrap()}, study.graph, study.folder, "inputs")
        except SquatlineError as error:
            error.file, error.key = str(file), row.name
            raise
        document["inputs"][row.name] = entry
        wanted["inputs"] = {**wanted["inputs"], row.name: entry.unwrap()}
        (added if old is None else changed).append(row.name)
    if changed or added:
        write_changed(study.path, document.as_string(), wanted)
    named = {row.name for row in rows}
    return Taken(tuple(changed), tuple(added), tuple(name for name in before if name not in named))


def _row(name: str, entry: Any, study: Study) -> SheetRow:
    quantity = study.graph[(study.graph.of_family(name) or (name,))[0]]
    if is_usual(entry):
        entry = usual_entry(quantity, study.graph, f"inputs.{name}")
    distribution, unit = read_distribution(entry, quantity.unit, f"inputs.{name}", study.folder)
    source = str(entry.get("source", "")) if isinstance(entry, Mapping) else ""
    if source.startswith(_FORMULA):
        source = f"'{source}"  # a spreadsheet would compute it
    cells, form = _cells(distribution, unit, entry)
    return SheetRow(name, *cells, "" if unit == "1" else unit, source, form, quantity.summary)


def _cells(distribution: Distribution, unit: str, entry: Any) -> tuple[tuple[str, str, str, str], str]:
    """Return value, spread, low and high as text, and the form that they make."""

    def at(si: float) -> str:
        return f"{float(from_si(si, unit)):.10g}"

    def wide(si: float) -> str:
        # That of two or three readings has no end (Student's t).
        return f"{float(spread_from_si(si, unit)):.10g}" if math.isfinite(si) else ""

    named = isinstance(entry, Mapping) and "distribution" in entry
    match distribution:
        case Exact(value):
            return (at(value), "", "", ""), VALUE
        case Normal(mean, sd) if not named:
            return (at(mean), wide(sd), "", ""), NORMAL
        case TruncatedNormal() if not named:
            keys = entry if isinstance(entry, Mapping) else {}
            low, high = (at(getattr(distribution, end)) if end in keys else "" for end in ("low", "high"))
            return (at(distribution.centre), wide(distribution.spread), low, high), NORMAL
        case Uniform(low, high) if not named:
            return ("", "", at(low), at(high)), UNIFORM
        case Triangular(low, mode, high) if not named:
            return (at(mode), "", at(low), at(high)), TRIANGULAR
    return (at(distribution.nominal), wide(distribution.sd), "", ""), LOCKED


def _read(file: Path) -> list[SheetRow]:
    """Read a table back: commas, semicolons or tabs between cells, decimal commas beside the latter two."""
    text = SHEET.text(file)
    head = text.partition("\n")[0]
    mark = max(",;\t", key=head.count)
    table = [[cell.strip() for cell in row] for row in csv.reader(StringIO(text), delimiter=mark)]
    places = {heading: place for place, heading in enumerate(table[0] if table else [])}
    if missing := [heading for heading in HEADINGS[:7] if heading not in places]:
        raise StudyError(
            "this is no table of inputs",
            file=str(file),
            found=head[:120] or "an empty file",
            allowed=", ".join(HEADINGS[:7]),
            remedy=f"keep the first row as it was written; missing: {', '.join(missing)}",
        )
    rows = [SheetRow(*_cells_of(row, places, mark)) for row in table[1:] if any(row)]
    names = [row.name for row in rows]
    if doubled := next((name for name in names if names.count(name) > 1), None):
        raise StudyError(
            "two rows have the same name", file=str(file), key=doubled, remedy="take one of them out"
        )
    return rows


def _cells_of(row: list[str], places: Mapping[str, int], mark: str) -> list[str]:
    cells = {heading: row[place] if place < len(row) else "" for heading, place in places.items()}
    if mark != ",":
        for heading in HEADINGS[1:5]:
            cells[heading] = re.sub(r"^([+-]?\d+),(\d+)$", r"\1.\2", cells[heading])
    return [cells.get(heading, "") for heading in HEADINGS]


def _entry(row: SheetRow, old: SheetRow | None, raw: Any) -> Any:
    """Make the entry of a row, as the study would have it written."""
    import tomlkit

    if old is not None and old.form == LOCKED:
        raise StudyError(
            "this input is given in a way that a row cannot hold",
            found=", ".join(cell for cell in row.said if cell),
            remedy=f"put its cells back ({', '.join(cell for cell in old.said if cell)}), and {LOCKED}",
        )
    numbers = {
        heading: _number(cell, heading)
        for heading, cell in zip(("value", "spread", "low", "high"), row.said, strict=False)
        if cell
    }
    unit, about = row.unit and json.dumps(row.unit, ensure_ascii=False), _about(row, raw)
    match tuple(numbers):
        case ("value",) if row.unit:
            keys = {"value": json.dumps(f"{numbers['value']} {row.unit}", ensure_ascii=False)}
        case ("value",):
            keys = {"value": numbers["value"]}
        case ("value", "spread", *_):
            keys = {"mean": numbers.pop("value"), "sd": numbers.pop("spread"), **numbers, "unit": unit}
        case ("low", "high"):
            keys = {**numbers, "unit": unit}
        case ("value", "low", "high"):
            keys = {"low": numbers["low"], "mode": numbers["value"], "high": numbers["high"], "unit": unit}
        case _:
            raise StudyError(
                "these cells do not make an input",
                found=", ".join(numbers) or "no number",
                allowed=f"{VALUE}; {NORMAL}, with bounds or without; {UNIFORM}; {TRIANGULAR}",
                remedy="fill in the cells of one of these",
            )
    keys = {key: text for key, text in {**keys, **about}.items() if text}
    whole = keys["value"] if tuple(keys) == ("value",) else _inline(keys)
    return tomlkit.parse(f"entry = {whole}")["entry"]


def _inline(keys: Mapping[str, str]) -> str:
    return "{ " + ", ".join(f"{key} = {text}" for key, text in keys.items()) + " }"


def _about(row: SheetRow, raw: Any) -> dict[str, str]:
    """Return what is said about an input beside its numbers: the source of the row, the note it had."""
    note = raw.get("note", "") if isinstance(raw, Mapping) else ""
    source = (
        row.source[1:] if row.source.startswith("'") and row.source[1:].startswith(_FORMULA) else row.source
    )
    said = {"source": source, "note": str(note)}
    return {key: json.dumps(text, ensure_ascii=False) for key, text in said.items() if text}


def _number(cell: str, heading: str) -> str:
    """Return a number as TOML writes it."""
    plain = cell.replace("\N{MINUS SIGN}", "-")
    if not _NUMBER.fullmatch(plain):
        comma = re.fullmatch(r"([+-]?\d+),(\d+)", plain)
        raise StudyError(
            f"the {heading} is no plain number",
            found=repr(cell),
            allowed="a number with a decimal point; its unit has a cell of its own",
            remedy=f"write {comma[1]}.{comma[2]}"
            if comma
            else "move the unit into its cell, a spread into its",
        )
    return plain if re.fullmatch(r"[+-]?(0|[1-9]\d*)(\.\d+)?", plain) else repr(float(plain))
