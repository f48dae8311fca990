"""An input whose mean is not known and that varies about it from run to run: two inputs, each of its kind."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from study_help import SMALL, Answer

from explorer.analyses.two_levels import sure_cars, sureness_of
from explorer.analyses.ways_to_measure import ways_to_measure
from explorer.console.explain import explain_quantity
from explorer.engine.plan import make_plan
from explorer.errors import SquatlineError
from explorer.logs.test_conditions import day_of_log
from explorer.pipeline import run
from explorer.study.builds import find_build
from explorer.study.study import Study, load_study
from reports.report import Report
from reports.sections import sensitivity

BOTH = 'cg_station = { mean = 190, sd = 5, unit = "mm", source = "test", varies = "3 mm" }'
ALONE = 'cg_station = {{ mean = 190, sd = 5, unit = "mm", source = "test" }}'
FAST = '[conditions.fast]\nspeed = "30 m/s"\ncg_station = "191 mm"\n'
SURE = "probability = 0.9\nsure = 0.9"


def study_of(folder: Path, both: str = BOTH, conditions: str = "", more: str = "", asked: str = "") -> Study:
    folder.mkdir(exist_ok=True)
    text = SMALL.replace(ALONE, "{both}").format(both=both, inputs="", conditions=conditions, limits=more)
    text = text.replace("probability = 0.5", asked or "probability = 0.5")
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return load_study(folder)


def test_mean_and_day_are_drawn_apart_and_their_sum_is_read(tmp_path: Path) -> None:
    study, alone = (
        study_of(tmp_path / "both"),
        study_of(tmp_path / "alone", BOTH.replace(', varies = "3 mm"', "")),
    )
    wanted = [("front_static_load", "rest")]
    plan, before = make_plan(study, wanted), make_plan(alone, wanted)
    drawn, as_before = plan.random_chunk(0, 8000), before.random_chunk(0, 8000)
    # What else is drawn, and the mean, are to the last bit what they are without a day.
    assert all(np.array_equal(drawn[key], as_before[key]) for key in as_before)
    day = drawn["cg_station_of_the_day"]
    assert day.std() == pytest.approx(0.003, rel=0.03)
    load = plan.evaluate(drawn)["front_static_load", "rest"]
    expected = 9.80665 * drawn["mass"] * (1 - (drawn["cg_station"] + day) / 0.36)
    assert load == pytest.approx(expected, rel=1e-12)


def test_sure_takes_the_mean_as_of_the_car_and_the_day_as_of_the_day(tmp_path: Path) -> None:
    found = sureness_of(one := study_of(tmp_path, asked=SURE), sure_cars(one))["front load"]
    car = math.hypot(9.80665 * 5 * 5 / 360, 9.80665 * 170 / 360 * 0.1)
    day = 9.80665 * 5 * 3 / 360
    assert found.ignorance == pytest.approx(car**2 / (car**2 + day**2), abs=0.05)


def test_only_the_mean_is_offered_for_measuring_and_the_ranking_names_both(tmp_path: Path) -> None:
    study = study_of(tmp_path)
    ways = ways_to_measure(study)
    named = {key for one in ways.measurements for key in one.reads} | set(ways.unread)
    assert "cg_station" in named
    assert "cg_station_of_the_day" not in named
    found = run(study, samples=2000)
    ranked = found.summary.limits[0].sensitivity
    assert ranked is not None
    assert {"cg_station", "cg_station_of_the_day"} <= {one.name for one in ranked.indices}
    assert {one.key: one.varies for one in found.summary.inputs if one.quantity.startswith("cg_station")} == {
        "cg_station": False,
        "cg_station_of_the_day": True,
    }
    words = str(sensitivity.build(Report(found)))
    assert "Of what could be learnt the centre of gravity station leads" in words
    assert "can only be read on the day, the centre of gravity station of the day" in words


def test_an_entry_says_all_of_both(tmp_path: Path) -> None:
    """A condition, a candidate, a log or a reading of the day that says no day has none."""
    more = '[candidates.back]\ncg_station = "195 mm"\n[today]\ncg_station = "192 ± 1 mm"\n'
    study = study_of(tmp_path, conditions=FAST, more=more)
    assert study.given_in("fast")["cg_station_of_the_day"].exact
    assert find_build(study, "back").scope(study, "rest")["cg_station_of_the_day"].exact
    today, any_day = study.inputs, study.on_any_day.inputs
    assert today["cg_station"].distribution.sd == pytest.approx(0.0005)
    assert today["cg_station"].varies
    assert today["cg_station_of_the_day"].exact
    assert any_day["cg_station_of_the_day"].distribution.sd == pytest.approx(0.003)
    log = day_of_log(study.on_any_day, {"cg_station": "192 ± 1 mm"}, {}, "fits.one.known")
    spread = [day_of_log(study.on_any_day, {}, {}, "fits.one.known"), log]
    known = [one.required("cg_station").standard_uncertainty for one in spread]
    assert known == pytest.approx([math.hypot(5e-3, 3e-3), 5e-4], rel=0.03)


def test_an_included_fit_leaves_the_day_as_it_was(tmp_path: Path) -> None:
    (tmp_path / "fitted.toml").write_text(
        '[inputs]\ncg_station = { mean = 189, sd = 1, unit = "mm", source = "fit" }\n', encoding="utf-8"
    )
    study_of(tmp_path)
    text = (tmp_path / "study.toml").read_text(encoding="utf-8")
    (tmp_path / "study.toml").write_text('include = ["fitted.toml"]\n' + text, encoding="utf-8")
    study = load_study(tmp_path)
    assert study.inputs["cg_station"].distribution.mean == pytest.approx(0.189)
    assert study.inputs["cg_station_of_the_day"].distribution.sd == pytest.approx(0.003)
    assert study.without("fitted.toml").inputs["cg_station"].distribution.mean == pytest.approx(0.19)


def test_explain_and_check_tell_both(tmp_path: Path, squatline: Callable[..., Answer]) -> None:
    study = study_of(tmp_path)
    assert "cg_station_in_a_run" in explain_quantity("cg_station", study).used_by
    total = explain_quantity("cg_station_in_a_run", study).values[0].sampled
    assert total is not None
    assert total.sd == pytest.approx(math.hypot(5e-3, 3e-3), rel=0.03)
    assert (
        "vary from run to run: centre of gravity station of the day" in squatline("check", str(tmp_path)).out
    )


@pytest.mark.parametrize(
    ("varies", "said"),
    [
        ('"often"', "varies = true"),
        ('"-3 mm"', "above zero"),
        ('"3 kg"', "varies = true"),
        ('"0 %"', "above zero"),
    ],
)
def test_mistakes_have_a_remedy(tmp_path: Path, varies: str, said: str) -> None:
    with pytest.raises(SquatlineError) as caught:
        study_of(tmp_path, BOTH.replace('"3 mm"', varies))
    (one,) = caught.value.each
    assert one.key == "inputs.cg_station.varies"
    assert one.line
    assert said in f"{one.problem} {one.remedy} {one.allowed}"


def test_a_temperature_and_what_a_model_tries_are_refused(tmp_path: Path) -> None:
    warm = '\nair_temperature = { mean = 15, sd = 3, unit = "degC", source = "test", varies = "2 degC" }'
    with pytest.raises(SquatlineError, match="no zero of its own"):
        study_of(tmp_path / "warm", BOTH + warm)
    fast = '[conditions.fast]\nspeed = { value = "30 m/s", varies = "1 m/s" }\n'
    with pytest.raises(SquatlineError, match="tries this quantity at several values"):
        study_of(tmp_path / "fast", conditions=fast)
    error = (
        '[model_errors]\nweight = { factor = { mean = 1.0, sd = 0.01, varies = "1 %" }, source = "test" }\n'
    )
    with pytest.raises(SquatlineError, match="said under"):
        study_of(tmp_path / "error", more=error)
