"""The text of a study changed in one place: comments, order and all else stay as they were."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeAlias

import tomlkit
from tomlkit.exceptions import ParseError, TOMLKitError

from explorer.desk.entry_forms import AS_IN_FILE, Fields, entry_of
from explorer.errors import StudyError

# Names of tables from the outermost in; a number counts members of a list.
Place: TypeAlias = Sequence[str | int]


def at(text: str, place: Place) -> Any:
    """Return what stands at a place of a study, or None."""
    found: Any = tomlkit.parse(text)
    for step in place:
        try:
            found = found[step]
        except (KeyError, IndexError, TypeError):
            return None
    return found


def with_entry(text: str, place: Place, fields: Fields) -> str:
    """Write the entry of an input, as a form has it."""
    document = tomlkit.parse(text)
    table = _table(document, place[:-1])
    before = table.get(place[-1])
    entry = entry_of(fields, before)
    if isinstance(before, Mapping) and isinstance(entry, Mapping) and fields.kind != AS_IN_FILE:
        _update(before, entry)
    else:
        table[place[-1]] = entry
    return _checked(document)


def with_keys(text: str, place: Place, keys: Mapping[str, str]) -> str:
    """Write some keys of a table, each as typed: an empty one goes, one left as it was shown stays.

    Numbers, lists and true or false are written as such, everything else as text.
    """
    document = tomlkit.parse(text)
    table = _table(document, place)
    for key, typed in keys.items():
        if typed.strip() == shown(table.get(key)).strip():
            continue
        if typed.strip():
            table[key] = value_typed(typed)
        elif key in table:
            del table[key]
    return _checked(document)


def with_table(
    text: str, place: Place, values: Mapping[str, Any], tables: Mapping[str, Mapping[str, Any]]
) -> str:
    """Write a new table: its keys, and below it tables of lines."""
    document = tomlkit.parse(text)
    table = _table(document, place)
    for key, value in values.items():
        table[key] = _inline(value)
    for name, lines in tables.items():
        below = tomlkit.table()
        for key, value in lines.items():
            below[key] = _inline(value)
        table[name] = below
    return _checked(document)


def with_run(text: str, place: Place, run: Mapping[str, Any]) -> str:
    """Add a log to those of a fit; one that had a single file names it among its runs from then on."""
    document = tomlkit.parse(text)
    table = _table(document, place)
    if "runs" not in table:
        table["runs"] = _inline([{"file": str(table["file"])}])
        del table["file"]
    table["runs"].append(_inline(run))
    return _checked(document)


def without(text: str, place: Place) -> str:
    """Take a table, or a member of a list of them, out."""
    document = tomlkit.parse(text)
    table: Any = document
    for step in place[:-1]:
        table = table[step]
    del table[place[-1]]
    return _checked(document)


def as_candidate(saved: str, text: str, name: str, words: str) -> str:
    """Write the inputs that differ from the saved ones as a candidate, and put the saved ones back."""
    before, document = tomlkit.parse(saved), tomlkit.parse(text)
    old, new = before.get("inputs", {}), document.get("inputs", {})
    changed = [key for key in new if key not in old or plain(new[key]) != plain(old[key])]
    if not changed:
        raise StudyError(
            "no input differs from the saved study",
            key="candidates",
            remedy="change an input first; a candidate is what it changes",
        )
    if name in document.get("candidates", {}):
        raise StudyError(
            "there is a candidate of that name", key=f"candidates.{name}", remedy="name it otherwise"
        )
    candidate = _table(document, ("candidates", name))
    candidate["words"] = words or name.replace("_", " ")
    for key in changed:
        candidate[key] = tomlkit.value(new[key].as_string()) if hasattr(new[key], "as_string") else new[key]
        if key in old:
            new[key] = old[key]
        else:
            del new[key]
    return _checked(document)


def shown(value: Any) -> str:
    """Write a value as a form's field shows it: a text without its quotes, all else as in the file."""
    if value is None:
        return ""
    if isinstance(value, str):
        return str(value)
    return str(value.as_string() if hasattr(value, "as_string") else tomlkit.item(value).as_string()).strip()


def _table(document: Any, place: Place) -> Any:
    """Return the table at a place, made where it is missing."""
    table = document
    for position, step in enumerate(place):
        if isinstance(step, int):
            if step == len(table):
                table.append(tomlkit.table())
        elif step not in table:
            listed = position + 1 < len(place) and isinstance(place[position + 1], int)
            table[step] = tomlkit.aot() if listed else tomlkit.table(is_super_table=position + 1 < len(place))
        table = table[step]
    return table


def _update(before: Any, entry: Mapping[str, Any]) -> None:
    """Bring a table of keys to another with as little change as can be."""
    for key in [key for key in before if key not in entry]:
        del before[key]
    for key, value in entry.items():
        if key not in before or plain(before[key]) != plain(value):
            before[key] = value


def plain(value: Any) -> Any:
    """Return a value without the comments and spaces it has in the file."""
    return value.unwrap() if hasattr(value, "unwrap") else value


def _inline(value: Any) -> Any:
    """Return a value as it stands in one line, a list of tables with a line for each."""
    if isinstance(value, Mapping):
        inline = tomlkit.inline_table()
        inline.update({key: _inline(one) for key, one in value.items()})
        return inline
    if isinstance(value, list):
        listed = tomlkit.array()
        listed.extend([_inline(one) for one in value])
        return listed.multiline(any(isinstance(one, Mapping) for one in value))
    return tomlkit.item(value)


def value_typed(typed: str) -> Any:
    """Read what was typed as a number, a list, true or false, or else as text."""
    try:
        found = tomlkit.value(typed.strip())
    except (ParseError, ValueError):
        return tomlkit.string(typed.strip(), multiline="\n" in typed.strip())
    return found


def _checked(document: Any) -> str:
    """Write the document, which has to read back as what it is."""
    text = tomlkit.dumps(document)
    try:
        again = tomlkit.parse(text)
    except TOMLKitError as error:
        raise StudyError("this change cannot be written here", found=str(error)) from None
    if again.unwrap() != document.unwrap():
        raise StudyError(
            "this change cannot be written here",
            remedy="make it in the whole file, on the page of that name",
        )
    return text
