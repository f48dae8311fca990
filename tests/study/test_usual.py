"""Usual ranges: possible, in order, drawn where a coefficient is not known, refused where a tape tells."""

from __future__ import annotations

import importlib
import pkgutil
import re
from pathlib import Path

import pytest

import explorer.model
from explorer import run
from explorer.analyses.odd_combinations import odd_inputs
from explorer.errors import StudyError
from explorer.graph.quantity import Quantity, quantities_of
from explorer.graph.units import parse
from explorer.graph.words import in_unit
from explorer.study.distributions_between_limits import Triangular
from explorer.study.study import Study, load_study
from explorer.study.template import CarHas, template
from explorer.study.usual import ASSUMED
from reports.blocks import Table
from reports.findings import assumed, guessed
from reports.report import Report
from reports.sections import glance
from reports.terminal import words

ROOT = Path(__file__).parents[2]
RANGED = {
    quantity.name: quantity
    for found in pkgutil.walk_packages(explorer.model.__path__, "explorer.model.")
    for quantity in quantities_of(importlib.import_module(found.name))
    if quantity.usual is not None
}


def cautions(study: Study) -> list[str]:
    return [in_unit(one) for one in odd_inputs(study)]


@pytest.mark.parametrize("quantity", RANGED.values(), ids=RANGED)
def test_each_range_is_possible_and_in_order(quantity: Quantity) -> None:
    usual = quantity.usual
    assert usual is not None
    texts = [usual.low, *([usual.typical] if usual.typical else []), usual.high]
    values = [parse(text, None, quantity.unit)[0] for text in texts]
    assert values == sorted(values)
    assert values[0] < values[-1]
    assert all(map(quantity.allows, values)), quantity.allowed_range


def of(folder: Path, **entries: str) -> Path:
    text = template(CarHas())
    for name, entry in entries.items():
        text, count = re.subn(rf"(?m)^{name} = .*$", f"{name} = {entry}", text)
        assert count == 1
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return folder


def test_a_coefficient_is_drawn_from_what_is_usual(tmp_path: Path) -> None:
    found = load_study(of(tmp_path, wing_pitch_slope='"usual"')).inputs["wing_pitch_slope"]
    usual = RANGED["wing_pitch_slope"].usual
    assert usual is not None
    low, mode, high = (parse(text, None, "1/rad")[0] for text in (usual.low, usual.typical, usual.high))
    assert found.distribution == Triangular(low, mode, high)
    assert found.source == f"{ASSUMED} ({usual.source})"


def test_what_a_tape_tells_is_refused_and_the_remedy_works(tmp_path: Path) -> None:
    with pytest.raises(StudyError) as refused:
        load_study(of(tmp_path, wheelbase='"usual"'))
    assert refused.value.key == "inputs.wheelbase"
    assert "tape" in str(refused.value)
    allowed = re.search(r"such as (\S+ mm)", str(refused.value))
    assert allowed
    load_study(of(tmp_path, wheelbase=f'"{allowed[1]}"'))


def test_what_nobody_calls_usual_is_refused(tmp_path: Path) -> None:
    with pytest.raises(StudyError, match="a car has its own"):
        load_study(of(tmp_path, front_wheel_rate='"usual"'))
    with pytest.raises(StudyError, match="each day has its own"):
        load_study(of(tmp_path, air_temperature='"usual"'))


@pytest.mark.parametrize(
    "study", [Path("studies") / name for name in ("airfield-sprint", "three-flap-chase")]
)
def test_the_demos_lie_within_what_is_usual(study: Path) -> None:
    assert cautions(load_study(ROOT / study)) == []


@pytest.mark.parametrize(
    "car", [CarHas(), CarHas(2, "electric", "fitted", "spring", True)], ids=["plain", "all"]
)
def test_a_new_study_lies_within_what_is_usual(tmp_path: Path, car: CarHas) -> None:
    (tmp_path / "study.toml").write_text(template(car), encoding="utf-8")
    assert cautions(load_study(tmp_path)) == []


@pytest.mark.parametrize(
    ("slip", "meant"),
    [('"345 m"', "345 mm"), ('"0.345 mm"', "0.345 m"), ('"3450 mm"', "345 mm")],
    ids=["metres for millimetres", "millimetres for metres", "a point slipped"],
)
def test_a_slip_is_told_with_what_was_likely_meant(tmp_path: Path, slip: str, meant: str) -> None:
    (said,) = cautions(load_study(of(tmp_path, wheelbase=slip)))
    assert said.startswith("wheelbase is ")
    assert f"did you mean {meant}?" in said
    right = meant.rstrip("?")
    assert cautions(load_study(of(tmp_path, wheelbase=f'"{right}"'))) == []


def test_what_a_condition_sets_is_looked_at_too(tmp_path: Path) -> None:
    text = template(CarHas())
    slipped, count = re.subn(r'(?m)^speed = "45 m/s"$', 'speed = "450 m/s"', text, count=1)
    assert count == 1
    (tmp_path / "study.toml").write_text(slipped, encoding="utf-8")
    (said,) = (one for one in cautions(load_study(tmp_path)) if one.startswith("speed@"))
    assert "did you mean 45 m/s?" in said


@pytest.mark.long
def test_what_is_assumed_is_run_ranked_and_not_counted_as_sourced(tmp_path: Path) -> None:
    results = run(load_study(of(tmp_path, wing_pitch_slope='"2.4 /rad"')), samples=500)
    found = results.summary
    unknown = {one.key for one in assumed(found)}
    assert len(unknown) > 10
    assert "wing_pitch_slope" not in unknown
    given = sum(not one.default for one in found.inputs)
    (table,) = glance.build(Report(results)).blocks
    assert isinstance(table, Table)
    said = " ".join(words(cell.line) for row in table.rows for cell in row)
    assert f"1 of {given} that the study gives has no source" in said
    assert f"{len(unknown)} of {given} are assumed from what is usual" in said
    assert len(guessed(found)) > 10
    assert f"{len(guessed(found))} are made up or guessed" in said
    assert "splitter_pitch_slope" in set(results.sensitivity.reset_index()["input"])


@pytest.mark.parametrize(
    ("name", "slip", "meant"),
    [
        ("wing_area", '"0.036 cm2"', "0.036 m²"),
        ("static_pitch", '"0.2 rad"', "0.2°"),
        ("cg_station", '"-190 mm"', "190 mm"),
        ("front_wheel_rate", '"3.6 kgf/mm"', "3.6 N/mm"),
        ("splitter_station", '"3.5 in"', "-3.5 in"),
    ],
)
def test_another_unit_is_thought_of_before_another_point(
    tmp_path: Path, name: str, slip: str, meant: str
) -> None:
    found = cautions(load_study(of(tmp_path, **{name: slip})))
    assert any(one.startswith(f"{name} is ") and f"did you mean {meant}?" in one for one in found)


def test_a_choice_has_no_range_and_a_range_says_where_it_comes_from() -> None:
    for choice in ("driven_rear_share", "span_position", "flap_opening", "speed_cap", "departure_angle"):
        assert choice not in RANGED
    # Of some two hundred ranges few come from anything published; the rest say that they are judgement.
    assert {name for name, one in RANGED.items() if one.usual and one.usual.source != "judgement"} == {
        "wing_pitch_slope",
        "air_pressure",
        "element_pressure_fraction_closed",
    }
