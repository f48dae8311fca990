"""Samples and variants of them in one evaluation: as if each were evaluated alone, at less cost."""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import anywhere, everywhere
from explorer.graph.graph import Graph
from explorer.graph.program import compile_program
from explorer.graph.quantity import given, quantity
from explorer.graph.variants import Moved, run_variants
from tests.graph.test_graph import module


def test_each_step_is_called_once_on_what_reaches_and_needs_it() -> None:
    called: dict[str, int] = {}

    @quantity("1", source="definition")
    def of_both(a, b):
        """Depend on both."""
        called["of_both"] = max(called.get("of_both", 0), np.size(a * b))
        return a * b

    @quantity("1", source="definition")
    def of_a(a):
        """Depend on one."""
        called["of_a"] = np.size(a)
        return a + 1

    @quantity("1", source="definition", varying={"of_both": "b"})
    def curve(of_both, of_a):
        """Follow a curve that one input bends."""
        called["curve"] = np.size(of_both(2.0))
        return of_both(2.0) + of_a

    made = module(a=given("1", "A."), b=given("1", "B."), of_both=of_both, of_a=of_a, curve=curve)
    wanted = [("of_both", "c"), ("curve", "c")]
    program = compile_program(Graph.build([made]), wanted, {"c": {"a": "a", "b": "b"}})
    base = {"a": np.arange(4.0), "b": 3.0}
    moved = [({"b": np.full(4, 7.0)}, wanted), ({"a": np.arange(4.0) ** 2}, wanted[:1])]
    found = run_variants(program, base, [Moved(*one) for one in moved], 4)
    assert called == {"of_both": 12, "of_a": 4, "curve": 4}
    for place, (changes, asked) in enumerate([({}, wanted), *moved]):
        alone = program.run({**base, **changes})
        for pair in asked:
            np.testing.assert_array_equal(found[pair][place], np.broadcast_to(alone[pair], 4))
    np.testing.assert_array_equal(found["curve", "c"][2], found["curve", "c"][0])


def test_where_something_holds_is_told_of_arrays_and_numbers_alike() -> None:
    for values in (
        np.array([False, True]),
        np.zeros(3),
        np.ones(2),
        np.array([np.nan]),
        np.float64(0),
        np.empty(0),
    ):
        assert anywhere(values) == np.any(values)
        assert everywhere(values) == np.all(values)
