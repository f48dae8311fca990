"""Numbers at odds with one another are told with the likely slip, which is then right."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import pytest
from study_help import AIRFIELD, CHASE, DEMO

from explorer.analyses.odd_combinations import odd_inputs
from explorer.graph.words import in_unit
from explorer.study.study import Study, load_study
from explorer.study.template import CarHas, template

FLAPS = template(CarHas(flaps=2))
SPEED = re.compile(r'(?m)^speed = "\d+ m/s"$')


def cautions(study: Study) -> list[str]:
    return [in_unit(one) for one in odd_inputs(study)]


def _odd(folder: Path, **changed: str) -> list[str]:
    text = FLAPS
    for name, entry in changed.items():
        text, count = re.subn(rf"(?m)^{name} = .*$", f"{name} = {entry}", text)
        assert count == 1, name
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return cautions(load_study(folder))


@pytest.mark.parametrize(
    ("words", "speed", "odd"),
    [
        ("flap closed, 45 m/s", "45 m/s", False),
        ("flap closed, 162 km/h", "45 m/s", False),
        ("flap closed, 45 m/s", "20 m/s", True),
        ("flap closed", "20 m/s", False),
        ("closed, wind of 3 m/s against it", "20 m/s", False),
    ],
)
def test_words_that_say_another_speed_than_the_condition(
    tmp_path: Path, words: str, speed: str, odd: bool
) -> None:
    """The speed was changed, and the words that head its figures stayed."""
    there = f'[conditions.there]\nlike = "closed"\nwords = "{words}"\nspeed = "{speed}"\nheadwind = "3 m/s"\n'
    text = f"{FLAPS}\n{there}"
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    found = [one for one in cautions(load_study(tmp_path)) if "the words of" in one]
    assert (
        found
        == [
            "the words of conditions.there say 45 m/s, and its speed is 20 m/s, which its figures are of: "
            "correct the words, or the speed"
        ]
        * odd
    )


SLIPS = {
    "splitter behind": (
        {"splitter_station": '"50 mm"'},
        "did you mean -50 mm?",
        {"splitter_station": '"-50 mm"'},
    ),
    "from the rear axle": ({"wing_station": '"60 mm"'}, "did you mean 420 mm?", {"wing_station": '"420 mm"'}),
    "outside the car": (
        {"rear_floor_edge_station": '"840 mm"'},
        "did you mean 84 mm?",
        {"rear_floor_edge_station": '"84 mm"'},
    ),
    "no car stands so": (
        {"cg_station": '"380 mm"'},
        "outside the wheelbase of 360 mm",
        {"cg_station": '"190 mm"'},
    ),
    "open for closed": (
        {"wing_drag_coefficient_open": "0.2", "wing_drag_coefficient_closed": "0.16"},
        "are the two interchanged?",
        {"wing_drag_coefficient_open": "0.16", "wing_drag_coefficient_closed": "0.2"},
    ),
    "newtons a metre": (
        {"rear_wheel_rate": '"3.6 N/m"'},
        "did you mean 3.6 N/mm?",
        {"rear_wheel_rate": '"3.6 N/mm"'},
    ),
    "too light": ({"mass": '"2.1 kg"'}, "made for cars of 3 kg to 15 kg", {"mass": '"3.1 kg"'}),
    "decimal commas": (
        {"mass": '{ readings = [9,4, 9,6, 9,5], unit = "kg" }'},
        "write 9.4, 9.6, 9.5",
        {"mass": '{ readings = [9.4, 9.6, 9.5], unit = "kg" }'},
    ),
    "wing under the car": (
        {"wing_height": '"30 mm"'},
        "both count from the ground",
        {"wing_height": '"160 mm"'},
    ),
    "thick flap": ({"element_thickness": '"15 mm"'}, "at a chord of 30 mm", {"element_thickness": '"3 mm"'}),
    "wide flap": ({"wing_station": '"420 mm"\nend_plate_spacing = "240 mm"'}, "not go in between", {}),
    "a wing smaller than its flap": ({"wing_area": '"0.006 m2"'}, "for the whole wing", {}),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_told_and_what_is_advised_is_right(slip: str, tmp_path: Path) -> None:
    wrong, words, right = SLIPS[slip]
    assert any(words in one for one in _odd(tmp_path, **wrong))
    assert _odd(tmp_path, **right) == []


def test_a_point_outside_the_car_is_told_in_a_condition_too(tmp_path: Path) -> None:
    text = re.sub(r"(?m)^(\[conditions\.open\]\n)", r'\1rear_floor_edge_station = "840 mm"\n', FLAPS)
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    (said,) = cautions(load_study(tmp_path))
    assert "conditions.open.rear_floor_edge_station is 840 mm, outside a car" in said
    assert "did you mean 84 mm?" in said


def test_what_is_odd_alone_is_not_held_against_the_rest(tmp_path: Path) -> None:
    (said,) = _odd(tmp_path, wheelbase='"360 m"')
    assert "did you mean 360 mm?" in said


@pytest.mark.parametrize(
    ("speed", "words"),
    [
        ("160 m/s", "did you mean 160 km/h?"),
        ("45 km/h", "did you mean 45 m/s?"),
        ("72 m/s", "made for 30 m/s"),
    ],
)
def test_speeds_in_the_wrong_unit_or_beyond_what_this_is_for(speed: str, words: str, tmp_path: Path) -> None:
    text = SPEED.sub(f'speed = "{speed}"', FLAPS).replace(", 45 m/s", "")
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    found = cautions(load_study(tmp_path))
    assert found
    assert all(words in one for one in found)


def test_clearances_at_rest_go_with_the_pitch(tmp_path: Path) -> None:
    """The demo lies 0.46 degrees nose down over 505 mm: 4 mm higher at the rear, where 3 mm are given."""
    text = (DEMO / "study.toml").read_text("utf-8")
    places = {
        "own_quantities": "",
        "static_pitch": '"-2.5 deg"',
        "splitter_edge_clearance_at_rest": '"34 mm"',
    }
    for name, entry in places.items():
        text = re.sub(rf"(?m)^{name} = .*$", f"{name} = {entry}" if entry else "", text)
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    (said,) = cautions(load_study(tmp_path))
    assert "is its sign right, nose-up positive?" in said
    (tmp_path / "study.toml").write_text(text.replace('"-2.5 deg"', '"2.5 deg"'), encoding="utf-8")
    assert cautions(load_study(tmp_path)) == []


def test_no_study_that_is_shipped_or_written_is_odd(tmp_path: Path) -> None:
    folders = [DEMO, AIRFIELD, CHASE]
    assert [cautions(load_study(folder)) for folder in folders] == [[], [], []]
    file = tmp_path / "study.toml"
    cars = [
        CarHas(flaps, drive, brakes, suspension, wake=flaps > 1)
        for flaps, (drive, suspension), brakes in itertools.product(
            (0, 1, 3), (("power", "wheel-rate"), ("electric", "spring")), (None, "balance", "fitted")
        )
    ]
    for car in cars:
        file.write_text(template(car), encoding="utf-8")
        assert cautions(load_study(file)) == [], car


@pytest.mark.parametrize(("tail", "told"), [("430 mm", True), ("380 mm", False)])
def test_points_farther_apart_than_the_car_is_long(tmp_path: Path, tail: str, told: bool) -> None:
    text = re.sub(r"(?m)^point = .*$", 'point = ["nose", "tail"]', FLAPS)
    text = re.sub(r"(?m)^(rear_floor_edge|splitter_edge)_(station|clearance_at_rest) = .*\n", "", text)
    text = text.replace("rear_floor_edge", "tail").replace("splitter_edge", "nose")
    points = f'nose_station = "-130 mm"\ntail_station = "{tail}"\ncar_length = "540 mm"\n'
    points += 'nose_clearance_at_rest = "10 mm"\ntail_clearance_at_rest = "12 mm"\n'
    text = text.replace("[inputs]\n", f"[inputs]\n{points}", 1)
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    found = [one for one in cautions(load_study(tmp_path)) if "car_length" in one]
    assert bool(found) == told
    assert all("nose_station is -130 mm and tail_station 430 mm" in one for one in found)
