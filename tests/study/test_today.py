"""``[today]``: what varies is given as it was read, all else stays, and the run says the speeds for it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from study_help import SMALL, Answer

from explorer.analyses.odd_combinations import odd_inputs
from explorer.engine.fingerprint import CHOOSING, fingerprint
from explorer.errors import SquatlineError
from explorer.graph.words import in_unit
from explorer.pipeline import run
from explorer.results.stored import Results
from explorer.study.study import Study, load_study
from reports.report import Report
from reports.sections.decision import in_short
from reports.terminal import show_blocks

INPUTS = """
air_temperature = { mean = 15, sd = 5, unit = "degC", source = "test" }
headwind = { mean = 0, sd = 3, unit = "m/s", source = "test" }
"""
FAST = '[conditions.fast]\nspeed = "30 m/s"\n'
LIMITS = """
[[limits]]
name = "pressure"
quantity = "dynamic_pressure"
condition = "fast"
at_most = "500 Pa"
probability = 0.9
safety = true
"""
READ = '[today]\nheadwind = "2 ± 1 m/s"\n'


def study_of(folder: Path, today: str = "", inputs: str = INPUTS, conditions: str = FAST) -> Study:
    folder.mkdir(exist_ok=True)
    text = SMALL.format(inputs=inputs, conditions=conditions, limits=LIMITS + today)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return load_study(folder)


def test_a_reading_far_from_any_day_is_cautioned(tmp_path: Path) -> None:
    far = study_of(tmp_path, '[today]\nheadwind = "40 ± 1 m/s"\n')
    assert any("far from the" in in_unit(one) and "headwind" in in_unit(one) for one in odd_inputs(far))
    assert not any("far from the" in in_unit(one) for one in odd_inputs(study_of(tmp_path, READ)))


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> tuple[Results, Results]:
    folder = tmp_path_factory.mktemp("today")
    return run(study_of(folder / "any")), run(study_of(folder / "today", READ))


def test_what_was_read_takes_the_place_of_what_any_day_may_bring(tmp_path: Path) -> None:
    study = study_of(tmp_path, READ)
    wind = study.inputs["headwind"]
    assert (wind.distribution.mean, wind.distribution.sd) == (2.0, 0.5)
    assert (wind.key, wind.stream, wind.varies, wind.source) == (
        "headwind",
        "headwind",
        True,
        "read on the day",
    )
    before = study.on_any_day
    assert before.inputs["headwind"].distribution.sd == 3
    assert before.on_any_day is before
    assert study.inputs["air_temperature"] == before.inputs["air_temperature"]


def test_without_it_nothing_changes_and_with_it_the_fingerprint(tmp_path: Path) -> None:
    plain, read = study_of(tmp_path / "a"), study_of(tmp_path / "b", READ)
    warmer = study_of(tmp_path / "c", READ.replace("2 ±", "3 ±"))
    assert plain.on_any_day is plain
    assert len({fingerprint(one, CHOOSING) for one in (plain, read, warmer)}) == 3


def test_a_default_of_the_day_can_be_read(tmp_path: Path) -> None:
    study = study_of(tmp_path, READ, inputs='air_temperature = "15 degC"')
    assert study.inputs["headwind"].distribution.mean == 2
    assert study.on_any_day.inputs["headwind"].default


def test_speeds_for_the_day_are_those_of_its_wind(results: tuple[Results, Results]) -> None:
    """The air's pressure of motion is bounded, so 2 m/s of headwind take 2 m/s off the speed on average."""
    any_day, today = (one.summary for one in results)
    assert any_day.highest_speed is None
    assert not any_day.today
    assert today.highest_speed is not None
    (state,) = today.highest_speed.states
    # 500 Pa in air of 1.2 kg/m3 is an airspeed of 28.8 m/s; of the wind nine in ten stay below 2.64 m/s.
    density = next(one for one in today.inputs if one.key == "air_temperature")
    assert density.any_day is None
    assert state.speed == pytest.approx(28.6 - 2.64, abs=0.4)
    (wind,) = today.today
    assert (wind.nominal, wind.varies) == (2.0, True)


def test_page_one_and_terminal_say_it(
    results: tuple[Results, Results], capsys: pytest.CaptureFixture[str]
) -> None:
    for one, there in zip(results, (False, True), strict=True):
        show_blocks(in_short(Report(one)))
        text = " ".join(capsys.readouterr().out.split())
        assert ("Judged for today. Headwind normal, mean 2.00 m/s" in text) is there
        assert ("any day: normal, mean 0.0 m/s" in text) is there
        assert ("Today: Flap closed: all safety limits are met up to" in text) is there


@pytest.mark.long
def test_run_says_it_as_data(tmp_path: Path, squatline: Callable[..., Answer]) -> None:
    study_of(tmp_path, READ)
    said = json.loads(squatline("run", str(tmp_path), "--json", "--no-report", "--samples", "2000").out)
    assert list(said["today"]) == ["headwind"]
    assert "all safety limits are met up to" in said["highest_speed"]["headline"]


def test_what_goes_together_is_read_together(tmp_path: Path) -> None:
    together = '[[correlations]]\nbetween = ["headwind", "air_temperature"]\nvalue = 0.5\n'
    with pytest.raises(SquatlineError, match="give air_temperature under"):
        study_of(tmp_path / "one", READ + together)
    both = study_of(tmp_path / "both", READ + 'air_temperature = "18 degC"\n' + together)
    assert not both.correlations
    assert len(both.on_any_day.correlations) == 1


@pytest.mark.parametrize(
    ("today", "conditions", "remedy"),
    [
        ('mass = "5 kg"', FAST, "one true value on every day"),
        ('air_density = "1.2 kg/m3"', FAST, "with varies = true"),
        ('headwindd = "5 m/s"', FAST, "headwind"),
        (
            'headwind = "5 m/s"',
            'headwind = "0 m/s"\n[conditions.fast]\nspeed = "30 m/s"\nheadwind = "1 m/s"\n',
            "take it out",
        ),
    ],
)
def test_mistakes_have_a_remedy(tmp_path: Path, today: str, conditions: str, remedy: str) -> None:
    with pytest.raises(SquatlineError, match=remedy) as caught:
        study_of(tmp_path, f"[today]\n{today}\n", conditions=conditions)
    assert any(f"today.{today.split()[0]}" == one.key for one in caught.value.each)
    assert all(one.line for one in caught.value.each)
