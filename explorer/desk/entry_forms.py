"""An entry of the study as the fields of a form, and the fields as an entry: words stay as typed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit.exceptions import ParseError
from tomlkit.items import InlineTable

from explorer.errors import DistributionError
from explorer.study.entries import ABOUT
from explorer.study.usual import USUAL, is_usual

# How a number may be known, in the words of the form, and the keys of the study that say so.
AS_IN_FILE = "as in the file"
NOT_KNOWN = "not known: what is usual"
KINDS: Mapping[str, tuple[str, ...]] = {
    "one value": ("value",),
    "plus or minus": ("mean", "plus_minus"),
    "standard deviation": ("mean", "sd"),
    "a range": ("low", "high"),
    "a range, one value likeliest": ("low", "mode", "high"),
    "readings": ("readings",),
    NOT_KNOWN: (),
    AS_IN_FILE: (),
}
# What each key is called beside its field.
LABELS: Mapping[str, str] = {
    "value": "value",
    "mean": "mean",
    "plus_minus": "± (19 of 20 within)",
    "sd": "standard deviation",
    "low": "lowest",
    "mode": "likeliest",
    "high": "highest",
    "readings": "readings, a space between",
}


@dataclass(frozen=True)
class Fields:
    """What the form of one entry holds: how it is known, its numbers as typed, and what is said about it."""

    kind: str
    numbers: Mapping[str, str]
    unit: str = ""
    source: str = ""
    text: str = ""


def fields_of(entry: Any) -> Fields:
    """Take an entry of the parsed study apart; what no field can hold stands as it does in the file."""
    if is_usual(entry):
        return Fields(NOT_KNOWN, {}, text=_written(entry))
    if not isinstance(entry, Mapping):
        return Fields("one value", {"value": _shown(entry)}, text=_written(entry))
    shape = {key for key in entry if key not in ABOUT}
    about = {key: str(entry.get(key, "")) for key in ("unit", "source")}
    kinds = [
        kind for kind, keys in KINDS.items() if keys and set(keys) == shape and "distribution" not in entry
    ]
    kind = kinds[0] if kinds else AS_IN_FILE
    return Fields(kind, {key: _shown(entry[key]) for key in KINDS[kind]}, **about, text=_written(entry))


def entry_of(fields: Fields, before: Any) -> Any:
    """Put an entry together.

    Parameters
    ----------
    fields:
        As a form has sent them.
    before:
        The entry that stands in the study, or None; a bare one stays bare where it can.

    Raises
    ------
    DistributionError
        When a field that is needed is empty, or the text is no value of TOML.
    """
    if fields.kind == AS_IN_FILE:
        return _parsed(fields.text)
    if fields.kind == NOT_KNOWN:
        return tomlkit.string(USUAL)
    keys = KINDS.get(fields.kind)
    if keys is None:
        raise DistributionError("a number is not known this way", found=fields.kind, allowed=", ".join(KINDS))
    for key in keys:
        if not fields.numbers.get(key, "").strip():
            raise DistributionError(f"{LABELS[key]} is missing", allowed="a number, with a unit or without")
    written = {key: _typed(key, fields.numbers[key]) for key in keys}
    for key, words in (("unit", fields.unit), ("source", fields.source)):
        if words.strip():
            written[key] = tomlkit.string(words.strip())
    if keys == ("value",) and len(written) == 1 and not isinstance(before, Mapping):
        return written["value"]
    if isinstance(before, Mapping):
        written |= {key: before[key] for key in ABOUT if key in before and key not in ("unit", "source")}
        written.pop("distribution", None)
    table = tomlkit.inline_table()
    table.update(written)
    return table


def _typed(key: str, text: str) -> Any:
    """Keep a number's digits as typed; what is no number is a text with a unit."""
    if key == "readings":
        parts = text.replace("[", " ").replace("]", " ").replace(",", " ").replace(";", " ").split()
        return tomlkit.value("[" + ", ".join(str(_number(part).as_string()) for part in parts) + "]")
    return _number(text.strip())


def _number(text: str) -> Any:
    try:
        found = tomlkit.value(text)
    except (ParseError, ValueError):
        return tomlkit.string(text)
    is_number = isinstance(found, int | float) and not isinstance(found, bool)
    return found if is_number else tomlkit.string(text)


def _parsed(text: str) -> Any:
    from explorer.study.text import parsed

    parsed(f"entry = {text}")  # the bounds and the words of a study's own file
    return tomlkit.value(text.strip())


def _shown(value: Any) -> str:
    if isinstance(value, list):
        return " ".join(_shown(one) for one in value)
    return str(value) if isinstance(value, str) else _written(value)


def _written(value: Any) -> str:
    text = value.as_string() if hasattr(value, "as_string") else str(tomlkit.item(value).as_string())
    return " ".join(text.split()) if not isinstance(value, InlineTable | list | str) else text.strip()
