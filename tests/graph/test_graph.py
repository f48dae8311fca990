"""The graph: order, families, what is upstream, and clear words for what cannot be."""

from __future__ import annotations

from types import ModuleType
from typing import Annotated, NamedTuple

import numpy as np
import pytest

from explorer.errors import (
    CycleError,
    DoublyDefinedError,
    GraphError,
    MissingInputError,
    UnknownQuantityError,
)
from explorer.graph.arrays import Array
from explorer.graph.graph import Graph
from explorer.graph.program import Closure, compile_program
from explorer.graph.quantity import Part, given, quantity


def module(**members: object) -> ModuleType:
    """Make a model file of some declarations; functions must say that they live in it."""
    made = ModuleType("made")
    for name, member in members.items():
        if callable(member):
            member.__module__ = "made"
        setattr(made, name, member)
    return made


@quantity("N", source="definition")
def force(mass, acceleration):
    """Force on the car."""
    return mass * acceleration


@quantity("m/s^2", source="definition")
def acceleration(power, speed, mass):
    """Acceleration at constant power."""
    return power / speed / mass


@quantity("m/s", source="definition", varying={"force": "speed"})
def speed_of_ten_newton(force):
    """Speed at which the force has fallen to ten newtons."""
    low, high = 0.1, 1000.0
    for _ in range(60):
        middle = (low + high) / 2
        above = force(middle) > 10.0
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return low


class Loads(NamedTuple):
    """Two loads from one balance, and something nobody asks for."""

    front_load: Annotated[Array, Part("N", "Load on the front.")]
    rear_load: Annotated[Array, Part("N", "Load on the rear.\n\nNever negative.", fails="no rear")]
    rounds: int


def both_loads(front_share: Array, weight: Array) -> Loads:
    """Both loads, together."""
    return Loads(front_share * weight, (1 - front_share) * weight, 1)


@quantity("N", source="definition")
def element_load(element_area, pressure):
    """Load on one element."""
    return element_area * pressure


@quantity("N", source="definition")
def total_load(element_load):
    """Load on all elements."""
    return element_load.sum(axis=0)


CAR = module(
    mass=given("kg", "Mass.", above=0),
    power=given("W", "Power."),
    speed=given("m/s", "Speed."),
    force=force,
    acceleration=acceleration,
    speed_of_ten_newton=speed_of_ten_newton,
)
WING = module(
    pressure=given("Pa", "Pressure.", default=2.0),
    element_area=given("m^2", "Area."),
    element_load=element_load,
    total_load=total_load,
)


def evaluate(graph: Graph, target: str, values: dict[str, object]) -> object:
    program = compile_program(graph, [(target, "c")], {"c": {name: name for name in values}})
    return program.run({token: values[token] for token in program.leaves})["c" and (target, "c")]


def test_evaluates_in_order_of_need() -> None:
    assert evaluate(Graph.build([CAR]), "force", {"mass": 2.0, "power": 60.0, "speed": 3.0}) == 20.0


def test_a_given_quantity_stops_the_graph() -> None:
    graph = Graph.build([CAR])
    assert evaluate(graph, "force", {"mass": 2.0, "acceleration": 7.0}) == 14.0
    assert graph.inputs_of("force", {"mass", "acceleration"}) == {"mass", "acceleration"}


def test_a_varied_quantity_is_not_upstream() -> None:
    graph = Graph.build([CAR])
    assert graph.inputs_of("speed_of_ten_newton", {"mass", "power", "speed"}) == {"mass", "power"}
    found = evaluate(graph, "speed_of_ten_newton", {"mass": np.array([1.0, 5.0]), "power": 600.0})
    np.testing.assert_allclose(found, [60.0, 60.0])


def test_families_are_repeated_and_stacked() -> None:
    graph = Graph.build([WING], {"element": ("lower", "upper")})
    values = {"lower_area": np.array([1.0, 2.0]), "upper_area": 3.0, "pressure": 2.0}
    assert "upper_load" in graph
    np.testing.assert_allclose(evaluate(graph, "total_load", values), [8.0, 10.0])


def test_a_family_without_members_leaves_out_what_gathers_it() -> None:
    graph = Graph.build([WING])
    assert "total_load" not in graph
    assert "pressure" in graph


def test_unknown_quantity_names_the_nearest() -> None:
    with pytest.raises(UnknownQuantityError) as caught:
        Graph.build([CAR])["acelleration"]
    assert "did you mean 'acceleration'?" in str(caught.value)


def test_need_that_nobody_defines() -> None:
    @quantity("1", source="definition")
    def orphan(nobody):
        """Need something unknown."""
        return nobody

    with pytest.raises(GraphError, match="orphan: needs 'nobody'"):
        Graph.build([module(orphan=orphan)])


def test_cycle_is_spelled_out() -> None:
    @quantity("1", source="definition")
    def hen(egg):
        """Need the egg."""
        return egg

    @quantity("1", source="definition")
    def egg(hen):
        """Need the hen."""
        return hen

    with pytest.raises(CycleError) as caught:
        Graph.build([module(hen=hen, egg=egg)])
    assert "egg -> hen -> egg" in str(caught.value) or "hen -> egg -> hen" in str(caught.value)


def test_what_needs_itself_at_another_value_only_is_no_cycle() -> None:
    @quantity("m/s2", source="definition", varying={"load": "gain"})
    def gain(load):
        """Gain that its own load allows, by the load at a gain tried."""
        return load(0.0) / 2

    @quantity("N", source="definition")
    def load(gain, mass):
        """Load at a gain."""
        return gain + mass

    graph = Graph.build([module(gain=gain, load=load, mass=given("kg", "Mass."))])
    assert graph.upstream(["load"], {"mass"}) == {"mass", "gain", "load"}
    program = compile_program(graph, [("load", "run")], {"run": {"mass": "mass"}})
    assert program.run({"mass": 3.0})["load", "run"] == 4.5
    assert graph.inputs_of("load", {"mass"}) == {"mass"}


def test_doubly_defined() -> None:
    with pytest.raises(DoublyDefinedError, match="two functions compute the same quantity"):
        Graph.build([CAR, module(force=force)])


def test_missing_inputs_are_listed_with_unit_and_need() -> None:
    with pytest.raises(MissingInputError) as caught:
        Graph.build([CAR]).require(["force"], {"mass"})
    assert "power [W], needed for force" in str(caught.value)
    assert "speed [m/s]" in str(caught.value)


@pytest.mark.parametrize("bad", ["default", "star", "undocumented"])
def test_declaration_faults(bad: str) -> None:
    def default(a, b=1):
        """Have a default."""

    def star(*a):
        """Have a star."""

    def undocumented(a):
        return a

    with pytest.raises(GraphError):
        quantity("1", source="definition")(
            {"default": default, "star": star, "undocumented": undocumented}[bad]
        )


def test_what_conditions_share_is_computed_once() -> None:
    calls = []

    @quantity("1", source="definition")
    def shared(a):
        """Depend on what no condition changes."""
        calls.append("shared")
        return a

    @quantity("1", source="definition")
    def own(shared, b):
        """Depend on what a condition changes."""
        calls.append("own")
        return shared * b

    made = module(a=given("1", "A."), b=given("1", "B."), shared=shared, own=own)
    program = compile_program(
        Graph.build([made]),
        [("own", "x"), ("own", "y"), ("own", "z")],
        {"x": {"a": "a", "b": "b"}, "y": {"a": "a", "b": "b@y"}, "z": {"a": "a", "b": "b@y"}},
    )
    found = program.run({"a": 2.0, "b": 3.0, "b@y": 5.0})
    assert found == {("own", "x"): 6.0, ("own", "y"): 10.0, ("own", "z"): 10.0}
    assert calls.count("shared") == 1
    assert calls.count("own") == 2


def test_only_what_depends_on_the_varied_quantity_is_repeated() -> None:
    program = compile_program(
        Graph.build([CAR]),
        [("speed_of_ten_newton", "c")],
        {"c": {"mass": "mass", "power": "power"}},
    )
    closure = program.steps[-1].arguments[0]
    assert isinstance(closure, Closure)
    assert [step.name for step in closure.steps] == ["acceleration", "force"]


def _graph_of_loads(calls: list[None]) -> Graph:
    def counted(front_share: Array, weight: Array) -> Loads:
        """Both loads, together."""
        calls.append(None)
        return both_loads(front_share, weight)

    counted.__name__ = "both_loads"
    declared = quantity("1", source="statics", fails="no balance")(counted)

    @quantity("1", source="definition")
    def ratio(front_load, rear_load, both_loads):
        """Front over rear."""
        assert both_loads.rounds == 1
        return front_load / rear_load

    inputs = {"front_share": given("1", "Share on the front axle."), "weight": given("N", "Weight.")}
    return Graph.build([module(both_loads=declared, ratio=ratio, **inputs)])


def test_fields_of_a_named_tuple_are_quantities_solved_once() -> None:
    calls: list[None] = []
    graph = _graph_of_loads(calls)
    wanted = [(name, "only") for name in ("front_load", "rear_load", "ratio")]
    program = compile_program(graph, wanted, {"only": {"front_share": "front_share", "weight": "weight"}})
    found = program.run({"front_share": np.array([0.25, 0.5]), "weight": 40.0})
    np.testing.assert_array_equal(found["front_load", "only"], [10.0, 20.0])
    np.testing.assert_array_equal(found["rear_load", "only"], [30.0, 20.0])
    np.testing.assert_array_equal(found["ratio", "only"], [1 / 3, 1.0])
    assert len(calls) == 1


def test_fields_have_entries_of_their_own() -> None:
    graph = _graph_of_loads([])
    front, rear, both = graph["front_load"], graph["rear_load"], graph["both_loads"]
    assert (front.unit, front.summary, front.source) == ("N", "Load on the front.", "statics")
    assert (front.fails, rear.fails) == ("no balance", "no rear")
    assert rear.description == "Never negative."
    assert [part.name for part in both.parts] == ["front_load", "rear_load"]
    assert both.record
    assert not front.record
    assert "rounds" not in graph
    assert graph.inputs_of("rear_load", ()) == {"front_share", "weight"}


def test_blame_goes_to_the_first_quantity_without_an_answer() -> None:
    @quantity("1", source="definition", fails="negative")
    def root(a):
        """Take a square root."""
        return np.sqrt(a)

    @quantity("1", source="definition")
    def twice(root):
        """Double it."""
        return 2 * root

    graph = Graph.build([module(a=given("1", "A."), root=root, twice=twice)])
    program = compile_program(graph, [("twice", "c")], {"c": {"a": "a"}})
    values = program.trace({"a": np.array([1.0, -1.0, np.nan])})
    first_failed = program.first_failures(program.outputs["twice", "c"], values, 3)
    assert {name: where.tolist() for name, where in first_failed.items()} == {
        "a": [False, False, True],
        "root": [False, True, False],
    }
