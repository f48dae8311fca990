"""Limits of safety on a car that stands on a point of its body."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from log_help import copied, on_points
from study_help import DEMO

from explorer.analyses.standing import standing_cars
from explorer.engine.plan import make_plan
from explorer.errors import SquatlineError
from explorer.study.builds import AS_IT_STANDS, Build
from explorer.study.distributions import Exact
from explorer.study.study import Study, load_study


def shares(study: Study) -> dict[str, float]:
    """Return the share of 1 000 cars that meets each limit."""
    plan = make_plan(study, [pair for limit in study.limits for pair in limit.output.pairs])
    values = plan.evaluate(plan.random_chunk(0, 1000))
    return {limit.name: float(np.mean(limit.margin_in(values) >= 0)) for limit in study.limits}


def test_no_safety_limit_is_met_by_standing_on_a_point(tmp_path: Path) -> None:
    lifts = "Front wheels stay down, closed up to 55 m/s"
    plain, points = load_study(copied(tmp_path / "plain", DEMO)), on_points(tmp_path / "points")
    meant = ("probability = 0.99\nsafety = true", "probability = 0.99\nsafety = true\nstanding_counts = true")
    counted = shares(on_points(tmp_path / "counted", meant))
    before, after = shares(plain), shares(points)
    safe = [limit.name for limit in plain.limits if limit.safety]
    assert len(safe) == 3
    for name in safe:
        assert after[name] <= before[name]
    assert counted[lifts] > after[lifts] + 0.1
    judged = {limit.name: limit.output.quantity for limit in points.limits}
    assert judged[lifts] == "front_lift_off_speed_on_wheels_alone"
    assert judged["Fast enough with the flap open"] == "top_speed"
    assert ("stands_on_a_point", "closed_fast") in points.outputs


def test_builds_and_sweeps_say_where_cars_stand_on_a_point(tmp_path: Path) -> None:
    """Of the car as it stands most do at speed; of one set high none does, and nothing is said of it."""
    study = on_points(tmp_path)
    high = replace(study.inputs["cg_height"], quantity="points_carry", key="points_carry@high")
    off = Build("high", "high", {"points_carry": replace(high, distribution=Exact(0.0))})
    (told,) = standing_cars(study, [AS_IT_STANDS, off])
    assert told.startswith("as it stands: of its cars")
    assert "100\N{NO-BREAK SPACE}% in closed_fast" in told
    assert "stands_on_a_point" in study.sweeps[0].quantities
    plain = load_study(DEMO)
    assert not list(standing_cars(plain, [AS_IT_STANDS]))
    assert "stands_on_a_point" not in plain.sweeps[0].quantities


def test_points_that_carry_need_points_and_friction(tmp_path: Path) -> None:
    with pytest.raises(SquatlineError, match="contact_friction"):
        on_points(tmp_path / "smooth", sections="")
    study = copied(tmp_path / "none", DEMO)
    file = study / "study.toml"
    text = file.read_text(encoding="utf-8")
    text = text.replace('point = ["rear_floor_edge", "splitter_edge"]', "")
    text = text.replace('drive = "power"', 'drive = "power"\ncontact = "points"')
    file.write_text(text, encoding="utf-8")
    with pytest.raises(SquatlineError, match="names none"):
        load_study(study)
