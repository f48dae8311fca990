"""Air forces: a wake, thinner air, and a ground effect that is switched off."""

from __future__ import annotations

import numpy as np
import pytest

from tests.model_help import SPRINT_CAR, evaluate, value

GROUND = {
    "splitter_ground_gain": 0.6,
    "splitter_gap_at_rest": 0.010,
    "splitter_reference_gap": 0.010,
    "splitter_critical_gap": 0.005,
}


def test_a_wake_takes_front_load_and_gives_speed() -> None:
    """Common practice, no source: a following car loses its nose and gains on the straight."""
    alone = evaluate(["front_axle_load", "top_speed", "drag_area"], {**SPRINT_CAR, "speed": 30.0})
    behind = evaluate(
        ["front_axle_load", "top_speed", "drag_area"],
        {**SPRINT_CAR, "speed": 30.0, "wake_loss_front": 0.3, "wake_loss_rear": 0.15},
    )
    assert behind["top_speed"] > alone["top_speed"]
    assert behind["drag_area"] == pytest.approx(0.7 * 0.03 + 0.85 * 0.0096)


def test_an_even_wake_is_thinner_air_for_the_aero() -> None:
    """Identity: the same share lost everywhere is the same as that much less density."""
    names = ["front_axle_load", "rear_axle_load", "pitch", "top_speed"]
    wake = evaluate(names, {**SPRINT_CAR, "speed": 40.0, "wake_loss_front": 0.2, "wake_loss_rear": 0.2})
    thin = evaluate(names, {**SPRINT_CAR, "speed": 40.0, "air_density": 0.96})
    for name in names:
        assert wake[name] == pytest.approx(thin[name], rel=1e-9)


def test_a_gain_of_zero_leaves_every_bit_alone() -> None:
    """Switched off for some samples only, those must be as if it did not exist."""
    car = {**SPRINT_CAR, **GROUND, "speed": 40.0}
    mixed = value("front_axle_load", **{**car, "splitter_ground_gain": np.array([0.0, 0.6])})
    assert mixed[0] == pytest.approx(
        float(value("front_axle_load", **{**car, "splitter_ground_gain": 0.0})), rel=1e-12
    )
