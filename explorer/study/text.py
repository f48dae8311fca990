"""The text of a study: read, parsed within bounds that every real one keeps, its included files merged."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from explorer.errors import SquatlineError, StudyError
from explorer.files.characters import require_visible
from explorer.files.reading import Wanted
from explorer.study.schema import CorrelationEntry, IncludedFile, read_section

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
_DECIMAL_COMMA = re.compile(r"^[^#\"'\n]*=[ \t]*([+-]?\d+),(\d+)", re.MULTILINE)
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
    """A parsed study with its includes merged, the digest of all that was read, and what was merged."""

    data: dict[str, Any]
    digest: str
    includes: tuple[Merged, ...]


def read_study_text(file: Path, text: str | None = None) -> StudyText:
    """Read a study and what it includes; with a text, that in place of what the file holds.

    Raises
    ------
    StudyError
        When a file cannot be read, is no TOML, or holds what no study can.
    """
    text = STUDY.text(file) if text is None else text
    digest = hashlib.sha256(text.encode())
    data = parsed(text)
    includes = []
    for name in _names(data.pop("include", [])):
        try:
            more = INCLUDED.text(file.parent / name, name)
            added = _inputs_of(parsed(more))
        except SquatlineError as error:
            raise error.within(file=name, key="include") from None
        includes.append(_merge(data, *added, name))
        digest.update(more.encode())
    return StudyText(data, digest.hexdigest(), tuple(includes))


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
        allowed=f'a list of up to {MOST_INCLUDED} names, such as include = ["fitted.toml"]',
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
        raise StudyError(
            "the file is not valid TOML",
            found=str(error),
            remedy=f"write a decimal point: {comma[1]}.{comma[2]}"
            if (comma := _DECIMAL_COMMA.search(text))
            else "check quotes, brackets and that no key stands twice near that line",
        ) from None
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


def _inputs_of(data: dict[str, Any]) -> tuple[dict[str, Any], IncludedFile]:
    beyond = next((key for key in data if key not in IncludedFile.model_fields), None)
    if beyond is not None:
        raise StudyError(
            "an included file may hold inputs and correlations only",
            key=f"include: {beyond}",
            allowed="[inputs] and [[correlations]]",
        )
    return data, read_section(IncludedFile, data)


def _merge(data: dict[str, Any], more: dict[str, Any], added: IncludedFile, name: str) -> Merged:
    """Add an included file: its inputs replace those of the study, and the correlations of those."""
    own = read_section(IncludedFile, {key: data[key] for key in IncludedFile.model_fields if key in data})
    stale = [not {*entry.between}.isdisjoint(added.inputs) for entry in own.correlations]
    data["inputs"] = {**own.inputs, **added.inputs}
    kept = [raw for raw, old in zip(data.get("correlations", []), stale, strict=True) if not old]
    data["correlations"] = kept + more.get("correlations", [])
    return Merged(
        name,
        {key: own.inputs.get(key) for key in added.inputs},
        added.correlations,
        [entry for entry, old in zip(own.correlations, stale, strict=True) if old],
    )
