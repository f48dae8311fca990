"""What a test compares with a source outside the project, and the proof that it does.

A test says ``@checks("front_axle_load")``.  When it has passed it is run again with the value of that
quantity handed out one percent off by ``tests.model_help``, and must then fail: a name alone proves nothing.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from explorer.graph.graph import Graph
from explorer.graph.program import Program

#: The quantity whose value is handed out altered just now.
_altered: list[str] = []


def checks(*quantities: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Declare that a test compares the values of these quantities.

    A quantity repeated for each member goes by the name of its family (``element_twist``), one that several
    model files define by file and name (``brakes_fitted.brake_limit``).
    """

    def declare(test: Callable[..., None]) -> Callable[..., None]:
        @functools.wraps(test)
        def proved(*arguments: Any, **fixtures: Any) -> None:
            test(*arguments, **fixtures)
            for name in quantities:
                _altered.append(name)
                try:
                    test(*arguments, **fixtures)
                except AssertionError:
                    continue
                finally:
                    _altered.pop()
                pytest.fail(f"{test.__name__} passes with {name} one percent off: it does not compare it")

        return proved

    return declare


def off(value: Any) -> Any:
    """Return a value one percent off, and a hundredth where it is nothing; of a record every number in it."""
    if isinstance(value, tuple):
        parts = [off(part) for part in value]
        return type(value)(*parts) if hasattr(value, "_fields") else tuple(parts)
    if np.asarray(value).dtype == bool:
        return ~np.asarray(value)
    if isinstance(value, (float, int, np.ndarray, np.generic)):
        return np.where(np.asarray(value) == 0, 0.01, np.multiply(value, 1.01))
    return value


def is_off(name: str, graph: Graph) -> bool:
    """Tell whether a quantity is the one that is altered just now."""
    subject = graph[name].subject
    names = {name}
    for family, members in graph.families.items():
        names |= {family + name.removeprefix(one) for one in members if name.startswith(f"{one}_")}
    return any(altered in names | {f"{subject}.{each}" for each in names} for altered in _altered)


def handed_out(found: Mapping[str, Any], given: Mapping[str, Any], graph: Graph) -> dict[str, Any]:
    """Return the values a test asked for, the altered one among them off."""
    return {
        name: off(each) if name not in given and is_off(name, graph) else each for name, each in found.items()
    }


def with_altered_record(program: Program, graph: Graph) -> Program:
    """Return the program; a record, which only other quantities read, is altered where it is computed."""
    if not _altered:
        return program
    steps = tuple(
        replace(step, function=lambda *values, of=step.function: off(of(*values)))
        if graph[step.name].record and is_off(step.name, graph)
        else step
        for step in program.steps
    )
    return replace(program, steps=steps)
