"""What is told of the cars beside what a study asks."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from log_help import NEAR_GROUND, copied, with_sections
from study_help import DEMO, ROOT

from explorer import load_study, run
from explorer.analyses.cautions_of_cars import cautions_of_cars
from explorer.graph.words import in_unit
from explorer.study.beside import SEVERAL

GROUND = (
    NEAR_GROUND
    + """
[inputs.splitter_critical_gap]
value = "2.5 mm"
source = "test"
"""
)


@pytest.mark.long
def test_cars_with_several_attitudes_are_counted_and_told(tmp_path: Path) -> None:
    plain = load_study(copied(tmp_path / "plain", DEMO))
    assert not [pair for pair in plain.outputs if pair[0] == "has_several_attitudes"]
    study = with_sections(copied(tmp_path / "near", DEMO), GROUND)
    asked = {pair[1] for pair in study.outputs if pair[0] == "has_several_attitudes"}
    assert asked == {"closed", "open", "closed_fast", "open_fast"}
    level = replace(study, limits=study.limits[4:5], sensitivity_samples=64, sweeps=())
    summary = run(level, samples=2000).summary
    (several,) = [
        one for one in summary.outputs if (one.quantity, one.condition) == ("has_several_attitudes", "open")
    ]
    assert 0.25 < several.mean < 0.45
    several = [
        words
        for words in map(in_unit, summary.cautions_of_cars)
        if "can keep more than one attitude" in words
    ]
    assert any(words.startswith("flap open, ") for words in several)


def test_runs_over_a_map_that_may_jump_are_told() -> None:
    """Where the map of the tests near the ground has two balances, 180 of 512 strips were off, up to 38 %."""
    study = load_study(ROOT / "studies" / "airfield-sprint")
    by_map = study.entries.model_copy(update={"models": {**study.entries.models, "aero": "map"}})
    for one, where, told in ((study, "open", False), (replace(study, entries=by_map), "open", True)):
        (said,) = cautions_of_cars(one, {(SEVERAL, where): 0.2})
        assert ("as if loads changed smoothly" in in_unit(said)) is told


@pytest.mark.long
def test_what_is_of_a_car_on_its_points_says_so(tmp_path: Path) -> None:
    folder = copied(tmp_path, DEMO)
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace('drive = "power"', 'drive = "power"\ncontact = "points"'), encoding="utf-8")
    study = with_sections(folder, '[inputs.contact_friction]\nvalue = 0.3\nsource = "test"\n')
    few = replace(study, limits=study.limits[1:4], sensitivity_samples=64, sweeps=())
    told = [
        words
        for words in map(in_unit, run(few, samples=500).summary.cautions_of_cars)
        if "with a point of their body" in words
    ]
    slow, faster = "flap closed, 45 m/s: ", "flap closed, 55 m/s: 100"
    (fast,) = [words for words in told if words.startswith(faster) and "top speed" not in words]
    assert "pitch, front axle load" in fast
    assert "splitter edge clearance" in fast
    assert "on the wheels too" not in " ".join(told)
    (top,) = [words for words in told if "at top speed" in words and words.startswith(slow)]
    assert "hangs on the contact friction" in top
