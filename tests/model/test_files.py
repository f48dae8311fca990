"""The model files as a whole: choices, names, shapes, units."""

from __future__ import annotations

import ast
from pathlib import Path

import numpy as np
import pytest

import explorer.model
from explorer.errors import StudyError
from explorer.graph.graph import Graph
from explorer.model import SUBJECTS, modules
from tests.model_help import SPRINT_CAR, evaluate, scattered_cars

CORE = ("pitch", "front_axle_load", "rear_axle_load", "aero_balance_front", "drag_force", "traction_limit")


def test_every_variant_of_every_subject_makes_a_graph() -> None:
    families = {"point": ("edge",), "element": ("lower_flap", "upper_flap")}
    for subject, variants in SUBJECTS.items():
        for variant in variants:
            assert "top_speed" in Graph.build(modules({subject: variant}), families)


@pytest.mark.parametrize(
    ("choices", "word"),
    [({"driv": "power"}, "drive"), ({"drive": "electrik"}, "electric"), ({"air": "x"}, "moist")],
)
def test_an_unknown_choice_names_what_is_allowed(choices: dict[str, str], word: str) -> None:
    with pytest.raises(StudyError, match=word):
        modules(choices)


def test_model_files_know_quantities_and_each_other_only() -> None:
    """The arrow from the physics to the rest of the project stays away."""
    for file in Path(explorer.model.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text())):
            if (
                file.name != "__init__.py"
                and isinstance(node, ast.ImportFrom)
                and str(node.module).startswith("explorer")
            ):
                assert str(node.module) in {
                    "explorer.graph.arrays",
                    "explorer.graph.quantity",
                    "explorer.graph.tables",
                } or str(node.module).startswith("explorer.model."), f"{file.name} imports {node.module}"


def test_numbers_samples_and_speeds_by_samples_agree() -> None:
    """A plain number, a row of samples and a column of speeds must be the same physics."""
    cars = scattered_cars(7)
    speeds = np.array([20.0, 40.0, 50.0])
    grid = evaluate(CORE, {**cars, "speed": speeds[:, None]})
    row = evaluate(CORE, {**cars, "speed": 40.0})
    one = evaluate(CORE, {**{k: np.broadcast_to(v, (7,))[3].item() for k, v in cars.items()}, "speed": 40.0})
    for name in CORE:
        assert np.shape(grid[name]) == (3, 7)
        np.testing.assert_array_equal(grid[name][1], row[name])
        assert row[name][3] == one[name]


def test_searches_do_not_depend_on_neighbours() -> None:
    """The same car alone and among others, to the last bit."""
    cars = {**scattered_cars(50), "front_droop_travel": 0.004, "rear_bump_travel": 0.012}
    names = ["top_speed", "front_lift_off_speed"]
    together = evaluate(names, cars)
    for index in (0, 17, 49):
        alone = evaluate(names, {k: np.broadcast_to(v, (50,))[index].item() for k, v in cars.items()})
        for name in names:
            assert alone[name] == together[name][index]


def test_a_given_wheel_rate_stops_the_graph_and_a_spring_makes_one() -> None:
    spring = {
        **{k: v for k, v in SPRINT_CAR.items() if k != "rear_wheel_rate"},
        "rear_spring_rate": 4000.0,
        "rear_motion_ratio": 0.9,
        "rear_tyre_stiffness": 20000.0,
    }
    assert evaluate(["rear_wheel_rate"], spring)["rear_wheel_rate"] == pytest.approx(
        1 / (1 / 3240 + 1 / 20000)
    )
    assert evaluate(["rear_wheel_rate"], {**spring, "rear_wheel_rate": 1.0})["rear_wheel_rate"] == 1.0
