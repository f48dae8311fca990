"""The first look at a study: what matters to no limit is found, named, and bounded all together."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from study_help import DEMO, Answer

from explorer.analyses.screening import screen
from explorer.analyses.sensitivity import run_sensitivity
from explorer.errors import StudyError
from explorer.study.study import load_study

Writer = Callable[..., Path]
Cli = Callable[..., Answer]

# Front load is m g (1 - x / L): shares of m, x, g and L by their relative spreads, 400 : 870 : 0.01 : 0.1.
TINY = """
gravity = { mean = 9.81, sd = 0.001, unit = "m/s^2", source = "test" }
cg_height = { mean = 50, sd = 5, unit = "mm", source = "test" }
"""


def test_an_input_of_no_weight_is_found_and_one_that_is_not_upstream_is_not_looked_at(
    small_study: Writer,
) -> None:
    look = screen(load_study(small_study(TINY)))
    assert {one.name for one in look.inputs} == {"mass", "cg_station", "gravity"}
    assert [one.name for one in look.idle] == ["gravity"]
    assert 0 < look.rest_at_most < 1e-4
    leading = look.inputs[0]
    assert (leading.name, leading.limit, leading.matters_to) == ("cg_station", "front load", ("front load",))


def test_correlated_inputs_stay_together(small_study: Writer) -> None:
    pair = '[[correlations]]\nbetween = ["mass", "cg_station"]\nvalue = -0.7\n'
    look = screen(load_study(small_study(TINY + pair)))
    assert {one.members for one in look.inputs} == {("mass", "cg_station"), ("gravity",)}


@pytest.mark.long
def test_what_is_set_aside_is_small_by_the_full_design_too() -> None:
    study = replace(load_study(DEMO), sensitivity_samples=64)
    look = screen(study)
    idle = {one.name for one in look.idle}
    assert 3 <= len(idle) <= 12
    for found in run_sensitivity(study).values():
        for index in found.indices:
            if index.name in idle:
                assert index.total.low < look.negligible
            elif index.total.low > 5 * look.negligible:
                assert found.output in next(one for one in look.inputs if one.name == index.name).matters_to


def test_the_command_names_them_and_says_what_they_do_together(squatline: Cli, small_study: Writer) -> None:
    folder = small_study(TINY)
    answer = squatline("screen", folder)
    assert answer.status == 0
    assert "1 of 3 inputs matter to no limit" in answer.out
    data = json.loads(squatline("screen", folder, "--rows", 64, "--json").out)
    assert [one["name"] for one in data["inputs"] if not one["matters_to"]] == ["gravity"]
    assert data["rows"] == 64
    plain = squatline("screen", small_study())
    assert "None of the 2 inputs can be left alone" in plain.out


def test_what_cannot_be_looked_at_is_said(squatline: Cli, small_study: Writer) -> None:
    folder = small_study()
    answer = squatline("screen", folder, "--rows", 100)
    assert answer.status == 2
    assert "power of two" in answer.err
    text = (folder / "study.toml").read_text()
    for old, new in (("mean = 5.0, sd = 0.1", "value = 5.0"), ("mean = 190, sd = 5", "value = 190")):
        text = text.replace(old, new)
    (folder / "study.toml").write_text(text)
    with pytest.raises(StudyError, match="nothing to look at"):
        screen(load_study(folder))
