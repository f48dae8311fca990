"""The text of a study changed in one place: comments, order and all else stay as they were."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Mapping, Sequence
from functools import lru_cache
from typing import Any, TypeAlias

import tomlkit
from tomlkit.exceptions import ParseError
from tomlkit.items import InlineTable

from explorer.desk.entry_forms import AS_IN_FILE, Fields, entry_of
from explorer.errors import StudyError

# Names of tables from the outermost in; a number counts members of a list.
Place: TypeAlias = Sequence[str | int]


# Reading a study takes longer than all else of a page, and every form of it asks.
_read = lru_cache(maxsize=2)(tomlkit.parse)


def at(text: str, place: Place) -> Any:
    """Return what stands at a place of a study, to be looked at and not written to, or None."""
    found: Any = _read(text)
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
    several = isinstance(before, Mapping) and isinstance(entry, Mapping) and fields.kind != AS_IN_FILE
    # Keys taken out of one line would leave their spaces there.
    if several and not (isinstance(before, InlineTable) and before.keys() - entry.keys()):
        _update(before, entry)
    else:
        table[place[-1]] = entry
    return _checked(document)


def with_keys(
    text: str,
    place: Place,
    keys: Mapping[str, str],
    texts: Collection[str] = (),
    lists: Collection[str] = (),
) -> str:
    """Write some keys of a table, each as typed: an empty one goes, one left as it was shown stays.

    Parameters
    ----------
    keys:
        What was typed for each; a dot leads into a table below.
    texts, lists:
        Keys that hold texts whatever they look like, and lists of names with commas between.  Of others
        numbers, lists and true or false are written as such, everything else as text.
    """
    document = tomlkit.parse(text)
    table = _table(document, place)
    for key, typed in keys.items():
        *above, last = key.split(".")
        holder = table
        for step in above:
            if step not in holder and typed.strip():
                holder[step] = tomlkit.inline_table()
            holder = holder.get(step, {})
        if typed.strip() == shown(holder.get(last)).strip():
            continue
        if not typed.strip():
            del holder[last]
        elif key in texts:
            holder[last] = tomlkit.string(typed.strip(), multiline="\n" in typed.strip())
        elif key in lists and typed.strip()[0] not in "[{":
            holder[last] = [name.strip() for name in typed.split(",") if name.strip()]
        else:
            holder[last] = value_typed(typed)
    return _checked(document)


# Where a table is called by its name: section -> keys that hold it, or a list of such.
_CALLED_IN: Mapping[str, tuple[str, ...]] = {
    "conditions": ("condition", "conditions", "minus", "like"),
    "candidates": ("around",),
    "limits": ("limit", "limits"),
}


def renamed(text: str, place: Place, name: str) -> str:
    """Give a table another name, wherever the study calls it by the old one."""
    section, old = str(place[0]), place[-1]
    document = tomlkit.parse(text)
    if section == "limits":
        table = _table(document, place)
        old, table["name"] = str(table.get("name", "")), tomlkit.string(name)
    else:
        if name in document[section]:
            raise StudyError(f"there is one of that name in [{section}]", key=f"{section}.{name}", found=name)
        heading = re.compile(rf"^(\s*\[\s*{section}\s*\.\s*){old}(?=\s*[\].])", re.MULTILINE)
        expected = document.unwrap()
        expected[section] = {name if key == old else key: one for key, one in expected[section].items()}
        document = tomlkit.parse(heading.sub(rf"\g<1>{name}", text))
        if document.unwrap() != expected:
            raise StudyError(
                "this name cannot be changed here",
                remedy="change it in the whole file, on the page of that name",
            )
    if old:
        _call_otherwise(document, _CALLED_IN.get(section, ()), str(old), name)
    return _checked(document)


def _call_otherwise(table: Any, keys: Collection[str], old: str, name: str) -> None:
    """Put a new name for an old one into some keys, and into inputs called after where they hold."""
    at_old, at_new = f"@{old}", f"@{name}"
    for key in list(table) if isinstance(table, Mapping) else range(len(table)):
        value = table[key]
        if isinstance(value, str):
            if value == old and key in keys:
                table[key] = tomlkit.string(name)
            elif value.endswith(at_old):
                table[key] = tomlkit.string(value.removesuffix(at_old) + at_new)
        elif isinstance(value, Mapping | list):
            if key in keys and isinstance(value, list):
                for place in range(len(value)):
                    if value[place] == old:
                        value[place] = name
            _call_otherwise(value, keys, old, name)
        if isinstance(key, str) and key.endswith(at_old):
            table[key.removesuffix(at_old) + at_new] = table.pop(key)


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
    """Take a table, or a member of a list of them, out; a section of which nothing is left goes too."""
    document = tomlkit.parse(text)
    table: Any = document
    for step in place[:-1]:
        table = table[step]
    del table[place[-1]]
    if not table and len(place) == 2:
        del document[str(place[0])]
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
    if isinstance(value, list) and value and all(isinstance(one, str) for one in value):
        return ", ".join(value)
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
        again = tomllib.loads(text)  # a quarter of what keeping comments takes: the cars wait
    except tomllib.TOMLDecodeError as error:
        raise StudyError("this change cannot be written here", found=str(error)) from None
    if again != document.unwrap():
        raise StudyError(
            "this change cannot be written here",
            remedy="make it in the whole file, on the page of that name",
        )
    return text
