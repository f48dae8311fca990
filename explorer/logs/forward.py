"""The study's own graph as a function for fits: from input values and speeds to what a logger would see."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.graph import Graph
from explorer.graph.program import Program, compile_program


def forward_model(
    graph: Graph,
    quantities: Sequence[str],
    conditions: Mapping[str, Mapping[str, float]],
    free: Sequence[str],
) -> Callable[[str, Mapping[str, float], Array], dict[str, Array]]:
    """Make a function that evaluates some quantities along the speed.

    Parameters
    ----------
    graph:
        The study's quantities.
    quantities:
        What was logged.  ``front_ride_height`` and ``rear_ride_height`` may be asked for where the graph has
        no heights: they are how far the body has come up, the zero of the gauge apart.
    conditions:
        Condition -> every given quantity in it with its value (SI), defaults too.
    free:
        Given quantities that each call brings, besides the speed.

    Returns
    -------
    callable
        From condition, values of the free quantities and speeds (rows,) to quantity -> (rows,).

    Raises
    ------
    GraphError
        When a quantity is unknown or needs an input that nobody gives.
    """
    asked = {name: computed_as(graph, name) for name in quantities}
    programs = {
        condition: _compiled(graph, list(asked.values()), condition, {*values, *free, "speed"})
        for condition, values in conditions.items()
    }

    def forward(condition: str, values: Mapping[str, float], speed: Array) -> dict[str, Array]:
        program = programs[condition]
        supplied = {**conditions[condition], **values, "speed": speed}
        results = program.run({name: supplied[name] for name in program.leaves})
        return {
            name: np.broadcast_to(results[computed, condition], speed.shape)
            for name, computed in asked.items()
        }

    return forward


def computed_as(graph: Graph, name: str) -> str:
    """Return the quantity that a logged one is."""
    return name if name in graph else name.replace("_ride_height", "_rise")


def _compiled(graph: Graph, names: list[str], condition: str, given: set[str]) -> Program:
    scope = {name: name for name in given}
    return compile_program(graph, [(name, condition) for name in names], {condition: scope})
