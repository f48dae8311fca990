"""The catalogue of home methods: how each input is measured, in how many hours, and how well.

It is the one place for the words of a method: refusals, ``explain`` and the worth of measuring look here.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from explorer.graph.graph import Graph


@cache
def catalogue() -> Mapping[str, Mapping[str, Any]]:
    """Read the shipped catalogue: entries by name, all their figures judgement, ``reads`` by quantity."""
    entries = tomllib.loads(files("explorer.study").joinpath("catalogue.toml").read_text("utf-8"))
    for entry in entries.values():
        if isinstance(entry["reads"], list):
            entry["reads"] = {read: {} for read in entry["reads"]}
    return entries


def methods_for(graph: Graph, name: str) -> dict[str, Mapping[str, Any]]:
    """Return the entries that read a quantity, or the family that it is a member of, by name."""
    return {
        method: entry
        for method, entry in catalogue().items()
        if any(name == read or name in graph.of_family(read) for read in entry["reads"])
    }
