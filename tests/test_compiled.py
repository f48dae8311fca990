"""Machine code against numpy: the same numbers, none in the same places, honest about what it leaves."""

from __future__ import annotations

import pickle
import time
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from statistics import median
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from study_help import DEMO, ROOT

from explorer.analyses.nominal import computable
from explorer.compiled import machine, program
from explorer.compiled.program import CompiledProgram
from explorer.compiled.samples import FUNCTIONS_OF_ONE, FUNCTIONS_OF_TWO, KINDS, ORDER
from explorer.engine.montecarlo import make_job, run_montecarlo
from explorer.engine.plan import CHUNK, Plan, make_plan
from explorer.engine.versions import installed
from explorer.errors import ClusterError, SquatlineError
from explorer.graph.graph import Graph
from explorer.graph.program import Program, compile_program
from explorer.graph.quantity import Array, Curve, given, quantity
from explorer.model.numeric import first_fall, secant
from explorer.study.study import Study, load_study

Values = Mapping[Any, Any]


@pytest.fixture(scope="module", autouse=True)
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Keep machine code in a folder of the tests' own."""
    with pytest.MonkeyPatch.context() as patch:
        place = tmp_path_factory.mktemp("cache")
        patch.setenv("XDG_CACHE_HOME", str(place))
        yield place / "squatline" / "routines"


@pytest.fixture(scope="module")
def demo() -> Study:
    return load_study(DEMO)


def everything(study: Study) -> Plan:
    """Plan every quantity that the study's conditions can tell."""
    return make_plan(
        study, [(name, where) for where in study.conditions for name in computable(study, where)]
    )


def both(plan: Plan, drawn: Values) -> Iterator[tuple[Any, Array, Array]]:
    """Pair every number found by numpy with that found by machine code."""
    supplied = {**plan.constants, **drawn}
    expected = plan.program.run(supplied)
    found = CompiledProgram.of(plan.program).run(supplied)
    for key, value in expected.items():
        for one, other in zip(parts(value), parts(found[key]), strict=True):
            yield key, *np.broadcast_arrays(np.asarray(one, float), np.asarray(other, float))


def parts(value: Any) -> Iterator[Any]:
    if isinstance(value, tuple):
        for one in value:
            yield from parts(one)
    elif isinstance(value, float | int | np.ndarray | np.generic):
        yield value


def spoilt(drawn: dict[str, Array]) -> dict[str, Array]:
    """Make the first cars too soft to keep a pitch, and one impossible."""
    spoilt = {key: values.copy() for key, values in drawn.items()}
    spoilt["rear_wheel_rate"][:5] = 300.0
    spoilt["mass"][5] = np.nan
    return spoilt


def test_the_whole_demo_agrees_with_numpy(demo: Study) -> None:
    plan = everything(demo)
    failing = 0
    for key, expected, found in both(plan, spoilt(plan.random_chunk(0, 2011))):
        # assert_allclose wants what is no number in the same places.
        np.testing.assert_allclose(found, expected, rtol=1e-12, err_msg=str(key))
        failing += np.any(np.isnan(expected)) and not np.all(np.isnan(expected))
    assert failing > 20


def test_mechanism_and_slots_agree_as_closely_as_sine_and_cosine_do() -> None:
    """The second demo; its straights and motion in time are left to numpy, but for their curves."""
    study = load_study(ROOT / "studies" / "three-flap-chase")
    plan = make_plan(study, [*study.outputs, *((limit.quantity, limit.condition) for limit in study.limits)])
    for key, expected, found in both(plan, plan.random_chunk(0, 301)):
        # A root is closed in on to 1e-10, from values that one rounding of a sine sets apart.
        size = np.nanmedian(np.abs(expected))
        np.testing.assert_allclose(found, expected, rtol=1e-10, atol=1e-10 * size, err_msg=str(key))


def test_no_sample_hangs_on_its_neighbours_nor_on_how_many_there_are(demo: Study) -> None:
    plan = make_job(demo).plan
    compiled = CompiledProgram.of(plan.program)
    drawn = spoilt(plan.random_chunk(0, 50))

    def run(chosen: Any) -> Array:
        found = compiled.run({**plan.constants, **{key: values[chosen] for key, values in drawn.items()}})
        return np.array([found[key] for key in sorted(found)])

    order = np.random.default_rng(3).permutation(50)
    together = run(np.arange(50))
    np.testing.assert_array_equal(run(order), together[:, order])
    np.testing.assert_array_equal(np.hstack([run(np.arange(7)), run(np.arange(7, 50))]), together)


def model(*functions: Any) -> Program:
    """Compile a model of these functions, of two given numbers, one and other."""
    names = {function.__name__: function for function in functions}
    inputs = {"one": given("1", "One."), "other": given("1", "Other.")}
    for function in functions:
        function.__module__ = "model"
    graph = Graph.build([SimpleNamespace(__name__="model", **inputs, **names)])  # type: ignore[list-item]
    return compile_program(
        graph, [(name, "now") for name in names], {"now": {"one": "one", "other": "other"}}
    )


def on(program: Program, one: Any, other: Any) -> tuple[dict[str, Array], dict[str, Array], CompiledProgram]:
    """Run a model on numpy and as machine code."""
    compiled = CompiledProgram.of(program)
    supplied = {"one": np.asarray(one, float), "other": np.asarray(other, float)}
    expected, found = program.run(supplied), compiled.run(supplied)
    return {k: v for (k, _), v in expected.items()}, {k: v for (k, _), v in found.items()}, compiled


EDGES = np.array([0.0, -0.0, 1.0, -1.0, 0.5, -2.5, 3.0, 1e-300, 1e300, np.inf, -np.inf, np.nan])
EXACT = {"absolute", "sqrt", "floor", "ceil", "rint", "minimum", "maximum", "copysign"} | ORDER | KINDS


@pytest.mark.parametrize("name", sorted(FUNCTIONS_OF_ONE | FUNCTIONS_OF_TWO | ORDER | KINDS))
def test_each_function_does_as_numpy_does(name: str) -> None:
    function = getattr(np, name)

    @quantity("1", source="test")
    def result(one: Array, other: Array) -> Array:
        """Return it."""
        return function(one, other) if function.nin == 2 else function(one) + 0 * np.sign(other)

    # In the last bits two libraries may differ; what processors do may not.
    tolerance = 0 if name in EXACT else 1e-14
    one, other = (grid.ravel() for grid in np.meshgrid(EDGES, EDGES if function.nin == 2 else [1.0]))
    expected, found, compiled = on(model(result), one, other)
    np.testing.assert_allclose(found["result"], expected["result"], rtol=tolerance, atol=0)
    assert "numpy" not in compiled.engine


def test_choices_powers_families_and_truths_do_as_numpy_does() -> None:
    @quantity("1", source="test")
    def result(one: Array, other: Array) -> Array:
        """Return it."""
        stacked = np.stack(np.broadcast_arrays(one, other, 1.0))
        stacked -= np.concatenate([stacked[1:], stacked[:1]])
        both = np.any(stacked > 0, axis=0) & ~np.all(stacked[:2] < 1, axis=0) | (one == other)
        powers = one**2 + np.abs(other) ** 0.5 + np.abs(one) ** other + np.round(other, 2) + other**-1.0
        chosen = np.where(both, powers, np.where(one > 0, both, np.fmax(one, other)))
        folded = np.max(stacked, axis=0) - np.sum(stacked[:, None, :], axis=0)[0] + np.prod(stacked, axis=0)
        return np.clip(chosen, -9, 9) + folded + np.zeros_like(one) + 2 * (both == (other > one))

    one, other = np.random.default_rng(1).normal(0, 2, (2, 100))
    expected, found, compiled = on(model(result), np.append(one, EDGES), np.append(other, EDGES[::-1]))
    np.testing.assert_allclose(found["result"], expected["result"], rtol=1e-14)
    assert "numpy" not in compiled.engine


def test_searches_within_searches() -> None:
    @quantity("1", source="test")
    def inner(one: Array, other: Array) -> Array:
        """Return the cube root of one plus other."""
        return first_fall(lambda x: one + other - x**3, 0.0, 10.0, steps=5).position

    @quantity("1", source="test", varying={"inner": "other"}, fails="there is none")
    def outer(inner: Curve, one: Array) -> Array:
        """Return where the inner root is two."""
        return secant(lambda x: inner(x) - 2, 1.0 + 0 * one, 2.0 + 0 * one)

    one = np.append(np.linspace(0.1, 7.5, 60), np.nan)
    expected, found, compiled = on(model(inner, outer), one, np.ones(61))
    np.testing.assert_allclose(found["outer"], expected["outer"], rtol=1e-12)
    np.testing.assert_allclose(found["outer"][:-1], 8 - one[:-1], rtol=1e-8)
    assert "numpy" not in compiled.engine


def test_what_cannot_be_recorded_is_left_to_numpy_and_told() -> None:
    @quantity("1", source="test")
    def bend(one: Array, other: Array) -> Array:
        """Return what a curve is made of."""
        return np.sin(one) * other

    @quantity("1", source="test", varying={"bend": "other"})
    def ranked(bend: Curve, one: Array) -> Array:
        """Return something no function of one sample can."""
        return np.argsort(bend(2.0)) + bend(one)

    @quantity("1", source="test")
    def after(ranked: Array, bend: Array) -> Array:
        """Return something that needs it."""
        return ranked + bend

    @quantity("1", source="test")
    def decided(one: Array) -> Array:
        """Return something by the value of one sample."""
        return one if one[0] > 0 else -one

    one, other = np.random.default_rng(2).normal(size=(2, 40))
    expected, found, compiled = on(model(bend, ranked, after, decided), one, other)
    for name, values in expected.items():
        np.testing.assert_allclose(found[name], values, rtol=1e-14, err_msg=name)
    assert "numpy for ranked (it calls np.argsort), decided (it picks samples) and 1" in compiled.engine


def test_a_quantity_that_hangs_on_other_cars_is_told() -> None:
    @quantity("1", source="test")
    def crowded(one: Array) -> Array:
        """Return something that is another for a car in company."""
        return np.where(np.all(one > 0), one, -one)

    with pytest.raises(SquatlineError, match="crowded: machine code and numpy do not agree"):
        on(model(crowded), np.ones(40), np.ones(40))


def test_without_a_compiler_numpy_computes_and_says_so(demo: Study, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(program, "has_compiler", lambda: False)
    outcome = run_montecarlo(demo, samples=500, compiled=True, keep=True)
    plain = run_montecarlo(demo, samples=500, keep=True)
    assert outcome.engine.startswith("numpy, as there is no compiler")
    for name, values in plain.kept.items():
        np.testing.assert_array_equal(outcome.kept[name], values)


def test_a_run_names_its_engine_and_its_parts_are_its_own(demo: Study) -> None:
    outcome = run_montecarlo(demo, samples=500, compiled=True)
    assert outcome.engine == f"machine code, by llvmlite {installed('llvmlite')}"
    assert outcome.conforming == run_montecarlo(demo, samples=500).conforming
    assert make_job(demo).name != make_job(demo, compiled=True).name


def test_it_travels_to_processes_with_the_same_compiler_only(demo: Study) -> None:
    plan = make_job(demo, compiled=True).plan
    drawn = plan.random_chunk(0, 40)
    found = plan.evaluate(drawn)
    there = pickle.loads(pickle.dumps(plan)).evaluate(drawn)
    for key, values in found.items():
        np.testing.assert_array_equal(there[key], values)
    other = pickle.dumps(replace(plan, program=replace(plan.program, compiler="0.1")))  # type: ignore[call-arg]
    with pytest.raises(ClusterError, match="another llvmlite"):
        pickle.loads(other)


def test_machine_code_is_kept_for_later_runs(
    demo: Study, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan = make_job(demo, compiled=True).plan
    drawn = plan.random_chunk(0, 40)
    found = plan.evaluate(drawn)
    kept = {file.name: file.stat().st_mtime_ns for file in folder.iterdir()}
    machine._compiled.cache_clear()
    again = plan.evaluate(drawn)
    assert {file.name: file.stat().st_mtime_ns for file in folder.iterdir()} == kept
    monkeypatch.setenv("XDG_CACHE_HOME", str(folder / next(iter(kept))))
    machine._compiled.cache_clear()
    nowhere = plan.evaluate(drawn)
    for key, values in found.items():
        np.testing.assert_array_equal(again[key], values)
        np.testing.assert_array_equal(nowhere[key], values)


def test_it_is_worth_having(demo: Study) -> None:
    """Six to seven times as fast on the demo; a third of that must be left on any machine."""
    plan, compiled = (make_job(demo, compiled=compiled).plan for compiled in (False, True))
    drawn = plan.random_chunk(0, CHUNK)
    ratios = []
    compiled.evaluate(drawn)
    for _ in range(5):
        start = time.process_time()
        plan.evaluate(drawn)
        middle = time.process_time()
        compiled.evaluate(drawn)
        ratios.append((middle - start) / (time.process_time() - middle))
    assert median(ratios) > 2
