"""What calls itself a definition holds no physics and no numerics: those have a source, and a check outside.

A definition picks, bundles, compares, adds up, or takes one share or ratio.  A formula of one product whose
unit is that of its factor passes these rules as well: they stop what is plain to see, not all that is wrong.
"""

from __future__ import annotations

import ast
import inspect
import textwrap
from collections.abc import Callable, Iterator
from itertools import chain
from types import FunctionType
from typing import Any, NamedTuple

import numpy as np
import pytest

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve
from tests.test_outside import computed, graphs

#: What a definition may call, besides curves it is handed and records it makes: to pick, pass on, compare.
PICKING = {
    *("np.where", "np.isnan", "np.any", "np.abs", "np.minimum", "np.maximum", "np.min", "np.max", "np.ptp"),
    *("np.zeros", "np.stack", "np.broadcast_arrays", "zip", "tuple", "point._replace"),
    # One ratio and its cap; whether there is a wake.
    *("reserve_factor", "_waked"),
}
ADDING = (ast.Add, ast.Sub, ast.Mult, ast.Div, ast.BitAnd)
SCALING = (ast.Mult, ast.Div)


def more_than_a_definition(function: Callable[..., Any], unit: str, units: set[str]) -> Iterator[str]:
    """Say what a function does that a definition does not; ``units`` are those of what it needs."""
    if not isinstance(function, FunctionType):
        yield "is a field of a record"
        return
    tree = ast.parse(textwrap.dedent(inspect.getsource(function))).body[0]
    assert isinstance(tree, ast.FunctionDef)
    asked = {each.arg for each in tree.args.args}
    known = function.__globals__
    body = [*chain.from_iterable(map(ast.walk, tree.body))]
    if units and unit not in units | {"1"}:
        yield f"makes {unit} of {', '.join(sorted(units))}"
    steps = [node for node in body if isinstance(node, ast.BinOp)]
    if not all(isinstance(step.op, ADDING) for step in steps):
        yield "raises to a power, or the like"
    scaled = sum(isinstance(step.op, SCALING) for step in steps)
    if scaled > (function.__annotations__["return"] == "Array"):
        yield f"multiplies and divides {scaled} times"
    operands = chain(*([step.left, step.right] for step in steps), *compared(body))
    for node in operands:
        if isinstance(node, ast.Constant) and node.value not in (0, 1, 2):
            yield f"reckons with {node.value}"
        elif isinstance(node, ast.Name) and isinstance(known.get(node.id), float | int | np.ndarray):
            yield f"reckons with {node.id}"
    for node in body:
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            if called not in PICKING | asked and not isinstance(known.get(called), type):
                yield f"calls {called}"
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in asked:
            yield f"reads a field of {node.value.id}"


def compared(body: list[ast.AST]) -> Iterator[list[ast.expr]]:
    """Yield both sides of every comparison."""
    yield from ([node.left, *node.comparators] for node in body if isinstance(node, ast.Compare))


def test_definitions_hold_no_physics() -> None:
    """Each one that does more than a definition has to name its source, and to be compared outside."""
    units = {name: entry.unit for graph in graphs() for name, entry in graph.quantities.items()}
    more = {}
    for name, entry in computed().items():
        needed = {units[each] for each in entry.needed_names}
        if entry.source == "definition" and entry.function:
            more[name] = [*more_than_a_definition(entry.function, entry.unit, needed)]
    assert {name: found for name, found in more.items() if found} == {}


class Kept(NamedTuple):
    """A record, as solvers return them."""

    time: Array


LIMIT = 0.5


def energy(mass: Array, speed: Array) -> Array:
    return mass * speed


def bent(angle: Array) -> Array:
    return np.sin(angle)


def squared(share: Array) -> Array:
    return share**2


def of_a_solver(kept: Kept) -> Array:
    return kept.time


def judged(share: Array) -> Array:
    return np.where(share > LIMIT, 1.0, 0.0)


def corrected(share: Array) -> Array:
    return share + 0.15


def straight_in_two(share: Array, gain: Array, loss: Array) -> Array:
    return share + gain * share - loss * share


def scaled_record(time: Array, share: Array) -> Kept:
    return Kept(time * share)


def share_of(part: Array, whole: Array) -> Array:
    return part / np.where(whole == 0, np.nan, whole)


def at_a_state(load: Curve, speed: Array) -> Array:
    return load(speed)


def bundled(time: Array) -> Kept:
    return Kept(time)


@pytest.mark.parametrize(
    ("function", "unit", "units", "found"),
    [
        (energy, "J", {"kg", "m/s"}, "makes J of kg, m/s"),
        (bent, "1", {"rad"}, "calls np.sin"),
        (squared, "1", {"1"}, "raises to a power, or the like"),
        (of_a_solver, "s", {"s"}, "reads a field of kept"),
        (judged, "1", {"1"}, "reckons with LIMIT"),
        (corrected, "1", {"1"}, "reckons with 0.15"),
        (straight_in_two, "1", {"1"}, "multiplies and divides 2 times"),
        (scaled_record, "1", {"s", "1"}, "multiplies and divides 1 times"),
        (share_of, "1", {"N"}, None),
        (at_a_state, "N", {"N", "m/s"}, None),
        (bundled, "1", {"s"}, None),
    ],
    ids=lambda value: value.__name__ if callable(value) else "",
)
def test_what_is_seen_of_a_formula(
    function: Callable[..., Any], unit: str, units: set[str], found: str | None
) -> None:
    assert [*more_than_a_definition(function, unit, units)] == ([] if found is None else [found])
