"""How the car is driven in a condition: what follows from it, what it refuses, and where it is said."""

from __future__ import annotations

from pathlib import Path

import pytest

from explorer.analyses.nominal import nominal_values
from explorer.design.variables import read_variables
from explorer.errors import MissingInputError, SquatlineError
from explorer.study.builds import read_builds
from explorer.study.study import Study, load_study
from explorer.study.template import CarHas, template
from explorer.study.throttle import throttle_words
from tests.study_help import SMALL

OUTPUTS = """
[[outputs]]
quantities = ["front_axle_load", "longitudinal_acceleration", "pitch"]
conditions = [{conditions}]
"""


def of(folder: Path, conditions: str, extra: str = "", inputs: str = "") -> Study:
    """Read a new study with further conditions like its closed one."""
    text = template(CarHas()).replace("[inputs]\n", f"[inputs]\n{inputs}", 1)
    (folder / "study.toml").write_text(text + conditions + extra, encoding="utf-8")
    return load_study(folder)


def like(name: str, *lines: str, other: str = "closed") -> str:
    return "\n".join(("", f"[conditions.{name}]", f'like = "{other}"', *lines, ""))


def throttle(word: str) -> str:
    return f'throttle = "{word}"'


def test_loads_follow_from_how_the_car_is_driven(tmp_path: Path) -> None:
    names = ("held", "full", "coasting")
    text = like("held", throttle("holding")) + "".join(like(name, throttle(name)) for name in names[1:])
    extra = OUTPUTS.format(conditions='"closed", "held", "full", "coasting"')
    study = of(tmp_path, text, extra)
    found = nominal_values(study)
    assert found["closed"] == found["held"]
    assert found["closed"]["longitudinal_acceleration"] == 0
    loads = [found[name]["front_axle_load"] or 0.0 for name in ("full", "held", "coasting")]
    assert loads == sorted(loads)
    gained = found["full"]["longitudinal_acceleration"] or 0.0
    assert gained == found["closed"]["pushed_acceleration"] > 0
    car = found["coasting"]
    lost = -(car["resistance_force"] or 0.0) / (car["mass"] or 0.0) / (car["rotating_mass_factor"] or 0.0)
    assert car["longitudinal_acceleration"] == pytest.approx(lost, rel=1e-9)
    # What a car gains and how fast it gets is no matter of how its condition is driven.
    assert found["full"]["top_speed"] == found["closed"]["top_speed"]
    assert found["full"]["acceleration"] == found["closed"]["acceleration"]


def test_a_condition_takes_its_throttle_from_the_one_it_is_like(tmp_path: Path) -> None:
    text = like("full", throttle("full")) + like("faster", 'speed = "50 m/s"', other="full")
    text += like("braking", 'longitudinal_acceleration = "-8 m/s2"', other="full")
    text += like("held", throttle("holding"), other="braking")
    study = of(tmp_path, text)
    assert [study.conditions[name].throttle for name in ("full", "faster", "braking", "held")] == [
        "full",
        "full",
        "given",
        "holding",
    ]
    found = nominal_values(study)
    assert found["braking"]["longitudinal_acceleration"] == -8
    assert found["held"]["front_axle_load"] == found["closed"]["front_axle_load"]


def test_an_acceleration_given_to_all_conditions_keeps_its_meaning(tmp_path: Path) -> None:
    text = template(CarHas()).replace('throttle = "full"', "")
    text = text.replace("[inputs]\n", '[inputs]\nlongitudinal_acceleration = "-6 m/s2"\n', 1)
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    study = load_study(tmp_path)
    assert {one.throttle for one in study.conditions.values()} == {"given"}
    assert nominal_values(study)["open"]["longitudinal_acceleration"] == -6


@pytest.mark.parametrize(
    ("conditions", "inputs", "key", "words"),
    [
        (
            like("both", throttle("full"), 'longitudinal_acceleration = "3 m/s2"'),
            "",
            "conditions.both.throttle",
            "take out throttle, or longitudinal_acceleration where it stands",
        ),
        ("", 'longitudinal_acceleration = "3 m/s2"\n', "conditions.gaining.throttle", "inputs.longitudinal"),
        (
            like("both", throttle("coasting"), 'driving_force = "9 N"'),
            "",
            "conditions.both.throttle",
            "take out throttle, or driving_force",
        ),
        (
            like("odd", throttle("wide open")),
            "",
            "conditions.odd.throttle",
            "'coasting', 'holding' or 'full'",
        ),
    ],
    ids=["both", "everywhere", "push", "unknown"],
)
def test_throttle_and_what_it_decides_are_not_given_both(
    tmp_path: Path, conditions: str, inputs: str, key: str, words: str
) -> None:
    with pytest.raises(SquatlineError) as caught:
        of(tmp_path, conditions, inputs=inputs)
    assert key in str(caught.value)
    assert words in str(caught.value)


def _read_all(study: Study) -> None:
    read_builds(study)
    read_variables(study)


@pytest.mark.parametrize(
    ("extra", "key"),
    [
        ('[candidates.brisk]\nlongitudinal_acceleration = "3 m/s2"\n', "candidates.brisk."),
        ('[design.longitudinal_acceleration]\nlow = "0 m/s2"\nhigh = "4 m/s2"\n', "design."),
        (
            '[[sweeps]]\nalong = "longitudinal_acceleration"\nfrom = "0 m/s2"\nto = "4 m/s2"\n'
            'quantities = ["pitch"]\nconditions = ["gaining"]\n',
            "sweeps[",
        ),
    ],
    ids=["candidate", "design", "sweep"],
)
def test_what_a_throttle_decides_is_not_tried_otherwise(tmp_path: Path, extra: str, key: str) -> None:
    with pytest.raises(SquatlineError) as caught:
        _read_all(of(tmp_path, "", extra))
    assert key in str(caught.value)
    assert 'throttle = "full" in [conditions.gaining]' in str(caught.value)
    assert "take throttle out of [conditions.gaining]" in str(caught.value)


ASKED = """
[[outputs]]
quantities = ["{quantity}"]
conditions = ["{condition}"]
"""


@pytest.mark.parametrize(
    ("quantity", "condition", "words"),
    [
        ("lowest_front_load", "closed", 'say throttle = "full" for a car that gains speed'),
        ("lowest_front_load_speed", "closed", 'with like = "closed"'),
        ("top_speed", "coasting", "take throttle out of [conditions.coasting]"),
        ("acceleration", "coasting", "ask for it in another condition"),
        ("full_throttle_front_load", "closed", "did you mean 'front_axle_load' in a condition with throttle"),
        ("full_throttle_lift_off_speed", "closed", "did you mean 'front_lift_off_speed' in a condition"),
    ],
)
def test_a_quantity_is_refused_where_the_throttle_leaves_it_no_meaning(
    tmp_path: Path, quantity: str, condition: str, words: str
) -> None:
    conditions = like("coasting", throttle("coasting"))
    with pytest.raises(SquatlineError) as caught:
        of(tmp_path, conditions, ASKED.format(quantity=quantity, condition=condition))
    assert "outputs[2].quantities" in str(caught.value)
    assert words in str(caught.value)


@pytest.mark.parametrize("quantity", ["lowest_front_load", "front_lift_off_speed", "run_out_distance"])
def test_a_coasting_car_has_loads_and_runs_out(tmp_path: Path, quantity: str) -> None:
    conditions = like("coasting", throttle("coasting"))
    study = of(tmp_path, conditions, ASKED.format(quantity=quantity, condition="coasting"))
    assert nominal_values(study)["coasting"][quantity] is not None


def test_a_drive_that_is_not_described_is_missed_at_full_throttle_alone(tmp_path: Path) -> None:
    asked = ASKED.format(quantity="load_transfer", condition="rest")
    held = SMALL.format(inputs='cg_height = "50 mm"', conditions="", limits=asked)
    (tmp_path / "study.toml").write_text(held, encoding="utf-8")
    load_study(tmp_path)
    full = held.replace("[conditions.rest]\n", f"[conditions.rest]\n{throttle('full')}\n")
    (tmp_path / "study.toml").write_text(full, encoding="utf-8")
    with pytest.raises(MissingInputError, match=r"shaft_power .*needed for load_transfer"):
        load_study(tmp_path)


def test_the_words_name_the_throttle_where_it_matters(tmp_path: Path) -> None:
    study = of(tmp_path, "")
    words = {limit.name: throttle_words(study, limit.output) for limit in study.limits}
    assert words == {
        "Fast enough with the flap open": "",
        "Opening the flap pays": "",
        "Front wheels stay down at full throttle": "at full throttle",
        "Rear floor edge stays clear": "at held speed",
    }
