"""The text of a study: read, parsed within bounds that every real one keeps, its included files merged."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from explorer.errors import MOST_TOLD, Faults, SquatlineError, StudyError
from explorer.files.characters import require_visible
from explorer.files.reading import Wanted
from explorer.study.places import line_of, place
from explorer.study.schema import CorrelationEntry, IncludedFile, StudyFile
from explorer.study.shape import read_section
from explorer.study.slips import heading_again, slip_in

STUDY_FILE = "study.toml"
STUDY = Wanted(
    "study",
    1_000_000,
    missing=f"name a folder with a {STUDY_FILE}, or the file itself; 'squatline new FOLDER' writes one",
    otherwise="put measured data into CSV files that the study names",
)
INCLUDED = Wanted("included file", 1_000_000)
MOST_INCLUDED = 50
# What is done for each of them takes its time; a list of numbers may be as long as the file.
MOST_KEYS, MOST_TABLES = 1000, 200
# Nothing in a study lies deeper than a column of a run of a fit, which takes seven steps.
DEEPEST = 12
# The parser's time grows with the square of the parts of a key, so longer ones never reach it.
MOST_PARTS = 30
_PART = r"""(?:[A-Za-z0-9_-]++|"(?:[^"\\\n]|\\.)*+"|'[^'\n]*+')"""
_LONG_KEY = re.compile(rf"(?<![A-Za-z0-9_-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{{MOST_PARTS}}}")
_AT_LINE = re.compile(r"\(at line (\d+),")
_TWICE = re.compile(
    r"declare .* twice|define .* twice|Cannot mutate|Cannot overwrite.*namespace", re.IGNORECASE
)
_LONG_NUMBER = re.compile(r"\d[\d_]{4000}")


@dataclass(frozen=True)
class Merged:
    """What an included file changed: entries before it, its own correlations, those it made meaningless."""

    file: str
    before: Mapping[str, Any]
    correlations: list[CorrelationEntry]
    dropped: list[CorrelationEntry]


@dataclass(frozen=True)
class StudyText:
    """A study in its shape with its includes merged, the digest of all that was read, and what was merged.

    Attributes
    ----------
    texts:
        File as messages name it -> its text; the study itself under "".
    correlated:
        For each correlation the file that it stands in, and its place there, counted from 1.
    """

    entries: StudyFile
    digest: str
    includes: tuple[Merged, ...]
    texts: Mapping[str, str]
    correlated: tuple[tuple[str, int], ...]

    def located(self, error: SquatlineError) -> SquatlineError:
        """Fill in file and line of an error about an entry, by the file that the entry comes from."""
        if error.file is None and error.key:
            file = ""
            if found := re.match(r"inputs\.(\w+)", error.key):
                file = next((one.file for one in reversed(self.includes) if found[1] in one.before), "")
            elif found := re.match(r"correlations\[(\d+)\]", error.key):
                file, number = self.correlated[int(found[1]) - 1]
                error.key = f"correlations[{number}]{error.key[found.end() :]}"
            error.file = file or None
            place(error, self.texts[file])
        return error


def read_study_text(file: Path, text: str | None = None) -> StudyText:
    """Read a study and what it includes; with a text, that in place of what the file holds.

    Raises
    ------
    StudyError
        When a file cannot be read, is no TOML, or holds what no study can: all that is wrong with the shape
        of the files at once, each with its line.
    """
    text = STUDY.text(file) if text is None else text
    digest = hashlib.sha256(text.encode())
    data = parsed(text)
    with _within("", text):
        names = _names(data.pop("include", []))
    faults, texts, added = Faults(), {"": text}, {}
    with faults.noted(), _within("", text):
        entries = read_section(StudyFile, data)
    for name in names:
        with faults.noted(), _within(name):
            texts[name] = INCLUDED.text(file.parent / name, name)
            digest.update(texts[name].encode())
            with _within(name, texts[name]):
                added[name] = _inputs_of(parsed(texts[name]))
    faults.tell()
    correlated = [("", number) for number in range(1, len(entries.correlations) + 1)]
    includes = []
    for name, more in added.items():
        entries, merged, correlated = _merge(entries, more, name, correlated)
        includes.append(merged)
    return StudyText(entries, digest.hexdigest(), tuple(includes), texts, tuple(correlated))


@contextmanager
def _within(file: str, text: str = "") -> Iterator[None]:
    """Fill in file and line of each error inside."""
    try:
        yield
    except SquatlineError as error:
        for one in error.each:
            place(one, text)
            one.within(file=file or None, key="include" if file else None)
        raise


def _names(include: Any) -> list[str]:
    if isinstance(include, list) and all(isinstance(name, str) for name in include):
        if len(include) <= MOST_INCLUDED:
            return include
        found = f"{len(include)} files"
    else:
        found = repr(include)[:80]
    raise StudyError(
        "include lists file names",
        key="include",
        found=found,
        allowed=f"a list of up to {MOST_INCLUDED} names",
        remedy=f'write include = ["{include if isinstance(include, str) else "fitted.toml"}"]',
    )


def parsed(text: str) -> dict[str, Any]:
    """Parse TOML.

    Raises
    ------
    StudyError
        When it is none, or nested deeper, named longer or with longer whole numbers than any study needs.
    """
    if long := _LONG_KEY.search(text):
        raise StudyError(
            "a key has too many parts",
            found=f"{long.group()[:40]}... in line {_line(text, long)}",
            allowed=f"up to {MOST_PARTS} names joined by dots",
        )
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _no_toml(text, error) from None
    except RecursionError:
        raise _too_deep() from None
    except ValueError as error:
        # The parser hands on what Python's own numbers say of too many digits.
        long = _LONG_NUMBER.search(text)
        raise StudyError(
            "a number cannot be read",
            found=f"{long.group()[:20]}... in line {_line(text, long)}" if long else str(error),
            remedy="write it with a power of ten, such as 1.5e6",
        ) from None
    _check_bounds(data)
    require_visible(data, StudyError)
    return data


def _no_toml(text: str, first: tomllib.TOMLDecodeError) -> SquatlineError:
    """Tell where the text stops being TOML; behind a slip of one line that is known, the rest is read on."""
    faults, error = Faults(), first
    rows = text.split("\n")
    for _ in range(MOST_TOLD):
        found = _AT_LINE.search(str(error))
        last = max((place for place, row in enumerate(rows, 1) if row.strip()), default=1)
        line = int(found[1]) if found else last if slip_in(rows[last - 1]) else None
        slip = slip_in(rows[line - 1]) if line else None
        if line and "overwrite" in str(error):
            slip = "this stands in the file twice: take one out"
        twice = _TWICE.search(str(error))
        if line and twice:
            slip = heading_again(rows, line)
        faults.found.append(
            StudyError(
                "this line cannot be read" if slip else "the file is not valid TOML",
                line=line,
                text=line_of(text, line) if line else None,
                found=None if slip else str(error),
                remedy=slip or "check quotes, brackets and that no key stands twice near that line",
            )
        )
        # Behind braces left open, or a slip nobody knows, what follows cannot be told.
        if line is None or slip is None or rows[line - 1].rstrip().endswith((",", "{")):
            break
        rows[line - 1] = f"[behind_{line}]" if rows[line - 1].lstrip().startswith("[") else ""
        try:
            tomllib.loads("\n".join(rows))
            break
        except tomllib.TOMLDecodeError as next_one:
            error = next_one
        except (RecursionError, ValueError):
            break
    return faults.all_at_once()


def _line(text: str, found: re.Match[str]) -> int:
    return text.count("\n", 0, found.start()) + 1


def _too_deep(key: str | None = None) -> StudyError:
    return StudyError(
        "the file is nested too deeply",
        key=key,
        allowed=f"up to {DEEPEST} lists and tables within each other",
        remedy="look for brackets that are opened many times over",
    )


def _check_bounds(data: dict[str, Any]) -> None:
    """Refuse what lies too deep or comes too often, and whole numbers beyond TOML's 64 bits."""
    pending: list[tuple[str, int, Any]] = [("", 0, data)]
    while pending:
        key, depth, value = pending.pop()
        if depth > DEEPEST:
            raise _too_deep(key)
        if isinstance(value, int) and not -(2**63) <= value < 2**63:
            raise StudyError(
                "a whole number is too large",
                key=key,
                found=f"{str(value)[:20]}...",
                allowed="-9223372036854775808 to 9223372036854775807",
                remedy="write it with a power of ten, such as 1.5e20",
            )
        _check_count(key, value)
        pending += [(f"{key}{name}", depth + 1, inner) for name, inner in _inside(key, value)]


def _check_count(key: str, value: Any) -> None:
    tables = isinstance(value, list) and any(isinstance(inner, dict) for inner in value)
    for most, what, counted in (
        (MOST_KEYS, "keys", isinstance(value, dict)),
        (MOST_TABLES, "tables", tables),
    ):
        if counted and len(value) > most:
            raise StudyError(
                f"there are too many {what} here",
                key=key or None,
                found=f"{len(value)}",
                allowed=f"up to {most}",
                remedy="make several studies of it",
            )


def _inside(key: str, value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        yield from ((f".{name}" if key else name, inner) for name, inner in value.items())
    elif isinstance(value, list):
        yield from ((f"[{place}]", inner) for place, inner in enumerate(value, 1))


def _inputs_of(data: dict[str, Any]) -> IncludedFile:
    faults = Faults()
    faults.found += [
        StudyError(
            "an included file may hold inputs, correlations and model errors only",
            key=key,
            allowed="[inputs], [[correlations]] and [model_errors]",
            remedy="move it into the study",
        )
        for key in data
        if key not in IncludedFile.model_fields
    ]
    faults.tell()
    return read_section(IncludedFile, data)


def _merge(
    study: StudyFile, added: IncludedFile, name: str, correlated: list[tuple[str, int]]
) -> tuple[StudyFile, Merged, list[tuple[str, int]]]:
    """Add an included file: its inputs replace those of the study, and the correlations of those."""
    stale = [not {*entry.between}.isdisjoint(added.inputs) for entry in study.correlations]
    kept = [entry for entry, old in zip(study.correlations, stale, strict=True) if not old]
    places = [one for one, old in zip(correlated, stale, strict=True) if not old]
    merged = Merged(
        name,
        {key: study.inputs.get(key) for key in added.inputs},
        added.correlations,
        [entry for entry, old in zip(study.correlations, stale, strict=True) if old],
    )
    update = {
        "inputs": {
            **study.inputs,
            **{key: _varying_as(study.inputs.get(key), entry) for key, entry in added.inputs.items()},
        },
        "correlations": kept + added.correlations,
        "model_errors": {**study.model_errors, **added.model_errors},
    }
    places += [(name, number) for number in range(1, len(added.correlations) + 1)]
    return study.model_copy(update=update), merged, places


def _varying_as(before: Any, entry: Any) -> Any:
    """Return an entry that replaces another, which varies as that did unless it says so itself."""
    if not (isinstance(before, Mapping) and "varies" in before):
        return entry
    keys = entry if isinstance(entry, Mapping) else {"value": entry}
    return {"varies": before["varies"], **keys}
