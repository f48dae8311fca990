"""Limits named alike in every sentence: with the throttle that their verdict is for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any

from explorer.results.records import Summary
from explorer.study.throttle import with_throttle


def named_in_full(summary: Summary) -> Summary:
    """Return a summary in which every limit's name says how the car is driven, where it hangs on that."""
    names = {limit.name: with_throttle(limit.name, limit.throttle) for limit in summary.limits}
    changed = {name: called for name, called in names.items() if name != called}
    renamed: Summary = _renamed(summary, changed) if changed else summary
    return renamed


def _renamed(value: Any, names: Mapping[str, str]) -> Any:
    """Put new names in place of the old, where they stand alone or between quotation marks."""
    if isinstance(value, str):
        if value in names:
            return names[value]
        if "“" in value:
            for name, called in names.items():
                value = value.replace(f"“{name}”", f"“{called}”")
        return value
    if type(value) in (tuple, list):
        rows = value and isinstance(value[0], float)
        return value if rows else type(value)(_renamed(one, names) for one in value)
    if isinstance(value, dict):
        return {_renamed(key, names): _renamed(one, names) for key, one in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        found = {field.name: getattr(value, field.name) for field in fields(value) if field.init}
        new = {name: _renamed(one, names) for name, one in found.items()}
        changed = {name: one for name, one in new.items() if one is not found[name]}
        return replace(value, **changed) if changed else value
    return value
