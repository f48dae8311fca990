"""Take a quantity out of the models as a function of others, to hand it to a general-purpose library."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import ModuleType
from typing import Any

import numpy as np

from explorer.graph.graph import Graph
from explorer.graph.program import compile_program
from explorer.graph.quantity import quantity
from explorer.model import modules
from tests.checking import is_off, off
from tests.model_help import defaults


def curve_of(
    name: str,
    over: tuple[str, ...],
    car: Mapping[str, Any],
    choices: Mapping[str, str] | None = None,
    families: Mapping[str, tuple[str, ...]] | None = None,
) -> Callable[..., Any]:
    """Return the quantity as a function of the named others, for a car given by its inputs."""
    caught: list[Any] = []

    # The parameter's name is the quantity's name, so the function has to be written out.
    space: dict[str, Any] = {"caught": caught, "__name__": "probe"}
    exec(f"def probe({name}):\n    'Catch the curve.'\n    caught.append({name})\n    return 0.0", space)
    probe = quantity("1", source="test", varying={name: over})(space["probe"])
    asking = ModuleType("probe")
    vars(asking)["probe"] = probe
    graph = Graph.build([*modules(choices or {}), asking], dict(families or {}))
    values = {**defaults(graph), "speed": 0.0, **car}
    program = compile_program(graph, [("probe", "only")], {"only": {each: each for each in values}})
    program.trace({each: values[each] for each in program.leaves})

    def curve(*arguments: Any) -> Any:
        with np.errstate(all="ignore"):
            found = caught[0](*arguments)
        return off(found) if is_off(name, graph) else found

    return curve
