"""Inputs to a spreadsheet and back: nothing changes that was not changed, and every refusal has a way out."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from study_help import ROOT, Answer

from explorer.errors import StudyError
from explorer.study.editing import write_changed
from explorer.study.sheet import HEADINGS, LOCKED, rows_of, sheet_text, take_sheet, write_sheet
from explorer.study.study import load_study
from explorer.study.template import CarHas, write_template

Cli = Callable[..., Answer]
Writer = Callable[..., Path]

MORE = """
# kept
wing_area = "0.028 m2"
wing_station = "420 ± 6 mm"  # so far
wing_height = { value = "160 mm", source = "drawing" }
rolling_resistance = { low = 0.02, high = 0.03, source = "guess", note = "wet" }
drive_efficiency = { low = 80, mode = 85, high = 90, unit = "%" }
cg_height = { readings = [44, 45, 47], unit = "mm", source = "tilted" }
static_pitch = { mean = -0.4, sd = 0.1, high = 0, unit = "deg" }
air_temperature = { mean = 18, sd = 4, unit = "degC" }
tyre_friction = { median = 1.5, factor = 1.2 }
"""


@pytest.fixture
def study(small_study: Writer) -> Path:
    return small_study(inputs=MORE)


def changed(study: Path, old: str, new: str) -> Path:
    """Write the table of a study with one text in it replaced."""
    text = sheet_text(load_study(study))
    assert old in text
    (study / "inputs.csv").write_text(text.replace(old, new, 1), encoding="utf-8")
    return study / "inputs.csv"


def test_rows_say_values_spreads_units_and_sources(study: Path) -> None:
    rows = {row.name: (*row.said, row.form) for row in rows_of(load_study(study))}
    assert rows["mass"] == ("5", "0.1", "", "", "kg", "test", "value and spread")
    assert rows["wing_area"] == ("0.028", "", "", "", "m2", "", "value")
    assert rows["wing_station"] == ("420", "3", "", "", "mm", "", "value and spread")
    assert rows["rolling_resistance"] == ("", "", "0.02", "0.03", "", "guess", "low and high")
    assert rows["drive_efficiency"][:5] == ("85", "", "80", "90", "%")
    assert rows["static_pitch"][:5] == ("-0.4", "0.1", "", "0", "deg")
    assert rows["air_temperature"][:5] == ("18", "4", "", "", "degC")
    assert rows["cg_height"][-1] == rows["tyre_friction"][-1] == LOCKED
    assert rows["cg_height"][1] == ""  # of three readings the spread has no end


@pytest.mark.parametrize("folder", ["airfield-sprint", "three-flap-chase"])
def test_there_and_back_changes_not_a_letter(folder: str, tmp_path: Path) -> None:
    shutil.copytree(ROOT / "studies" / folder, tmp_path / "car", ignore=shutil.ignore_patterns("results"))
    study = load_study(tmp_path / "car")
    before = study.path.read_bytes()
    write_sheet(study, tmp_path / "inputs.csv")
    taken = take_sheet(study, tmp_path / "inputs.csv")
    assert (taken.changed, taken.added, taken.left_out) == ((), (), ())
    assert study.path.read_bytes() == before


@pytest.mark.parametrize(
    ("old", "new", "was", "now"),
    [
        ("mass,5,0.1,", "mass,4.60,0.05,", 'mass = { mean = 5.0, sd = 0.1, unit = "kg", source = "test" }',
         'mass = { mean = 4.60, sd = 0.05, unit = "kg", source = "test" }'),
        ("wing_area,0.028,,", "wing_area,0.030,,", 'wing_area = "0.028 m2"', 'wing_area = "0.030 m2"'),
        ("wing_station,420,3,", "wing_station,425,2,", '"420 ± 6 mm"  # so far',
         '{ mean = 425, sd = 2, unit = "mm" }  # so far'),
        ("wing_height,160,,,,mm,drawing", "wing_height,16.2,,,,cm,rule",
         '{ value = "160 mm", source = "drawing" }', '{ value = "16.2 cm", source = "rule" }'),
        ("rolling_resistance,,,0.02,", "rolling_resistance,,,0.01,", "low = 0.02, high = 0.03, source",
         "low = 0.01, high = 0.03, source"),
        ("rolling_resistance,,,0.02,0.03", "rolling_resistance,0.025,0.002,,", "low = 0.02, high = 0.03",
         "mean = 0.025, sd = 0.002"),
        ("drive_efficiency,85,", "drive_efficiency,84,", "mode = 85", "mode = 84"),
        ("static_pitch,-0.4,0.1,,0,", "static_pitch,-0.5,0.1,,0,", "mean = -0.4", "mean = -0.5"),
    ],
)  # fmt: skip
def test_a_changed_row_changes_its_entry_and_nothing_else(
    old: str, new: str, was: str, now: str, study: Path
) -> None:
    before = (study / "study.toml").read_text()
    assert was in before
    taken = take_sheet(load_study(study), changed(study, old, new))
    assert taken.changed == (new.split(",")[0],)
    assert (study / "study.toml").read_text() == before.replace(was, now)
    load_study(study)


def test_a_new_row_is_a_new_input_and_a_missing_one_is_left(study: Path, squatline: Cli) -> None:
    file = changed(study, "wing_area,0.028,,", "body_drag_area,0.03,0.002,,,m2,coast-down\nwing_area,0.028,,")
    lines = file.read_text().splitlines()
    file.write_text("\n".join(line for line in lines if not line.startswith("mass,")))
    answer = squatline("inputs", study, "--from", file)
    assert answer.status == 0
    assert "added in " in answer.out
    assert "left as they are: mass" in answer.out
    after = load_study(study)
    assert after.inputs["body_drag_area"].distribution.sd == pytest.approx(0.002)
    assert after.inputs["mass"].distribution.mean == 5.0
    assert "# kept" in (study / "study.toml").read_text()


def test_a_spreadsheet_in_another_language_is_read(study: Path) -> None:
    text = sheet_text(load_study(study)).replace("mass,5,0.1", "mass,4.6,0.05")
    rows = [line.split(",")[:7] for line in text.splitlines()]
    file = study / "inputs.csv"
    file.write_text("\n".join(";".join(row).replace(".", ",") for row in rows), encoding="utf-8")
    assert take_sheet(load_study(study), file).changed == ("mass",)
    assert load_study(study).inputs["mass"].distribution.mean == 4.6


@pytest.mark.parametrize(
    ("old", "new", "said", "better"),
    [
        ("mass,5,0.1,", 'mass,"4,6",0.1,', "write 4.6", "mass,4.6,0.1,"),
        ("mass,5,0.1,", "mass,5 kg,0.1,", "move the unit", "mass,5,0.1,"),
        ("mass,5,0.1,", "mass,,0.1,", "fill in the cells", "mass,5,0.1,"),
        ("mass,5,0.1,,,kg", "mass,5,0.1,,,mm", "a value in mm", "mass,5000,100,,,g"),
        ("mass,5,0.1,", "mas,5,0.1,", "did you mean 'mass'?", "mass,5,0.1,"),
        ("cg_height,45.33333333,", "cg_height,44,", "put its cells back", "cg_height,45.33333333,"),
        ("mass,5,0.1,", "wing_area,1,,,,m2,\nmass,5,0.1,", "take one of them out", "mass,5,0.1,"),
        ("name,value,", "what,value,", "keep the first row", "name,value,"),
    ],
)
def test_rows_that_make_no_input_are_refused_and_nothing_is_written(
    old: str, new: str, said: str, better: str, study: Path, squatline: Cli
) -> None:
    before = (study / "study.toml").read_text()
    file = changed(study, old, new)
    answer = squatline("inputs", study, "--from", file)
    assert answer.status == 2
    assert "inputs.csv" in answer.err
    assert said in answer.err
    assert (study / "study.toml").read_text() == before
    assert squatline("inputs", study, "--from", changed(study, old, better)).status == 0


def test_a_table_never_takes_the_place_of_another_file(study: Path, squatline: Cli) -> None:
    note = study / "notes.csv"
    note.write_text("my notes\n")
    answer = squatline("inputs", study, "--to", note)
    assert answer.status == 2
    assert "name another file" in answer.err
    assert note.read_text() == "my notes\n"
    assert squatline("inputs", study, "--to", study / "inputs.csv").status == 0
    assert squatline("inputs", study, "--to", study / "inputs.csv").status == 0
    assert squatline("inputs", study).out.startswith(",".join(HEADINGS))


def test_a_source_is_no_formula_of_a_spreadsheet(small_study: Writer) -> None:
    folder = small_study(inputs='wing_area = { value = "0.03 m2", source = "=1+1" }')
    file = changed(folder, "wing_area,0.03,,,,m2,'=1+1", "wing_area,0.04,,,,m2,'=1+1")
    assert take_sheet(load_study(folder), file).changed == ("wing_area",)
    assert 'wing_area = { value = "0.04 m2", source = "=1+1" }' in (folder / "study.toml").read_text()


def test_what_a_family_shares_is_one_row(tmp_path: Path) -> None:
    study = load_study(write_template(tmp_path / "car", CarHas(flaps=2)))
    rows = {row.name: row for row in rows_of(study)}
    assert rows["element_span"].value == "248"
    assert "flap_1_span" not in rows


def test_a_change_that_would_change_more_is_refused(study: Path) -> None:
    file = study / "study.toml"
    with pytest.raises(StudyError, match="changing more of it"):
        write_changed(file, file.read_text(), {})
