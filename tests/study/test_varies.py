"""What has one true value that could be learnt, and what is another in every run."""

from __future__ import annotations

from pathlib import Path

import pytest
from study_help import SMALL

from explorer.analyses.ways_to_measure import ways_to_measure
from explorer.errors import SquatlineError
from explorer.study.study import Study, load_study

WINDY = """
air_temperature = { mean = 15, sd = 3, unit = "degC" }
headwind = { mean = 0, sd = 2, unit = "m/s" }
lift = "0"
"""
DOWNFORCE = """
[[limits]]
name = "air"
quantity = "dynamic_pressure"
condition = "fast"
at_least = "1 Pa"
[conditions.fast]
speed = "30 m/s"
air_pressure = { mean = 1000, sd = 5, unit = "hPa" }
"""


def study_of(folder: Path, inputs: str = "", more: str = DOWNFORCE) -> Study:
    text = SMALL.format(inputs=WINDY.replace('lift = "0"', inputs), conditions="", limits=more)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return load_study(folder)


def test_air_and_wind_vary_and_the_car_has_one_value(tmp_path: Path) -> None:
    study = study_of(tmp_path)
    varying = {one.key for one in study.all_inputs() if one.varies and not one.exact}
    # A quantity of the air that is given where the models would compute it counts as well.
    assert varying == {"air_temperature", "headwind", "air_pressure@fast"}


def test_study_says_otherwise(tmp_path: Path) -> None:
    inputs = 'cg_height = { mean = 60, sd = 2, unit = "mm", varies = true }'
    study = study_of(tmp_path, inputs)
    assert study.inputs["cg_height"].varies
    text = (tmp_path / "study.toml").read_text(encoding="utf-8")
    still = text.replace('sd = 2, unit = "m/s" }', 'sd = 2, unit = "m/s", varies = false }')
    (tmp_path / "study.toml").write_text(still, encoding="utf-8")
    assert not load_study(tmp_path).inputs["headwind"].varies


def test_only_what_can_be_learnt_is_offered_for_measuring(tmp_path: Path) -> None:
    ways = ways_to_measure(study_of(tmp_path))
    named = {key for one in ways.measurements for key in one.reads} | set(ways.unread)
    assert named
    assert named.isdisjoint({"air_temperature", "headwind", "air_pressure@fast"})


@pytest.mark.parametrize(
    ("inputs", "more", "said"),
    [
        ('cg_height = { value = "6 cm", varies = "often" }', "", "varies"),
        (
            "",
            '[measurements.vane]\nreads = { headwind = { noise = "0.2 m/s" } }\nhours = 1',
            "varies = false",
        ),
    ],
)
def test_mistakes_are_told_with_their_remedy(tmp_path: Path, inputs: str, more: str, said: str) -> None:
    with pytest.raises(SquatlineError, match=said):
        ways_to_measure(study_of(tmp_path, inputs, DOWNFORCE + more))
