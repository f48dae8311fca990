"""What stands in ``tests/outside`` is checked against sources outside the project, and says which."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from study_help import ROOT

from explorer.console.explain import FAMILIES
from explorer.graph.graph import Graph
from explorer.graph.quantity import Quantity
from explorer.model import SUBJECTS, modules
from tests.checking import checks
from tests.model_help import evaluate

OUTSIDE = sorted((ROOT / "tests" / "outside").glob("test_*.py"))
#: Where in a source: a clause, table, page, chapter, section, figure or equation, or the abstract.
PLACE = re.compile(
    r"\b(?:(?:clause|tables?|page|p\.|pp\.|ch\.|section|figure|fig\.|eq\.) \w|abstract\b|section on \w)"
    r"|:\d{4}, [A-Z]?\.?\d"
)
SOURCE = re.compile(r"\bSource: (.+)", re.DOTALL)
LIBRARY = re.compile(r"\bIndependent (?:solver|library): (?:\w+'s )?([\w.]+)")
WORDS = re.compile(r"\b(?:common practice, no source|values? from memory)\b", re.IGNORECASE)

#: What is judged of the car as it is driven -> the tests that hold it against an independent solver.
AS_DRIVEN = {
    "front load and lift-off at full throttle": (
        "full_throttle_loads.test_the_coupled_balance_is_the_one_scipy_finds",
        "full_throttle_loads.test_the_front_lifts_at_the_speed_scipy_finds",
        "full_throttle_loads.test_the_least_load_is_that_of_a_dense_row_of_speeds",
        "full_throttle_loads.test_coasting_is_the_balance_that_scipy_finds",
    ),
    "acceleration that ends where the front lifts": (
        "full_throttle_loads.test_with_air_a_car_gains_as_much_as_lifts_its_front",
    ),
    "speed on a strip with an end": ("strip.test_against_scipy", "strip.test_cars_whose_loads_bend"),
    "points that carry load on the road": (
        "contact.test_every_car_balances_on_its_points",
        "contact.test_every_car_on_a_map_balances_on_its_points",
        "tyre_growth.test_a_point_touches_the_road_later_by_what_the_tyres_gain",
    ),
    "stopping with the brakes the car has, and without any": (
        "brakes.test_stopping_against_scipy",
        "brakes.test_run_out_and_fence_against_scipy",
    ),
    "braking that ends where the rear lifts": ("brakes.test_the_rear_lifts_where_a_root_finder_says",),
    "passing by a gap in time, out of a wake": (
        "straight.test_passing_against_scipy",
        "straight.test_the_wake_is_lost_on_pulling_out",
    ),
    "a servo that its supply slows": ("flap_drive.test_a_weak_supply_slows_the_way_shut",),
    "a balance near the ground wherever there is one": (
        "near_ground.test_every_car_is_answered",
        "near_ground.test_every_car_has_a_top_speed",
        "near_ground.test_every_car_on_a_map_is_answered",
    ),
    "of several balances the one the car comes to": (
        "near_ground.test_of_several_the_car_takes_the_one_it_comes_to",
        "near_ground.test_a_braking_car_on_its_stops_takes_the_balance_it_comes_to",
        "near_ground.test_several_balances_are_counted",
        "near_ground.test_balances_on_several_supports_are_counted",
        "near_ground.test_of_two_balances_about_the_gap_at_which_a_stop_is_met_it_comes_to_the_first",
    ),
    "wheels without mass, where that will do": ("wheel_hop.test_where_wheels_without_mass_are_good_enough",),
    "a car past lift-off with no bump": ("heave_pitch.test_against_scipy_on_equations_written_anew",),
}


@cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def outside_tests(path: Path) -> Iterator[ast.FunctionDef]:
    yield from (
        node
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    )


def from_libraries(path: Path) -> set[str]:
    """Return names that a file and its helpers use of other packages, and every attribute they ask for."""
    found = set()
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.Attribute):
            found.add(node.attr)
        elif isinstance(node, ast.ImportFrom) and node.module:
            package, *inside = node.module.split(".")
            if package == "tests":
                found |= from_libraries(ROOT.joinpath(package, *inside).with_suffix(".py"))
            if package not in ("explorer", "reports", "tests", "__future__"):
                found |= {package, *(alias.name for alias in node.names)}
        elif isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
    return found


def sources(text: str, used: set[str]) -> list[str]:
    """Return what a docstring names in one of the forms; a library counts where the file uses it."""
    named = [match.group() for match in WORDS.finditer(text)]
    named += [match.group(1) for match in SOURCE.finditer(text) if PLACE.search(match.group(1))]
    named += [
        name
        for match in LIBRARY.finditer(text)
        if set((name := match.group(1).rstrip(".")).split(".")) <= used
    ]
    return named


@pytest.mark.parametrize("path", OUTSIDE, ids=lambda p: p.stem)
def test_every_outside_test_says_its_source(path: Path) -> None:
    """In its docstring: a source with its place, a library it uses, from memory, or common practice."""
    used = from_libraries(path)
    silent = [test.name for test in outside_tests(path) if not sources(ast.get_docstring(test) or "", used)]
    assert silent == []


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("Source: JCGM 101:2008, 9.2.2: u = 2.0.", True),
        ("Source: Gillespie, Fundamentals of Vehicle Dynamics, ch. 2.", True),
        ("Source: Gillespie, Fundamentals of Vehicle Dynamics.", False),
        ("Closed form: v = a t.", False),
        ("Independent solver: brentq on the balance.", True),
        ("Independent solver: bisect on the balance.", False),
        ("Independent library: scipy's brentq.", True),
        ("Value from memory: v = a t.", True),
        ("Common practice, no source: it does.", True),
    ],
)
def test_the_forms_of_a_source(text: str, named: bool) -> None:
    assert bool(sources(text, {"scipy", "brentq"})) == named


@pytest.mark.parametrize("path", OUTSIDE, ids=lambda p: p.stem)
def test_outside_tests_do_not_hold_the_program_against_itself(path: Path) -> None:
    """No demo is read, no test left out, and none calls itself an identity or a definition."""
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"\bDEMO\b|\bstudies\b", text)
    assert not re.search(r"\b(?:skip|skipif|importorskip|xfail)\b", text)
    openings = {re.split(r"\W", ast.get_docstring(test) or "")[0] for test in outside_tests(path)}
    assert not {"Identity", "Definition", "Two"} & openings


def compared(path: Path) -> set[str]:
    """Return the quantities that the tests of a file declare, as plain text in ``@checks(...)``."""
    return {
        name.value
        for test in outside_tests(path)
        for call in test.decorator_list
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "checks"
        for name in call.args
        if isinstance(name, ast.Constant) and isinstance(name.value, str)
    }


@cache
def graphs() -> list[Graph]:
    """Return a graph of every model."""
    chosen = ({subject: variant} for subject, variants in SUBJECTS.items() for variant in variants)
    return [Graph.build(modules(each), FAMILIES) for each in chosen]


def computed() -> dict[str, Quantity]:
    """Return every computed quantity of every model, by file and name where files share a name."""
    found: dict[str, dict[str, Quantity]] = {}
    for graph in graphs():
        for entry in graph.quantities.values():
            if not entry.is_given:
                found.setdefault(entry.name, {})[entry.subject] = entry
    return {
        name if len(by_file) == 1 else f"{file}.{name}": entry
        for name, by_file in found.items()
        for file, entry in by_file.items()
    }


def test_every_quantity_is_compared_with_something_outside() -> None:
    """But for definitions (``tests.test_definitions``) and records, whose parts are compared one by one.

    What a name here is worth, ``tests.checking`` proves when the test runs.
    """
    checked = set().union(*(compared(path) for path in OUTSIDE))
    quantities = computed()
    missing = {
        name
        for name, entry in quantities.items()
        if entry.source != "definition" and not entry.parts and name not in checked
    }
    assert sorted(missing) == []
    assert sorted(checked - set(quantities)) == []


@pytest.mark.parametrize("state", AS_DRIVEN)
def test_the_car_as_it_is_driven_is_held_against_an_independent_solver(state: str) -> None:
    found = {f"{path.stem[5:]}.{test.name}": test for path in OUTSIDE for test in outside_tests(path)}
    for name in AS_DRIVEN[state]:
        assert LIBRARY.match(ast.get_docstring(found[name]) or ""), name


def test_a_name_alone_proves_nothing() -> None:
    @checks("weight")
    def looks_away() -> None:
        evaluate(["weight"], {"mass": 5.0})

    @checks("weight")
    def looks() -> None:
        assert evaluate(["weight"], {"mass": 5.0})["weight"] == pytest.approx(5 * 9.80665)

    looks()
    with pytest.raises(pytest.fail.Exception, match="weight one percent off"):
        looks_away()
