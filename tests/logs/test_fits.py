"""From the logs a study names to inputs it includes: the loop of measuring, fitting and running again."""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from log_help import copied, maker_of_demo_logs, with_sections, write_columns
from statistics_help import within
from study_help import AIRFIELD, Answer

from explorer import fit, load_study, write_fit
from explorer.analyses.verdicts import CONFIDENCE, judge_outcome
from explorer.engine.montecarlo import run_montecarlo
from explorer.errors import ResultsError, SquatlineError
from explorer.logs.fit_records import fit_record
from explorer.logs.fit_writing import block_of, line_to_add
from explorer.logs.fitting.fit import Fit
from explorer.logs.fitting.input_block import input_block
from explorer.logs.reader import Source
from explorer.logs.replaced_inputs import replaced_inputs
from explorer.logs.shared_errors import Shared, held_together
from reports.sections.fits import headline
from tests.synthetic import Roughness, make_spring_test, random_stream

Cli = Callable[..., Answer]
Writer = Callable[..., Path]

LOADS = 9.80665 * np.array([*np.arange(0, 4.1, 0.5), *np.arange(3.5, -0.1, -0.5)])
SPRING = """
[fits.mine]
kind = "spring_test"
rate = "rear_wheel_rate"
file = "mine.csv"
columns = { load = { column = "load", unit = "N" }, deflection = { column = "gauge", unit = "mm" } }
"""


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    return copied(tmp_path)


def spring_log(folder: Path, rate: float, seed: int, noise: float = 5e-5) -> None:
    load, deflection, _ = make_spring_test(
        LOADS, rate=rate, friction=0.4, play=1e-4, rough=Roughness(noise=noise), random=random_stream(seed)
    )
    write_columns(folder / "mine.csv", {"load": load, "gauge": 1e3 * deflection})


# The demo: known truth, and the loop.


def test_logs_of_the_demo_are_what_their_maker_makes(tmp_path: Path) -> None:
    maker_of_demo_logs().make_all(tmp_path)
    made = {path.name: path.read_text() for path in tmp_path.glob("*.csv")}
    assert len(made) == 6
    assert made == {path.name: path.read_text() for path in (AIRFIELD / "logs").glob("*.csv")}
    assert all(
        text.startswith("# synthetic log: made from known values, not measured") for text in made.values()
    )


def test_fits_of_the_demo_find_the_car_their_logs_were_made_from() -> None:
    truth = maker_of_demo_logs().TRUE_CAR
    found = {one.name: one for one in fit(load_study(AIRFIELD))}
    assert set(found) == {"rear_spring_test", "coast_down"}
    for one in found.values():
        assert one.result.weakness == ""
        for name in one.fit.names:
            assert within(one.fit.value(name), truth[name], one.fit.standard_uncertainty(name), z=2.6), name
    assert found["rear_spring_test"].fit.standard_uncertainty("rear_wheel_rate") < 0.01 * 2450
    assert found["coast_down"].inputs == (
        "body_drag_area",
        "rolling_resistance",
        "wing_drag_coefficient_closed",
    )


def test_the_loop_measure_fit_include(demo: Path, squatline: Cli) -> None:
    answer = squatline("fit", demo, "rear_spring_test", "--write")
    assert answer.status == 0
    line = 'include = ["fitted/rear_spring_test.toml"]'
    assert answer.out.rstrip().endswith(line)
    before = load_study(demo)
    after = with_sections(demo, "", first=line)
    found = fit(before, "rear_spring_test")[0].fit
    given = after.inputs["rear_wheel_rate"]
    assert given.distribution.mean == pytest.approx(found.value("rear_wheel_rate"), rel=1e-8)
    assert given.distribution.sd == pytest.approx(found.standard_uncertainty("rear_wheel_rate"), rel=0.05)
    assert given.display_unit == "N/mm"
    assert given.source is not None
    assert given.source.startswith(
        "synthetic log (made, not measured) rear_spring_test.csv, 2026-03-14, sha256 "
    )
    # Fitted again, the log is held against what was believed without it, not against itself.
    again = fit(after, "rear_spring_test")[0]
    assert again.included
    assert again.believed["rear_wheel_rate"].standard_uncertainty == pytest.approx(250)
    assert line_to_add([again]) is None
    second = fit(after, "coast_down")[0]
    assert line_to_add([second]) == 'include = ["fitted/rear_spring_test.toml", "fitted/coast_down.toml"]'


def test_a_fit_includes_itself_and_changes_nothing_else(demo: Path, squatline: Cli) -> None:
    file = demo / "study.toml"
    before = file.read_text()
    answer = squatline("fit", demo, "rear_spring_test", "--include")
    assert answer.status == 0
    assert "the study includes it" in answer.out
    assert file.read_text() == f'include = ["fitted/rear_spring_test.toml"]\n\n{before}'
    assert squatline("fit", demo, "coast_down", "--include").status == 0
    assert [one.file for one in load_study(demo).included] == [
        "fitted/rear_spring_test.toml",
        "fitted/coast_down.toml",
    ]
    once = file.read_text()
    assert once.endswith(before)
    assert squatline("fit", demo, "coast_down", "--include").status == 0
    assert file.read_text() == once


def test_the_loop_moves_a_verdict_of_the_demo(demo: Path) -> None:
    """What is expected is the scenario's own, invented with it."""

    def verdict() -> str:
        study = load_study(demo)
        limit = next(one for one in study.limits if one.name.startswith("Rear floor edge stays clear"))
        entries = study.entries.model_copy(update={"measurements": {}})
        alone = replace(study, limits=(limit,), outputs=(), entries=entries)
        return judge_outcome(alone.limits, run_montecarlo(alone, keep=False), CONFIDENCE).limits[0].verdict

    assert verdict() == "undecided"
    write_fit(fit(load_study(demo), "rear_spring_test")[0])
    with_sections(demo, "", first='include = ["fitted/rear_spring_test.toml"]')
    assert verdict() == "fail"


def test_before_and_after_of_an_included_fit(demo: Path) -> None:
    written = write_fit(fit(load_study(demo), "coast_down")[0])
    study = with_sections(demo, "", first='include = ["fitted/coast_down.toml"]')
    (file,) = found = replaced_inputs(study)
    assert headline(found).startswith(
        "3 inputs of this study come from fitted logs; the body drag area moved most: up"
    )
    assert file.as_written
    drag = file.inputs[0]
    assert drag.quantity == "body_drag_area"
    assert drag.before is not None
    assert (drag.before.mean, drag.before.sd) == (0.030, 0.003)
    assert drag.moved_by == pytest.approx((drag.after.mean - 0.030) / 0.003)
    assert drag.narrowed_to == pytest.approx(drag.after.sd / 0.003)
    # Once the block was edited by hand, the residuals beside it are no longer those of its numbers.
    written.write_text(written.read_text() + "# edited\n")
    assert not replaced_inputs(load_study(demo))[0].as_written
    assert replaced_inputs(load_study(AIRFIELD)) == ()


def test_a_study_without_a_file_it_includes(demo: Path) -> None:
    (demo / "first.toml").write_text(
        '[inputs]\nmass = "4.7 kg"\nrear_wheel_rate = { mean = 2.5, sd = 0.1, unit = "N/mm" }\n'
    )
    (demo / "second.toml").write_text(
        '[inputs]\nrear_wheel_rate = { mean = 2.4, sd = 0.1, unit = "N/mm" }\n'
        'grade = { mean = 0, sd = 0.01, unit = "rad" }\n'
        '[[correlations]]\nbetween = ["rear_wheel_rate", "cg_station"]\nvalue = 0.3\n'
    )
    pair = '[[correlations]]\nbetween = ["front_wheel_rate", "rear_wheel_rate"]\nvalue = 0.5\n'
    study = with_sections(demo, pair, first='include = ["first.toml", "second.toml"]')
    base = replace(load_study(AIRFIELD), entries=study.entries)
    assert [(c.first, c.second) for c in study.correlations] == [("rear_wheel_rate", "cg_station")]
    without_second = study.without("second.toml")
    assert without_second.inputs["rear_wheel_rate"].distribution.mean == 2500
    assert without_second.inputs["grade"].default
    assert without_second.correlations == ()
    # The later file still stands when the earlier one is taken out.
    without_first = study.without("first.toml")
    assert without_first.inputs["rear_wheel_rate"].distribution.mean == 2400
    assert without_first.inputs["mass"] == base.inputs["mass"]
    neither = study.without("second.toml").without("first.toml")
    assert neither.inputs == base.inputs
    assert [(c.first, c.value) for c in neither.correlations] == [("front_wheel_rate", 0.5)]
    assert study.without("other.toml") is study


# How well: coverage, and errors shared with other inputs.


def test_intervals_of_80_springs_hold_the_truth_95_times_in_100(demo: Path) -> None:
    study = with_sections(demo, SPRING)
    hits = 0
    for seed in range(80):
        spring_log(demo, 2450, seed)
        low, high = fit(study, "mine")[0].fit.interval()[0]
        hits += low <= 2450 <= high
    # 80 logs: standard error 0.0244.
    assert within(hits / 80, 0.95, 0.0244, z=2.5)


def test_errors_of_what_was_known_are_shared_with_the_study(demo: Path) -> None:
    base = fit(load_study(demo), "coast_down")[0]
    shared = {(one.estimate, one.input): one.value for one in base.shared}
    # Brute force: the same logs, the mass one standard deviation higher.
    text = (demo / "study.toml").read_text()
    (demo / "study.toml").write_text(text.replace("mass = { mean = 4.60,", "mass = { mean = 4.63,"))
    heavier = fit(load_study(demo), "coast_down")[0]
    change = heavier.fit.value("body_drag_area") - base.fit.value("body_drag_area")
    spread = base.fit.standard_uncertainty("body_drag_area")
    assert shared["body_drag_area", "mass"] == pytest.approx(change / spread, rel=0.05)
    assert shared["wing_drag_coefficient_closed", "wing_drag_coefficient_open"] > 0.5
    # The weather of the day is not that of the race.
    assert {name for _, name in shared} == {"mass", "rotating_mass_factor", "wing_drag_coefficient_open"}
    data = tomllib.loads(block_of(base))
    pairs = {tuple(one["between"]): one["value"] for one in data["correlations"]}
    assert pairs["body_drag_area", "mass"] == pytest.approx(shared["body_drag_area", "mass"], abs=1e-3)
    assert pairs["body_drag_area", "rolling_resistance"] == pytest.approx(
        base.fit.correlation[0, 1], abs=1e-3
    )


def test_what_leaves_nothing_to_chance_still_makes_a_study(demo: Path) -> None:
    study = load_study(demo)
    covariance = np.array([[4.0, 6.0], [6.0, 9.0]])
    exact = Fit(
        "test", ("mass", "cg_height"), ("kg", "m"), np.ones(2), covariance, covariance, np.full(2, np.inf)
    )
    shared = (Shared("mass", "cg_station", 0.9), Shared("cg_height", "cg_station", 0.9))
    held, pairs = held_together(exact, ("mass", "cg_height"), shared, study)
    matrix = np.eye(3)
    matrix[0, 1] = matrix[1, 0] = held.correlation[0, 1]
    matrix[:2, 2] = matrix[2, :2] = [one.value for one in pairs]
    assert np.linalg.eigvalsh(matrix)[0] > 0
    assert 0.98 < held.correlation[0, 1] < 1
    loose, same = held_together(replace(exact, covariance=np.diag([4.0, 9.0])), ("mass",), shared[:1], study)
    assert loose.covariance[0, 0] == 4
    assert same == shared[:1]


# Updates: the study's belief and the log together.


def test_update_of_a_given_input_is_the_weighted_mean(demo: Path) -> None:
    """Source: conjugate normal: weights one over variance (any textbook of Bayesian statistics)."""
    spring_log(demo, 2900, 1, noise=1e-3)
    found = fit(with_sections(demo, SPRING), "mine", update=True)[0]
    log, spread = found.fit.value("rear_wheel_rate"), found.fit.standard_uncertainty("rear_wheel_rate")
    weight = 1 / 250**2 + 1 / spread**2
    assert found.result.names == ("rear_wheel_rate",)
    effective = found.result.effective_rows
    sd = math.sqrt(1 / weight)
    assert within(
        found.result.estimates[0], (2600 / 250**2 + log / spread**2) / weight, sd / math.sqrt(effective)
    )
    assert found.result.standard_uncertainties[0] == pytest.approx(sd, rel=4 / math.sqrt(2 * effective))


def test_update_from_a_consequence_tells_about_its_causes(small_study: Writer) -> None:
    """Source: normal prior and linear observation (Kalman update); the load is nearly linear in both."""
    folder = small_study()
    # Rear axle load at rest: 5.0 kg g 0.190/0.360 = 25.88 N believed, 27 N measured.
    readings = 27.0 + np.array([-0.02, 0.01, 0.0, 0.03, -0.02, 0.0, 0.01, -0.01])
    write_columns(folder / "mine.csv", {"F": readings})
    study = with_sections(
        folder,
        '[fits.mine]\nkind = "readings"\nfile = "mine.csv"\n'
        'columns = { rear_static_load = { column = "F", unit = "N" } }',
    )
    found = fit(study, "mine", update=True)[0]
    slope = 9.80665 / 0.360 * np.array([0.190, 5.0])
    prior = np.diag([0.1**2, 0.005**2])
    scatter = found.fit.covariance[0, 0]
    gain = prior @ slope / (slope @ prior @ slope + scatter)
    expected = np.array([5.0, 0.190]) + gain * (readings.mean() - 25.876)
    after = prior - np.outer(gain, slope @ prior)
    assert found.result.names == ("mass", "cg_station")
    spread = np.sqrt(np.diag(after))
    assert found.result.estimates == pytest.approx(expected, abs=0.15 * spread.min() / 0.005 * 0.01 + 0.02)
    assert found.result.standard_uncertainties == pytest.approx(spread, rel=0.1)
    assert found.result.correlation[0, 1] == pytest.approx(after[0, 1] / spread.prod(), abs=0.02)
    # A measured consequence does not become an input, and the study can be run with what it tells.
    assert "rear_static_load" not in tomllib.loads(block_of(found))["inputs"]


def test_update_is_refused_when_belief_and_log_hardly_overlap(demo: Path, squatline: Cli) -> None:
    spring_log(demo, 3700, 1)
    with_sections(demo, SPRING)
    answer = squatline("fit", demo, "mine", "--update", "--write")
    assert answer.status == 2
    assert "Not to be used" in answer.out
    assert "mine was not written" in answer.err
    assert not (demo / "fitted").exists()
    # The log alone is a fit like any other; that it contradicts the study is said, not refused.
    answer = squatline("fit", demo, "mine")
    assert answer.status == 0
    assert "4.3 standard uncertainties higher" in " ".join(answer.out.split())


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
    assert record["logs"][0]["rows_read"] == 22_500
    # Half of the rows, without those at no load.
    assert found.fit.rows == 10_000
    assert len(record["residuals"]["residual"]) <= 1000
    assert any("22500 rows thinned to 11250" in note for note in record["notes"])
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
    assert {note.partition(": ")[2] for note in fit_record(with_gaps)["notes"] if "left out" in note} == {
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
    assert "cg_height comes out as -0.005425 m, but must be above 0 m" in answer.out
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
