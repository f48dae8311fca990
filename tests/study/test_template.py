"""The study that ``squatline new`` writes for what a car has: complete, nothing too much, runs as it is."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from study_help import Answer

from explorer.analyses.nominal import nominal_values
from explorer.design.exploration import prepare
from explorer.study.asked_for import wanted_outputs
from explorer.study.study import load_study
from explorer.study.template import CarHas, write_template
from explorer.study.usual import ASSUMED

Cli = Callable[..., Answer]

CARS = [
    CarHas(),
    CarHas(flaps=1, drive="electric", brakes="fitted", suspension="spring", wake=True),
    CarHas(flaps=2, drive="electric", brakes="balance"),
    CarHas(flaps=3, brakes="fitted", wake=True),
    CarHas(brakes="ideal", suspension="spring"),
    CarHas(flaps=2, drive="electric", brakes="none", suspension="spring", wake=True),
]


@pytest.mark.long
@pytest.mark.parametrize("car", CARS, ids=str)
def test_a_new_study_has_exactly_what_its_car_needs(car: CarHas, tmp_path: Path) -> None:
    file = write_template(tmp_path / "car", car)
    text = file.read_text()
    assert not any(mark in text for mark in ("#if", "#end", "BRAKES", "FLAPS"))
    study = load_study(file)
    prepare(study)
    nominal = nominal_values(study)
    assert not [pair for pair in wanted_outputs(study) if nominal[pair[1]][pair[0]] is None]
    used: set[str] = set()
    for quantity, condition in wanted_outputs(study):
        used |= study.graph.inputs_of(quantity, study.given_names(condition))
    given = {name for name, one in study.inputs.items() if not one.default}
    assert given <= used
    told = {one.source for one in study.inputs.values() if not one.default}
    assert all(source and source.startswith(("made up", "handbook", ASSUMED)) for source in told)
    assert study.inputs["wing_pitch_slope"].source.startswith(ASSUMED)
    assert len(study.graph.families.get("element", ())) == car.flaps


@pytest.mark.long
def test_a_new_study_with_everything_runs(tmp_path: Path, squatline: Cli) -> None:
    folder = tmp_path / "car"
    options = ["--flaps", 1, "--drive", "electric", "--wake", "--brakes", "fitted", "--suspension", "spring"]
    answer = squatline("new", folder, *options)
    assert answer.status == 0
    assert f"squatline check {folder}" in answer.out
    assert "no source given" not in squatline("check", folder).out
    file = folder / "study.toml"
    hurried = "seed = 1\nsensitivity_replicates = 8"
    file.write_text(file.read_text().replace("seed = 1", hurried).replace("s = 128", "s = 64"))
    ran = squatline("run", folder, "--samples", 500, "--no-report")
    assert ran.status == 0
    assert "Every flap falls shut when its rod is gone" in ran.out


@pytest.mark.parametrize(
    ("option", "wrong", "right"),
    [
        ("--flaps", 7, 3),
        ("--drive", "petrol", "electric"),
        ("--brakes", "discs", "fitted"),
        ("--suspension", "leaf", "spring"),
    ],
)
def test_what_a_new_study_cannot_have_is_told_with_what_it_can(
    option: str, wrong: object, right: object, tmp_path: Path, squatline: Cli
) -> None:
    answer = squatline("new", tmp_path / "car", option, wrong)
    assert answer.status == 2
    assert not (tmp_path / "car").exists()
    assert option in answer.err
    allowed = next(line for line in answer.err.splitlines() if "allowed:" in line)
    assert str(right) in allowed
    assert squatline("new", tmp_path / "car", option, right).status == 0
