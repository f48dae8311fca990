"""The wing from its geometry against theory as printed, and against an aerofoil library."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from explorer.graph.tables import read_table
from tests.model_help import DEGREE, SPRINT_CAR, evaluate, value

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
def test_lift_slope_of_a_low_wing(ratio: float, slope: float) -> None:
    """Helmbold's equation, per radian."""
    assert value("wing_lift_slope", GEOMETRY, wing_aspect_ratio=float(ratio)) == pytest.approx(
        slope, abs=5e-5
    )


def test_flap_effectiveness() -> None:
    """Houghton & Carpenter, thin-aerofoil flap, 20 % of the chord: 0.54981."""
    assert value("flap_effectiveness", GEOMETRY, flap_chord_share=0.2) == pytest.approx(0.54981, abs=6e-6)


@pytest.mark.parametrize(("share", "cosine"), [(0.1, 0.8), (0.3, 0.4), (0.5, 0.0)])
def test_flap_effectiveness_from_the_fourier_coefficient(share: float, cosine: float) -> None:
    """The same from Glauert's series: 1 - (phi - sin phi)/pi, cos phi = 2 share - 1."""
    phi = np.arccos(-cosine)
    expected = 1 - (phi - np.sin(phi)) / np.pi
    assert value("flap_effectiveness", GEOMETRY, flap_chord_share=share) == pytest.approx(expected, rel=1e-12)


def test_induced_drag() -> None:
    """C^2 / (pi e AR): coefficient 1, aspect ratio 5, e 1 gives 0.063662."""
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


@pytest.mark.parametrize(
    ("chord_share", "library_flat", "library_cambered"),
    [(0.2, 0.4387, 0.8445 - 0.4952), (0.3, 0.6668, 0.9677 - 0.4952), (0.4, 0.8312, 1.0208 - 0.4952)],
)
def test_flap_against_an_aerofoil_library(
    chord_share: float, library_flat: float, library_cambered: float
) -> None:
    """NeuralFoil 0.3.3 (AeroSandbox 4.2.10), NACA 0012 and 4412 at Re 2e5, 0 degrees, flap 10 degrees.

    Lift gained by the flap.  The default share of the thin-aerofoil effect must come within the two standard
    deviations of 20 % that the file tells a builder to give the downforce factor.
    """
    found = value("wing_downforce_coefficient", GEOMETRY, **{**SECTION, "flap_chord_share": chord_share})
    for library in (library_flat, library_cambered):
        assert abs(found / library - 1) < 0.4


def test_section_slope_against_an_aerofoil_library() -> None:
    """NeuralFoil 0.3.3, lift between -2 and 6 degrees at Re 2e5: the slope of theory within 20 %."""
    found = value("wing_lift_slope", GEOMETRY, wing_aspect_ratio=1e8)
    for low, high in ((-0.3105, 0.6930), (0.2543, 1.1077)):
        assert abs(found / ((high - low) / (8 * DEGREE)) - 1) < 0.2


def test_stall_holds_the_coefficient() -> None:
    """Definition of the input: no more than the highest coefficient."""
    found = value("wing_downforce_coefficient", GEOMETRY, **{**SECTION, "wing_incidence": 1.0})
    assert found == pytest.approx(1.8)


def test_a_wing_from_geometry_carries_a_whole_car() -> None:
    """The rest of the models must not notice where the coefficients come from."""
    car = {name: v for name, v in SPRINT_CAR.items() if "coefficient" not in name or "wing" not in name}
    del car["wing_pitch_slope"]
    shape = {**SECTION, "wing_area": 0.03, "wing_span": 0.3, "wing_incidence": 5 * DEGREE, "speed": 40.0}
    found = evaluate(
        ["wing_downforce_coefficient", "wing_drag_coefficient", "wing_pitch_slope"], shape, GEOMETRY
    )
    as_given = {
        **car,
        "wing_downforce_coefficient": found["wing_downforce_coefficient"],
        "wing_drag_coefficient": found["wing_drag_coefficient"],
        "wing_pitch_slope": found["wing_pitch_slope"],
        "speed": 40.0,
    }
    assert value("pitch", GEOMETRY, **{**car, **shape}) == pytest.approx(
        float(value("pitch", **as_given)), rel=1e-12
    )


def test_a_table_of_two_rows_is_the_straight_line_between_closed_and_open(tmp_path: Path) -> None:
    """The same car by coefficients and by a table of their ends."""
    file = tmp_path / "wing.csv"
    file.write_text("flap_opening,drag_coefficient,downforce_coefficient\n0,0.32,1.55\n1,0.09,0.35\n")
    declared = ("along flap_opening [1]", "drag_coefficient [1]", "downforce_coefficient [1]")
    car = {**SPRINT_CAR, "flap_opening": np.array([0.0, 0.3, 1.0, 1.2])}
    by_table = value(
        "top_speed", {"wing": "table"}, **car, wing_table=read_table(file, declared, key="tables.wing")
    )
    by_ends = value("top_speed", **car)
    np.testing.assert_array_equal(np.isnan(by_table), [False, False, False, True])
    np.testing.assert_allclose(by_table[:3], by_ends[:3], rtol=1e-9)


def test_a_polar_gives_coefficients_and_its_slope_as_pitch_slope(tmp_path: Path) -> None:
    """Definition: a straight polar of slope 2.6 per radian is a wing of pitch slope 2.6."""
    file = tmp_path / "polar.csv"
    rows = "\n".join(f"{a},{0.05 + 0.01 * a},{0.5 + 2.6 * a * DEGREE}" for a in range(-10, 30, 4))
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
    assert found["wing_pitch_slope"][0] == pytest.approx(2.6)
    assert found["wing_downforce_coefficient"][0] == pytest.approx(0.5 + 2.6 * DEGREE)
    assert found["wing_drag_coefficient"][0] == pytest.approx(0.06)
    assert np.isnan(found["wing_pitch_slope"][1])
    assert np.isnan(found["wing_downforce_coefficient"][1])


@pytest.mark.parametrize("incidence", [-5.0, 4.0, 15.0, 40.0])
def test_pitch_slope_is_that_of_the_coefficient(incidence: float) -> None:
    """Finite differences: nose-up pitch takes incidence away; held at the stall there is nothing to lose."""
    wing = {**SECTION, "wing_area": 0.03, "wing_span": 0.25, "flap_opening": 0.0}
    small = 1e-6
    less, more = (
        float(value("wing_downforce_coefficient", GEOMETRY, **wing, wing_incidence=angle))
        for angle in (incidence * DEGREE - small, incidence * DEGREE + small)
    )
    found = float(value("wing_pitch_slope", GEOMETRY, **wing, wing_incidence=incidence * DEGREE))
    assert found == pytest.approx((more - less) / (2 * small), rel=1e-6, abs=1e-12)
    assert (found == 0) == (incidence > 30)
