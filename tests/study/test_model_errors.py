"""Errors given to computed quantities: what they change, and what they leave to the last bit."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from log_help import copied, with_sections
from scipy.special import ndtr
from statistics_help import within
from study_help import SMALL

from explorer.engine.execution import Execution
from explorer.engine.montecarlo import run_montecarlo
from explorer.engine.plan import make_plan
from explorer.errors import SquatlineError
from explorer.pipeline import run
from explorer.study.study import Study, load_study
from reports.report import Report
from reports.sections import glance


def small(folder: Path, errors: str = "", **more: str) -> Study:
    folder.mkdir(exist_ok=True)
    text = SMALL.format(**{"inputs": "", "conditions": "", "limits": "", **more})
    (folder / "study.toml").write_text(f"{text}\n[model_errors]\n{errors}\n", encoding="utf-8")
    return load_study(folder)


def values_of(study: Study) -> dict[tuple[str, str], np.ndarray]:
    plan = make_plan(study, [pair for limit in study.limits for pair in limit.output.pairs])
    return plan.evaluate(plan.random_chunk(0, 4000))


def test_offset_widens_a_linear_margin_as_the_closed_form_says(tmp_path: Path) -> None:
    study = small(tmp_path, 'front_static_load = { offset = { mean = "0.2 N", sd = "1.5 N" } }')
    found = run_montecarlo(study, samples=40_000, keep=False)
    # Load = g m (1 - x/L) of independent m and x: the spread of the product is exact, nearly normal.
    g, m, s_m, left, s_left = 9.80665, 5.0, 0.1, 1 - 190 / 360, 5 / 360
    mean = g * m * left + 0.2
    sd = math.hypot(g * math.sqrt((m * s_left) ** 2 + (left * s_m) ** 2 + (s_m * s_left) ** 2), 1.5)
    chance = float(ndtr((mean - 23) / sd))
    assert within(found.conforming[0] / 40_000, chance, math.sqrt(chance * (1 - chance) / 40_000))
    assert within(found.tallies[0].sd, sd, sd / math.sqrt(2 * 40_000))


@pytest.mark.long
def test_error_of_exactly_one_or_nothing_changes_no_bit(tmp_path: Path) -> None:
    plain = values_of(load_study(copied(tmp_path / "plain")))
    errors = """
    [model_errors]
    front_compression = { offset = "0 mm" }
    excess_force = { factor = 1.0 }
    front_lift_off_speed = { factor = 1.0 }
    pitch = { offset = "0 deg" }
    """
    study = with_sections(copied(tmp_path / "with"), errors)
    with_errors = values_of(study)
    assert plain.keys() == with_errors.keys()
    for key, values in plain.items():
        assert np.array_equal(values, with_errors[key], equal_nan=True), key


def test_error_of_a_part_reaches_what_builds_on_it_and_no_other_part(tmp_path: Path) -> None:
    plain = load_study(copied(tmp_path / "plain"))
    study = with_sections(copied(tmp_path / "with"), '[model_errors]\npitch = { offset = "1 deg" }')
    part, onward, other = wanted = [
        (name, "closed") for name in ("pitch", "front_downforce", "front_contact_load")
    ]
    before, after = (make_plan(one, wanted) for one in (plain, study))
    was, now = (plan.evaluate(plan.random_chunk(0, 200)) for plan in (before, after))
    assert np.allclose(now[part], was[part] + np.radians(1.0), atol=1e-12)
    assert np.all(now[onward] != was[onward])
    assert np.array_equal(now[other], was[other])


def test_search_that_ends_at_its_cap_stays_not_reached(tmp_path: Path) -> None:
    study = with_sections(
        copied(tmp_path), "[model_errors]\nfront_lift_off_speed = { factor = { mean = 1.0, sd = 0.2 } }"
    )
    cap = float(study.inputs["speed_cap"].distribution.nominal)
    plain = make_plan(load_study(copied(tmp_path / "plain")), [("front_lift_off_speed", "closed")])
    plan = make_plan(study, [("front_lift_off_speed", "closed")])
    (was,) = plain.evaluate(plain.random_chunk(0, 4000)).values()
    (now,) = plan.evaluate(plan.random_chunk(0, 4000)).values()
    assert np.all(now[was >= cap] == cap)
    assert np.all((now <= cap) | np.isnan(now))


def test_error_is_ranked_listed_and_said_on_the_first_page(tmp_path: Path) -> None:
    error = 'front_static_load = { factor = { mean = 1.0, sd = 0.2 }, source = "two days on scales" }'
    study = small(tmp_path, error)
    name = "front_static_load_model_factor"
    found = run(study, samples=2000)
    summary = found.summary
    record = next(one for one in summary.inputs if one.key == name)
    assert record.source == "two days on scales"
    drivers = summary.limits[0].sensitivity
    assert drivers is not None
    assert drivers.indices[0].name == name
    (row,) = [row for row in glance.build(Report(found)).blocks[0].rows if "wrong" in str(row[0])]
    assert "front static load model factor" in str(row)
    silent = run(small(tmp_path / "silent"), samples=200)
    (row,) = [row for row in glance.build(Report(silent)).blocks[0].rows if "wrong" in str(row[0])]
    assert "taken as exact" in str(row)


def test_numbers_with_an_error_hang_on_no_worker_and_streams_on_no_other(tmp_path: Path) -> None:
    study = small(tmp_path, "front_static_load = { factor = { mean = 1.0, sd = 0.2 } }")
    alone = run_montecarlo(study, samples=40_000)
    shared = run_montecarlo(study, samples=40_000, execution=Execution(workers=3))
    plain = run_montecarlo(small(tmp_path / "plain"), samples=40_000)
    assert all(np.array_equal(alone.kept[key], shared.kept[key]) for key in alone.kept)
    assert np.array_equal(alone.kept["mass"], plain.kept["mass"])


@pytest.mark.parametrize(
    ("errors", "said"),
    [
        ("front_static_lod = { factor = 1.1 }", "front_static_load"),
        ("mass = { factor = 1.1 }", "given, not computed"),
        ('front_static_load = { factor = 1.1, offset = "1 N" }', "either a factor"),
        ('front_static_load = { source = "x" }', "either a factor"),
        ('front_static_load = { offset = "1 mm" }', "mm"),
        ("front_static_load = { offset = 1.5 }", "unit"),
        ("front_static_load = { factor = -1 }", "outside what is physically possible"),
        ("front_static_load = { factor = { mean = 1, sd = 0.5 } }", "physically possible"),
        ("front_static_load = { factor = 1.1 }\n[inputs.front_static_load_model_factor]\nvalue = 1", "twice"),
        ("air_temperature_at_the_motor = { offset = 1 }", "no quantity"),
    ],
)
def test_error_that_cannot_be_is_refused_with_its_key(tmp_path: Path, errors: str, said: str) -> None:
    with pytest.raises(SquatlineError, match=said) as caught:
        small(tmp_path, errors)
    assert "model_errors" in str(caught.value)
