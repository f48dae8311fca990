"""What is told of a fit, what cannot be fitted, and what a fit may write."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from log_help import LOADS, SPRING, copied, spring_log, with_sections, write_columns
from statistics_help import within
from study_help import Answer

from explorer import fit, load_study, write_fit
from explorer.errors import ResultsError, SquatlineError
from explorer.files.reading import Source
from explorer.graph.written import MINUS
from explorer.logs.fit_records import fit_record
from explorer.logs.fitting.fit import Fit
from explorer.logs.fitting.input_block import input_block
from tests.synthetic import random_stream

Cli = Callable[..., Answer]
Writer = Callable[..., Path]


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    return copied(tmp_path)


# What is told of a fit.


def test_json_is_complete_and_finite(demo: Path, squatline: Cli) -> None:
    answer = squatline("fit", demo, "--json")
    found = json.loads(answer.out)
    assert found["line_to_add"] is None
    coast = next(one for one in found["fits"] if one["name"] == "coast_down")
    assert [one["name"] for one in coast["estimates"]] == [
        "body_drag_area",
        "rolling_resistance",
        "wing_drag_coefficient_closed",
    ]
    assert all(one["low"] < one["value"] < one["high"] for one in coast["estimates"])
    assert len(coast["logs"]) == 4
    assert all(log["synthetic"] and len(log["sha256"]) == 64 for log in coast["logs"])
    residuals = coast["residuals"]
    lengths = {
        len(residuals[name]) for name in ("abscissa", "observed", "predicted", "residual", "weight", "run")
    }
    assert lengths == {348}
    observed, predicted = np.array(residuals["observed"]), np.array(residuals["predicted"])
    assert np.array(residuals["residual"]) == pytest.approx(observed - predicted)
    assert coast["outliers"] == sum(weight == 0 for weight in residuals["weight"])


def test_long_logs_are_thinned_with_a_word(demo: Path) -> None:
    load = np.repeat(LOADS[:9], 2500)
    gauge = 1e3 * load / 2450 + 0.02 * random_stream(1).standard_normal(len(load))
    write_columns(demo / "mine.csv", {"load": load, "gauge": gauge})
    found = fit(with_sections(demo, SPRING), "mine")[0]
    record = fit_record(found)
    assert record.logs[0].rows_read == 22_500
    # Half of the rows, without those at no load.
    assert found.fit.rows == 10_000
    assert record.residuals is not None
    assert len(record.residuals.residual) <= 1000
    assert any("22500 rows thinned to 11250" in note for note in record.notes)
    assert within(found.fit.estimates[0], 2450, found.fit.standard_uncertainties[0])


def test_a_fit_that_finds_no_input_is_told_and_not_written(demo: Path, squatline: Cli) -> None:
    write_columns(
        demo / "mine.csv",
        {"u": 33 - 0.1 * np.arange(20.0) + 0.01 * np.arange(20) % 2, "i": 9 * np.arange(20.0)},
    )
    columns = 'columns = { voltage = { column = "u", unit = "V" }, current = { column = "i", unit = "A" } }'
    with_sections(demo, f'[fits.mine]\nkind = "battery"\nfile = "mine.csv"\n{columns}')
    answer = squatline("fit", demo, "mine", "--write")
    assert answer.status == 2
    assert "nothing of it is an input of the study" in " ".join(answer.out.split())
    assert "nothing that this fit found is an input of the study" in answer.err


def test_check_tells_faults_of_the_sections_before_any_log_is_read(demo: Path, squatline: Cli) -> None:
    with_sections(demo, SPRING.replace("spring_test", "sping_test"))
    answer = squatline("check", demo)
    assert answer.status == 2
    assert "fits.mine.kind: no kind of fit is called 'sping_test'" in answer.err
    assert "did you mean 'spring_test'?" in answer.err


COAST = """
[fits.mine]
kind = "coast_down"
columns = { time = { column = "t", unit = "s" }, speed = { column = "v", unit = "m/s" } }
"""
TWO_WAY = 'runs = [{ file = "mine.csv", direction = 1 }, { file = "mine.csv", direction = -1 }]\n'


TIME = np.linspace(0, 9, 91)
FALL = 30 - 2 * TIME


SOME = "load,gauge\n0,0\n"
ROLLING = {"t": TIME, "v": FALL}
# What is wrong -> the section, the log, and what is said of it.
BAD_INPUT: dict[str, tuple[str, str | dict[str, np.ndarray] | None, list[str]]] = {
    "column missing": (
        SPRING.replace('"gauge"', '"dial"'),
        SOME,
        ["mine.csv: fits.mine.columns: ", "no column 'dial'", "load, gauge"],
    ),
    "unit missing": (
        SPRING.replace(', unit = "mm"', ""),
        SOME,
        ["mine.csv: fits.mine.columns.deflection: ", "unit of the column is missing"],
    ),
    "unit of another kind": (
        SPRING.replace('unit = "N"', 'unit = "mm"'),
        SOME,
        ["study.toml: fits.mine.columns.load: ", "a value in mm", "kgf, gf"],
    ),
    "unit unknown": (
        SPRING.replace('unit = "mm"', 'unit = "mn"'),
        SOME,
        ["study.toml: fits.mine.columns.deflection: there is no unit 'mn'"],
    ),
    "text in numbers": (
        SPRING,
        "load,gauge\nten,one\ntwenty,two\n",
        ["mine.csv: fits.mine: no row of the log can be used", "'ten' in column 'load'"],
    ),
    "one load": (
        SPRING,
        "load,gauge\n10,1\n10,1.1\n10,1.2\n",
        ["mine.csv: fits.mine.columns.load: a rate needs several loads"],
    ),
    "no such file": (SPRING, None, ["mine.csv: fits.mine: there is no such file"]),
    "empty file": (SPRING, "", ["mine.csv: fits.mine: the log is empty"]),
    "column misspelt": (
        SPRING.replace("load = {", "laod = {"),
        SOME,
        ["fits.mine.columns.laod: this kind of fit reads no 'laod'", "did you mean 'load'?"],
    ),
    "column not mapped": (
        SPRING.replace(", deflection = {", ", time = {"),
        SOME,
        ["fits.mine.columns: the study does not say which column holds 'deflection'"],
    ),
    "key misspelt": (
        SPRING.replace("rate =", "rat ="),
        SOME,
        ["fits.mine.rat: 'rat' is not a key", "did you mean 'rate'?"],
    ),
    "key missing": (
        SPRING.replace('rate = "rear_wheel_rate"', ""),
        SOME,
        ["fits.mine.rate: 'rate' is missing"],
    ),
    "not a rate": (
        SPRING.replace('"rear_wheel_rate"', '"mass"'),
        SOME,
        ["fits.mine.rate: this is not a rate", "rear_wheel_rate"],
    ),
    "known misspelt": (
        SPRING + "known = { load_scal = 1 }\n",
        SOME,
        ["fits.mine.known.load_scal: no quantity is called", "did you mean 'load_scale'?"],
    ),
    "neither file nor runs": (
        SPRING.replace('file = "mine.csv"', ""),
        SOME,
        ["fits.mine: a fit names either the file of one log, or several as runs"],
    ),
    "two runs of a spring": (
        SPRING.replace('file = "mine.csv"', 'runs = [{ file = "mine.csv" }, { file = "mine.csv" }]'),
        SOME,
        ["fits.mine.runs: a fit of the kind 'spring_test' takes one log"],
    ),
    "one direction": (
        COAST + 'file = "mine.csv"\n',
        ROLLING,
        ["fits.mine.direction: runs in one direction"],
    ),
    "constant speed": (
        COAST + TWO_WAY,
        {"t": TIME, "v": 30 + 0 * TIME},
        ["mine.csv: fits.mine.columns.speed: the speed hardly falls"],
    ),
    "time backwards": (
        COAST + TWO_WAY,
        {"t": TIME[::-1], "v": FALL},
        ["mine.csv: fits.mine.columns.time: the time runs backwards"],
    ),
    "flap ajar": (
        COAST + TWO_WAY.replace("-1", '-1, flap = "ajar"'),
        ROLLING,
        ["fits.mine.runs: a flap is closed or open", "ajar"],
    ),
    "cut without a unit": (
        COAST + TWO_WAY.replace("-1", "-1, between = [40, 50]"),
        ROLLING,
        ["fits.mine.between: the unit is missing"],
    ),
    "nothing left": (
        COAST + TWO_WAY.replace("-1", '-1, between = ["20 s", "30 s"]'),
        ROLLING,
        ["mine.csv: fits.mine.between: no row lies between", "times from 0 s to 9 s"],
    ),
    "sideways": (COAST + TWO_WAY.replace("-1", "2"), ROLLING, ["fits.mine.runs[2].direction"]),
}


@pytest.mark.parametrize("wrong", BAD_INPUT)
def test_bad_input_names_file_and_key(demo: Path, squatline: Cli, wrong: str) -> None:
    section, text, said = BAD_INPUT[wrong]
    if isinstance(text, dict):
        write_columns(demo / "mine.csv", text)
    elif text is not None:
        (demo / "mine.csv").write_text(text)
    (demo / "study.toml").write_text((demo / "study.toml").read_text() + section)
    answer = squatline("fit", demo, "mine")
    assert answer.status == 2
    assert answer.out == ""
    for words in said:
        assert words in answer.err


def test_a_fit_begins_with_what_can_be_used_and_ends_with_what_to_do(demo: Path, squatline: Cli) -> None:
    said = squatline("fit", demo, "rear_spring_test").out
    assert said.startswith("1 of 1 fit can be used.")
    assert "--include puts these inputs into the study" in said.splitlines()[-1]
    # A name of the program stands where it is typed alone: for what was found.
    assert "only of this log, in SI units: line begins at" in said


def test_spreadsheets_and_loggers_are_read_as_they_are(demo: Path) -> None:
    spring_log(demo, 2450, 3)
    study = with_sections(demo, SPRING)
    plain = fit(study, "mine")[0].fit
    text = (demo / "mine.csv").read_text()
    (demo / "mine.csv").write_bytes(
        b"\xef\xbb\xbf" + text.replace(",", ";").replace(".", ",").replace("\n", "\r\n").encode()
    )
    spreadsheet = fit(study, "mine")[0].fit
    assert spreadsheet.estimates == pytest.approx(plain.estimates, rel=1e-12)
    rows = text.splitlines()
    (demo / "mine.csv").write_text("\n".join([*rows[:5], "error,--", *rows[5:], "20,"]) + "\n")
    with_gaps = fit(study, "mine")[0]
    assert with_gaps.fit.estimates == pytest.approx(plain.estimates, rel=1e-12)
    assert {note.partition(": ")[2] for note in fit_record(with_gaps).notes if "left out" in note} == {
        "1 of 19 rows left out: a cell is empty",
        "1 of 19 rows left out: text where a number should stand",
    }


def test_unknown_fit_and_study_without_logs(
    demo: Path, small_study: Writer, squatline: Cli, tmp_path: Path
) -> None:
    with pytest.raises(SquatlineError, match="did you mean 'coast_down'"):
        fit(load_study(demo), "coastdown")
    answer = squatline("fit", small_study())
    assert answer.status == 2
    assert "the study has no log to be fitted" in answer.err


def test_a_coast_down_of_one_flap_position_gives_the_body_its_share(demo: Path) -> None:
    text = (demo / "study.toml").read_text()
    kept = [line for line in text.splitlines() if "coast_down_open" not in line]
    (demo / "study.toml").write_text("\n".join(kept))
    found = fit(load_study(demo), "coast_down")[0]
    assert found.inputs == ("body_drag_area", "rolling_resistance")
    assert within(
        found.fit.value("body_drag_area"), 0.0318, found.fit.standard_uncertainty("body_drag_area"), z=3
    )
    assert ("body_drag_area", "wing_drag_coefficient_closed") in {(o.estimate, o.input) for o in found.shared}


def test_what_is_physically_impossible_is_not_given_to_the_study(demo: Path, squatline: Cli) -> None:
    # The zero of the rule on the wrong side: a centre of gravity below the ground.
    write_columns(demo / "mine.csv", {"h": np.array([-5.0, -6.0, -5.5, -5.2])})
    columns = 'columns = { cg_height = { column = "h", unit = "mm" } }'
    with_sections(demo, f'[fits.mine]\nkind = "readings"\nfile = "mine.csv"\n{columns}')
    answer = squatline("fit", demo, "mine", "--write")
    assert answer.status == 2
    assert [squatline("fit", demo, "mine", *strict).status for strict in ((), ("--strict",))] == [0, 1]
    assert f"cg_height comes out as {MINUS}5.425 mm, but must be above 0 mm" in answer.out
    assert "mine was not written" in answer.err
    assert not (demo / "fitted").exists()


def test_a_fit_in_a_folder_that_cannot_be_written(demo: Path) -> None:
    found = fit(load_study(demo), "rear_spring_test")[0]
    (demo / "fitted").write_text("a file where the folder should be")
    with pytest.raises(SquatlineError, match="cannot be written"):
        write_fit(found)


def test_a_link_does_not_lead_a_fit_out_of_its_study(demo: Path, tmp_path: Path) -> None:
    found = fit(load_study(demo), "rear_spring_test")[0]
    outside = tmp_path / "outside"
    outside.mkdir()
    (demo / "fitted").symlink_to(outside)
    with pytest.raises(ResultsError, match="leads away"):
        write_fit(found)
    (demo / "fitted").unlink()
    (demo / "fitted").mkdir()
    mine = demo / "mine.toml"
    mine.write_text("mine")
    (demo / "fitted" / "rear_spring_test.toml").symlink_to(mine)
    with pytest.raises(ResultsError, match="remove the link"):
        write_fit(found)
    assert mine.read_text() == "mine"
    assert list(outside.iterdir()) == []


@pytest.mark.parametrize("name", ["rear_spring_test.toml", "rear_spring_test.json"])
def test_a_fit_replaces_only_what_a_fit_has_written(demo: Path, name: str) -> None:
    found = fit(load_study(demo), "rear_spring_test")[0]
    written = write_fit(found)
    assert write_fit(found) == written
    written.with_name(name).write_text("notes of my own")
    with pytest.raises(ResultsError, match="no fit has written"):
        write_fit(found)
    assert written.with_name(name).read_text() == "notes of my own"


@settings(max_examples=200, deadline=None)
@given(date=st.text(), file=st.text(), note=st.text())
def test_no_date_name_or_note_adds_a_line(date: str, file: str, note: str) -> None:
    """What stands in a log and in a study becomes one string or one comment, whatever is in it."""
    names = ("mass", "air_density")
    made = Fit(
        kind="readings",
        names=names,
        units=("kg", "kg/m3"),
        estimates=np.array([5.0, 1.2]),
        covariance=np.array([[0.01, 0.001], [0.001, 0.01]]),
        scatter_covariance=np.diag([0.01, 0.01]),
        degrees_of_freedom=np.array([10.0, 10.0]),
        sources=(Source(file, date, "0" * 64),),
        notes=(note,),
    )
    block = tomllib.loads(input_block(made).encode(errors="strict").decode())
    assert block.keys() == {"inputs", "correlations"}
    assert block["inputs"].keys() == set(names)
    assert all(entry.keys() == {"mean", "sd", "unit", "source"} for entry in block["inputs"].values())
    assert [entry.keys() for entry in block["correlations"]] == [{"between", "value", "source"}]


def test_the_date_of_a_log_cannot_give_an_input(demo: Path) -> None:
    text = (demo / "study.toml").read_text()
    evil = 'date = "2024\\n[inputs.mass]\\nvalue = 99\\nunit = \\"kg\\"\\nsource = \\"x"'
    (demo / "study.toml").write_text(
        text.replace("[fits.rear_spring_test]", f"[fits.rear_spring_test]\n{evil}", 1)
    )
    written = write_fit(fit(load_study(demo), "rear_spring_test")[0])
    assert tomllib.loads(written.read_text())["inputs"].keys() == {"rear_wheel_rate"}
