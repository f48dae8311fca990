"""Studies that are far too large, or say things of the wrong kind: refused at once, with what is allowed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from study_help import DEMO, Answer

from explorer.analyses.measurements import measurement_from
from explorer.errors import StudyError
from explorer.study.study import load_study

Cli = Callable[..., Answer]
Writer = Callable[..., Path]

TOO_MANY = {
    "conditions": ("".join(f'[conditions.c{i}]\nspeed = "{i} m/s"\n' for i in range(3000)), "up to 1000"),
    "a hundred conditions": (
        "".join(f'[conditions.c{i}]\nspeed = "{i} m/s"\n' for i in range(100)),
        "up to 50",
    ),
    "members": (f"[families]\npoint = {[f'p{i}' for i in range(500)]}", "up to 40"),
    "limits": (
        "".join(
            f'[[limits]]\nname = "{i}"\nquantity = "mass"\ncondition = "rest"\nat_least = "1 kg"\n'
            for i in range(1000)
        ),
        "up to 200",
    ),
    "quantities": (f"[[outputs]]\nquantities = {['mass'] * 5000}\nconditions = ['rest']", "up to 200"),
    "steps of a design": ('[design.mass]\nlow = "1 kg"\nhigh = "9 kg"\nstep = "1e-9 kg"', "design.mass.step"),
}


@pytest.mark.parametrize("many", TOO_MANY)
def test_too_many_of_anything_is_told_with_how_many_may_be(
    many: str, small_study: Writer, squatline: Cli
) -> None:
    text, allowed = TOO_MANY[many]
    folder = small_study()
    with (folder / "study.toml").open("a") as file:
        file.write(text)
    answer = squatline("check", folder)
    assert answer.status == 2
    assert allowed in answer.err
    assert "remedy:" in answer.err


OF_THE_WRONG_KIND = {
    "a bound that is a list": (
        'at_least = "23 N"',
        "at_least = [23]",
        ["limits[1].at_least", "[23]", "a unit"],
    ),
    "a bound that is true": ('at_least = "23 N"', "at_least = true", ["limits[1].at_least", "a unit"]),
    "a name": ("[conditions.rest]", '[conditions."at rest"]', ["conditions.at rest", "small letters"]),
    "a weight without end": ("probability = 0.5", "weight = inf", ["limits[1].weight", "finite"]),
    "a table of inputs": ("[inputs]", "[[inputs]]", ["inputs"]),
    "an input that is a date": ('"360 mm"', "1979-05-27", ["inputs.wheelbase", "a number"]),
    "a very large number": ('"360 mm"', "1" + "0" * 400, ["inputs.wheelbase", "whole number"]),
}


@pytest.mark.parametrize("wrong", OF_THE_WRONG_KIND)
def test_values_of_the_wrong_kind_are_named(wrong: str, small_study: Writer, squatline: Cli) -> None:
    old, new, said = OF_THE_WRONG_KIND[wrong]
    folder = small_study()
    file = folder / "study.toml"
    assert old in file.read_text()
    file.write_text(file.read_text().replace(old, new, 1))
    answer = squatline("check", folder)
    assert answer.status == 2
    for words in said:
        assert words in answer.err


@pytest.mark.parametrize(
    ("table", "key"),
    [
        ({"take": ["axle_scales"]}, "m.take"),
        ({"take": 5}, "m.take"),
        ({"reads": 5, "hours": 1}, "m.reads"),
        ({"reads": [["mass"]], "hours": 1}, "m.reads"),
        ({"reads": {"mass": 5}, "hours": 1}, "m.reads.mass"),
        ({"reads": {"mass": ["noise"]}, "hours": 1}, "m.reads.mass"),
        ({"reads": ["mass"], "hours": 1, "accuracy": 0.5}, "m.accuracy"),
        ({"reads": ["mass"], "hours": 1, "accuracy": "noise"}, "m.accuracy"),
        ({"reads": ["mass"], "hours": 1, "accuracy": {"noise": [1]}}, "m.reads.mass.noise"),
        ({"reads": ["mass"], "hours": float("nan"), "accuracy": {"noise": "1 g"}}, "m.hours"),
        ({"reads": ["mass"], "hours": float("inf"), "accuracy": {"noise": "1 g"}}, "m.hours"),
        ({"reads": ["mass"], "hours": 1, "cost": float("nan"), "accuracy": {"noise": "1 g"}}, "m.cost"),
    ],
)
def test_a_measurement_of_the_wrong_kind_is_named(table: dict, key: str) -> None:
    with pytest.raises(StudyError) as caught:
        measurement_from("m", table, lambda name: "kg")
    assert caught.value.key == key
    assert caught.value.allowed


def test_what_is_asked_for_is_walked_once_a_condition(monkeypatch: pytest.MonkeyPatch) -> None:
    from explorer.graph.graph import Graph

    walks = []
    walk = Graph.missing
    monkeypatch.setattr(Graph, "missing", lambda *a: walks.append(a) or walk(*a))
    study = load_study(DEMO)
    assert len(walks) == len(study.conditions) + len({c for one in study.sweeps for c in one.conditions})
