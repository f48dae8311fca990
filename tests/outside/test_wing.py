"""The wing from its geometry against theory as printed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import approx_fprime

from explorer.graph.tables import read_table
from tests.checking import checks
from tests.model_help import DEGREE, evaluate, value

GEOMETRY = {"wing": "geometry"}
SECTION = {
    "wing_area": 1.0,
    "wing_span": 1e4,  # as good as a section: aspect ratio 1e8
    "flap_chord_share": 0.2,
    "flap_deflection_closed": 10 * DEGREE,
    "flap_deflection_open": 0.0,
    "wing_downforce_factor": 1.0,
    "wing_drag_factor": 1.0,
}


@pytest.mark.parametrize(("ratio", "slope"), [(1, 1.4833), (2, 2.6026), (3, 3.3627), (5, 4.2539)])
@checks("wing_lift_slope")
def test_lift_slope_of_a_low_wing(ratio: float, slope: float) -> None:
    """Value from memory: Helmbold's equation, per radian."""
    assert value("wing_lift_slope", GEOMETRY, wing_aspect_ratio=float(ratio)) == pytest.approx(
        slope, abs=5e-5
    )


@checks("flap_effectiveness")
def test_flap_effectiveness() -> None:
    """Source: Houghton & Carpenter, Aerodynamics for Engineering Students, ch. 4 (flapped aerofoil).

    20 % of the chord: 0.54981.
    """
    assert value("flap_effectiveness", GEOMETRY, flap_chord_share=0.2) == pytest.approx(0.54981, abs=6e-6)


@pytest.mark.parametrize(("share", "cosine"), [(0.1, 0.8), (0.3, 0.4), (0.5, 0.0)])
def test_flap_effectiveness_from_the_fourier_coefficient(share: float, cosine: float) -> None:
    """Value from memory: Glauert's series, 1 - (phi - sin phi)/pi, cos phi = 2 share - 1."""
    phi = np.arccos(-cosine)
    expected = 1 - (phi - np.sin(phi)) / np.pi
    assert value("flap_effectiveness", GEOMETRY, flap_chord_share=share) == pytest.approx(expected, rel=1e-12)


@checks("wing_geometry.wing_drag_coefficient")
def test_induced_drag() -> None:
    """Value from memory: C^2 / (pi e AR): coefficient 1, aspect ratio 5, e 1 gives 0.063662."""
    found = value(
        "wing_drag_coefficient",
        GEOMETRY,
        wing_downforce_coefficient=1.0,
        wing_aspect_ratio=5.0,
        wing_span_efficiency=1.0,
        wing_profile_drag_coefficient=0.0,
        wing_drag_factor=1.0,
    )
    assert found == pytest.approx(0.063662, abs=5e-7)


@checks(
    "wing_polar.wing_downforce_coefficient", "wing_polar.wing_drag_coefficient", "wing_polar.wing_pitch_slope"
)
def test_a_polar_gives_coefficients_and_its_slope_as_pitch_slope(tmp_path: Path) -> None:
    """Independent library: numpy.interp on the rows of the polar, and their slope."""
    file = tmp_path / "polar.csv"
    angles, drags = np.arange(-10.0, 30.0, 4.0), np.linspace(0.02, 0.3, 10) ** 2
    lifts = 0.5 + 2.6 * DEGREE * angles - 0.0009 * angles**2
    rows = "\n".join(f"{a},{d},{c}" for a, d, c in zip(angles, drags, lifts, strict=True))
    file.write_text("incidence,drag_coefficient,downforce_coefficient\n" + rows)
    declared = ("along incidence [rad]", "drag_coefficient [1]", "downforce_coefficient [1]")
    polar = read_table(file, declared, {"incidence": "deg"}, key="tables.wing_polar")
    found = evaluate(
        ["wing_pitch_slope", "wing_downforce_coefficient", "wing_drag_coefficient"],
        {
            "wing_polar": polar,
            "wing_incidence_closed": 13 * DEGREE,
            "wing_incidence_open": np.array([1.0, -20.0]) * DEGREE,
            "flap_opening": 1.0,
        },
        {"wing": "polar"},
    )
    slope = np.interp(1.5, angles, lifts) - np.interp(0.5, angles, lifts)
    assert found["wing_pitch_slope"][0] == pytest.approx(slope / DEGREE)
    assert found["wing_downforce_coefficient"][0] == pytest.approx(np.interp(1.0, angles, lifts))
    assert found["wing_drag_coefficient"][0] == pytest.approx(np.interp(1.0, angles, drags))
    assert np.isnan(found["wing_pitch_slope"][1])
    assert np.isnan(found["wing_downforce_coefficient"][1])


@pytest.mark.parametrize("incidence", [-5.0, 4.0, 15.0, 40.0])
def test_pitch_slope_is_that_of_the_coefficient(incidence: float) -> None:
    """Independent solver: approx_fprime; nose-up pitch takes incidence away.

    None is left to lose past the stall.
    """
    wing = {**SECTION, "wing_area": 0.03, "wing_span": 0.25, "flap_opening": 0.0}

    def coefficient(angle: np.ndarray) -> float:
        return float(value("wing_downforce_coefficient", GEOMETRY, **wing, wing_incidence=angle.item()))

    slope = approx_fprime(np.array([incidence * DEGREE]), coefficient, 1e-6)[0]
    found = float(value("wing_pitch_slope", GEOMETRY, **wing, wing_incidence=incidence * DEGREE))
    assert found == pytest.approx(slope, rel=1e-6, abs=1e-12)
    assert (found == 0) == (incidence > 30)
