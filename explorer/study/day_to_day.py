"""``varies = "0.5 m/s"``: a mean that could be learnt, and a day about it that is another in every run.

In the graph the day is an input of its own and a function adds it to the mean; all that reads the quantity
reads their sum.  So mean and day are drawn, ranked and listed as any two inputs, each of its own kind.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from explorer.errors import StudyError
from explorer.graph.arrays import Array
from explorer.graph.graph import Graph
from explorer.graph.quantity import Need, Quantity


def says_by_how_much(entry: object) -> bool:
    """Tell whether an entry of an input says how far it varies about its mean."""
    return isinstance(entry, Mapping) and not isinstance(entry.get("varies", False), bool)


def day_of(name: str) -> str:
    """Return the name of the input that is the day of a quantity: how far it is from its mean in one run."""
    return f"{name}_of_the_day"


def in_a_run(name: str, graph: Graph) -> str:
    """Return the name of what a quantity is in one run: itself, or the sum of its mean and the day."""
    total = f"{name}_in_a_run"
    return total if total in graph and day_of(name) in graph else name


@dataclass(frozen=True)
class MeanAndDay:
    """Adds the day to the mean; what is physically impossible has no answer."""

    low: float
    high: float

    def __call__(self, mean: Array, day: Array) -> Array:
        """Return the sum."""
        total = mean + day
        return np.where((total < self.low) | (total > self.high), np.nan, total)


def with_days(graph: Graph, sections: Iterable[Mapping[str, Any]]) -> Graph:
    """Return the graph in which whatever a section of entries lets vary about its mean has a day.

    Raises
    ------
    StudyError
        Where a model tries the quantity at values of its own, so that it is no number of the day.
    """
    said = [name for entries in sections for name, entry in entries.items() if says_by_how_much(entry)]
    names = {one for name in said for one in graph.of_family(name) or (name,) if one in graph}
    if not names:
        return graph
    quantities: dict[str, Quantity] = {}
    for quantity in graph.quantities.values():
        over = (one for need in quantity.needs for one in need.over)
        tried = names.intersection([quantity.capped_by, *over])
        if tried:
            raise StudyError(
                "a model tries this quantity at several values, so it cannot vary about a mean",
                key=f"inputs.{min(tried)}.varies",
                found=quantity.name,
                allowed="varies = true, or varies = false",
            )
        needs = (
            replace(need, names=tuple(f"{one}_in_a_run" if one in names else one for one in need.names))
            for need in quantity.needs
        )
        quantities[quantity.name] = replace(quantity, needs=tuple(needs))
        if quantity.name in names:
            quantities.update((one.name, one) for one in _day_and_sum(quantity))
    return Graph(quantities, graph.families)


def _day_and_sum(mean: Quantity) -> tuple[Quantity, Quantity]:
    day = Quantity(
        day_of(mean.name),
        mean.unit,
        f"How far {mean.name} is from its mean in one run.",
        default=0.0,
        subject=mean.subject,
        of_the_day=True,
    )
    low = max((one for one in (mean.at_least, mean.above) if one is not None), default=-math.inf)
    total = Quantity(
        f"{mean.name}_in_a_run",
        mean.unit,
        f"What {mean.name} is in one run: its mean, and how far the day is from it.",
        source="definition",
        needs=(Need((mean.name,)), Need((day.name,))),
        function=MeanAndDay(low, math.inf if mean.at_most is None else mean.at_most),
        fails="further from its mean than is possible",
        subject=mean.subject,
    )
    return day, total
