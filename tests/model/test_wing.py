"""The wing's variants give the rest of the models the same car."""

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
