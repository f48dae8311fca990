"""Curves of the nominal car, held against the quantities that the run itself prints."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from explorer.analyses.nominal import nominal_values
from explorer.analyses.nominal_curves import nominal_curves, runs_over_strip
from explorer.study.study import load_study

STUDIES = Path(__file__).parents[2] / "studies"


@pytest.fixture(scope="module")
def demo() -> tuple[object, dict[str, dict[str, float | None]]]:
    study = load_study(STUDIES / "three-flap-chase")
    return study, nominal_values(study)


def test_push_meets_resistance_at_the_top_speed(demo: tuple) -> None:  # type: ignore[type-arg]
    study, nominal = demo
    for curves in nominal_curves(study, nominal):
        if curves.along != "speed":
            continue
        spare = np.subtract(curves.values["driving_force"], curves.values["resistance_force"])
        after = int(np.flatnonzero(spare < 0)[0])
        top = nominal[curves.condition]["top_speed"]
        assert top is not None
        assert curves.at[after - 1] <= top <= curves.at[after]


def test_the_travel_runs_from_shut_to_open(demo: tuple) -> None:  # type: ignore[type-arg]
    study, nominal = demo
    (travel,) = [one for one in nominal_curves(study, nominal) if one.along == "flap_opening"]
    values = nominal[travel.condition]
    for element in study.graph.families["element"]:
        angles = travel.values[f"{element}_angle"]
        assert angles[0] == pytest.approx(values[f"{element}_angle_closed"])
        assert angles[-1] == pytest.approx(values[f"{element}_angle_open"])
    needed = max(travel.values["servo_working_torque"])
    in_hand = travel.values["servo_available_torque"][0] - needed
    assert in_hand == pytest.approx(values["servo_torque_in_hand"], abs=1e-3)


def test_a_run_ends_where_the_straight_does(demo: tuple) -> None:  # type: ignore[type-arg]
    study, nominal = demo
    shut, used = runs_over_strip(study, nominal)
    values = nominal[used.condition]
    assert used.speed[-1] == pytest.approx(values["speed_at_braking_point"])
    assert used.braking_distance[-1] == pytest.approx(used.length)
    assert used.braking_speed[-1] == pytest.approx(values["corner_speed"])
    assert used.speed[-1] > shut.speed[-1]
    assert used.starts is not None
    assert shut.starts is None
    # The way that braking takes is the one that the straight is cut by, but for its polynomials.
    assert used.braking_distance[1] == pytest.approx(used.braking_distance[0], abs=0.5)
