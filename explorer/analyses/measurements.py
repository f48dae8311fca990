"""Measurements as a study lists them: taken by name from the catalogue, overridden, or described anew.

A section of the study, and an entry of the catalogue, are one kind of table:

    take = "spring_on_a_scale"        # entry of the catalogue to start from
    label = "rear spring rate"        # what is measured, in words that follow "measure the"
    reads = ["rear_spring_rate"]      # inputs it improves, or a table of them with an accuracy each
    accuracy = {relative = "2 %"}     # for inputs that have none of their own
    hours = 0.5
    cost = 0
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping
from typing import Any

from explorer.errors import StudyError, unknown, with_key
from explorer.estimators.measuring import Accuracy, Measurement
from explorer.graph.units import parse_spread
from explorer.study.catalogue import catalogue

SPREADS = ("noise", "relative", "leaves")
ACCURACY_KEYS = (*SPREADS, "bias", "repeats")
KEYS = ("take", "label", "reads", "accuracy", "hours", "cost")


def measurement_from(
    name: str,
    table: Mapping[str, Any],
    unit_of: Callable[[str], str],
    entries: Mapping[str, Mapping[str, Any]] | None = None,
) -> Measurement:
    """Make a measurement of a section of the study.

    Parameters
    ----------
    name:
        Its name in the study.
    table:
        The section.
    unit_of:
        SI unit of an input by its name; raises an error of the project when there is no such input.
    entries:
        What may be taken; the catalogue as it is shipped unless something else is handed over.

    Raises
    ------
    StudyError
        When a key or a catalogue entry is unknown, something is missing, or a number makes no sense.
    """
    _known(table, KEYS, name)
    entries = catalogue() if entries is None else entries
    entry: Mapping[str, Any] = {}
    if "take" in table:
        if not isinstance(table["take"], str) or table["take"] not in entries:
            problem = "the catalogue has no such measurement"
            raise unknown(problem, table["take"], entries, f"{name}.take")
        entry = entries[table["take"]]
    hours = table.get("hours", entry.get("hours"))
    if not (_is_number(hours) and 0 < hours < math.inf):
        raise StudyError(
            "a measurement takes time",
            key=f"{name}.hours",
            found=hours,
            allowed="hours above 0",
            remedy="write hours = 1.5, a number without quotes",
        )
    cost = table.get("cost", entry.get("cost", 0.0))
    if not (_is_number(cost) and 0 <= cost < math.inf):
        raise StudyError("a cost is a number", key=f"{name}.cost", found=cost, allowed="0 or more")
    return Measurement(
        name=name,
        label=str(table.get("label", entry.get("label", name.replace("_", " ")))),
        reads=_reads(name, table, entry, unit_of),
        hours=float(hours),
        cost=float(cost),
    )


def _reads(
    name: str, table: Mapping[str, Any], entry: Mapping[str, Any], unit_of: Callable[[str], str]
) -> dict[str, Accuracy]:
    """Accuracy of each input: the study's own, else the study's for all, else the catalogue's."""
    own, usual = table.get("reads", entry.get("reads", {})), entry.get("reads", {})
    if isinstance(own, str):
        own = [own]
    if not own or not isinstance(own, (list, Mapping)) or not all(isinstance(read, str) for read in own):
        raise StudyError(
            "a measurement reads at least one input",
            key=f"{name}.reads",
            found=repr(own)[:80] if own else "nothing",
            allowed='names of inputs, such as reads = ["mass"]',
        )
    found = {}
    for read in own:
        key = f"{name}.reads.{read}"
        stated = own[read] if own is table.get("reads") and isinstance(own, Mapping) else {}
        accuracy = _over(entry.get("accuracy", {}), usual.get(read, {}))
        accuracy = _over(accuracy, _table(table.get("accuracy", {}), f"{name}.accuracy"))
        found[read] = _accuracy(key, _over(accuracy, _table(stated, key)), unit_of(read))
    return found


def _table(value: Any, key: str) -> Mapping[str, Any]:
    if isinstance(value, Mapping):
        return value
    raise StudyError(
        "an accuracy is a table of keys",
        key=key,
        found=repr(value)[:80],
        allowed='such as { noise = "2 g" } or { relative = "3 %", repeats = 3 }',
    )


def _over(table: Mapping[str, Any], other: Mapping[str, Any]) -> dict[str, Any]:
    """Lay one statement of accuracy over another; a spread stated anew replaces the old in whatever form."""
    replaced = SPREADS if any(key in other for key in SPREADS) else ()
    return {**{key: value for key, value in table.items() if key not in replaced}, **other}


def _accuracy(key: str, table: Mapping[str, Any], unit: str) -> Accuracy:
    """Turn texts with units into standard deviations in SI."""
    _known(table, ACCURACY_KEYS, key)
    if not any(given in table for given in (*SPREADS, "bias")):
        raise StudyError(
            "how well it reads is missing",
            key=key,
            allowed="noise, relative, bias or leaves",
            remedy='say for example noise = "2 g", relative = "3 %" or leaves = "0.5 mm"',
        )
    repeats = table.get("repeats", 1)
    if not isinstance(repeats, int) or isinstance(repeats, bool) or repeats < 1:
        raise StudyError("repeats are counted", key=f"{key}.repeats", found=repeats, allowed="1, 2, 3 ...")
    spreads = {
        given: _spread(f"{key}.{given}", table[given], "1" if given == "relative" else unit)
        for given in (*SPREADS, "bias")
        if given in table
    }
    return Accuracy(repeats=repeats, **spreads)


def _spread(key: str, text: object, unit: str) -> float:
    """Read a standard deviation, and say where it stands when it is none."""
    with with_key(key):
        value, _ = parse_spread(text, None, unit)
    if value < 0:
        raise StudyError("a standard deviation is not negative", key=key, found=text, allowed="0 or more")
    return value


def _known(table: Mapping[str, Any], keys: Collection[str], where: str) -> None:
    for key in table:
        if key not in keys:
            raise unknown("there is no key {} here", key, keys, f"{where}.{key}")


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)
