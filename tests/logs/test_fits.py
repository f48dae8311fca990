"""From the logs a study names to inputs it includes: the loop of measuring, fitting and running again."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from log_help import SPRING, copied, maker_of_demo_logs, spring_log, with_sections, write_columns
from statistics_help import within
from study_help import AIRFIELD, Answer

from explorer import fit, load_study, write_fit
from explorer.analyses.verdicts import CONFIDENCE, judge_outcome
from explorer.engine.montecarlo import run_montecarlo
from explorer.logs.fit_writing import block_of, line_to_add
from explorer.logs.fitting.fit import Fit
from explorer.logs.fitting.spring_test import fit_spring_test
from explorer.logs.kinds.workshop import directions
from explorer.logs.replaced_inputs import replaced_inputs
from explorer.logs.shared_errors import Shared, held_together
from reports.sections.fits import headline

Cli = Callable[..., Answer]
Writer = Callable[..., Path]


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    return copied(tmp_path)


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


@pytest.mark.long
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


# How well: as the estimators, and errors shared with other inputs.


def test_a_study_fits_as_the_estimator_does(demo: Path) -> None:
    """So what is proved of the estimator's intervals holds of the study's."""
    study = with_sections(demo, SPRING)
    load, deflection, _ = spring_log(demo, 2450, 7)
    (found,), alone = fit(study, "mine"), fit_spring_test(load, deflection, loading=directions(load))
    assert found.fit.interval() == pytest.approx(alone.interval(), rel=1e-6)


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
