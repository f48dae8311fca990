"""The motion in time near wheel hop."""

from __future__ import annotations

import numpy as np

from tests.model_help import SPRINT_CAR, evaluate

CAR = {
    **{name: v for name, v in SPRINT_CAR.items() if name != "front_wheel_rate"},
    "front_spring_rate": 6000.0,
    "front_motion_ratio": 0.8,
    "front_tyre_stiffness": 22_000.0,
    "front_unsprung_mass": 0.15,
}


def test_the_motion_refuses_bumps_near_wheel_hop() -> None:
    """Definition: speed over bump length against half the hop frequency, on either side of it."""
    names = ["lowest_front_axle_load", "peak_pitch", "wheel_hop_share"]
    lengths = 30.0 / (0.5 * 66.06) * np.array([1.05, 0.95])
    car = {**CAR, "speed": 30.0, "bump_height": 0.003, "bump_length": lengths}
    found = evaluate(names, car)
    np.testing.assert_allclose(found["wheel_hop_share"], [0.5 / 1.05, 0.5 / 0.95], rtol=1e-4)
    for name in names[:2]:
        np.testing.assert_array_equal(np.isnan(found[name]), [False, True])
    massless = evaluate(names, {**car, "front_unsprung_mass": 0.0})
    assert np.all(np.isfinite(massless["lowest_front_axle_load"]))
    assert massless["lowest_front_axle_load"][0] == found["lowest_front_axle_load"][0]
    level = evaluate(names, {**car, "bump_height": 0.0})
    assert np.all(np.isfinite(level["peak_pitch"]))
