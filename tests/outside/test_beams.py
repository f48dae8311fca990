"""Beams and struts against handbook values, printed benchmarks and a finite-difference beam."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_bvp
from scipy.linalg import eigvalsh_tridiagonal

from explorer.model.mechanism.mount import wing_mount_moment, wing_mount_section_modulus
from tests.checking import checks
from tests.mechanism_help import link, one

#: 3.5 GPa, 0.3 m, 100 N/m, second moment 8.9580e-10 m4.
BEAM = {
    "link_modulus": 3.5e9,
    "link_span": 0.3,
    "link_second_moment": 8.9580e-10,
    "link_thickness": 0.004,
    "link_normal_force": 30.0,
}


@pytest.mark.parametrize(
    ("fixity", "deflection", "moment"), [(0.0, 3.3639e-3, 1.125), (1.0, 0.67279e-3, 0.75)]
)
@checks("element_bending_moment", "element_mid_span_deflection")
def test_handbook_beam(fixity: float, deflection: float, moment: float) -> None:
    """Value from memory: handbook formulas, 5 w L^4/(384 E I) and w L^4/(384 E I), numbers recomputed."""
    found = link("link_mid_span_deflection", "link_bending_moment", link_end_fixity=fixity, **BEAM)
    assert float(found["link_mid_span_deflection"]) == pytest.approx(deflection, rel=2e-5)
    assert float(found["link_bending_moment"]) == pytest.approx(moment, rel=2e-5)


@pytest.mark.parametrize("spring", [0.5, 3.0, 20.0])
def test_beam_on_rotational_springs(spring: float) -> None:
    """Independent solver: solve_bvp of the beam equation with springs at its ends.

    Fixity is the end moment over that of built-in ends: k/(k + 2 E I/L) for a spring k.
    """
    stiffness = BEAM["link_modulus"] * BEAM["link_second_moment"]
    length, load = BEAM["link_span"], 100.0
    fixity = spring / (spring + 2 * stiffness / length)

    def bend(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.vstack([y[1], y[2], y[3], np.full_like(x, load / stiffness)])

    def ends(left: np.ndarray, right: np.ndarray) -> np.ndarray:
        turn = spring / stiffness
        return np.array([left[0], right[0], left[2] - turn * left[1], right[2] + turn * right[1]])

    places = np.linspace(0, length, 41)
    solved = solve_bvp(bend, ends, places, np.zeros((4, places.size)), tol=1e-10)
    found = link("link_mid_span_deflection", "link_bending_moment", link_end_fixity=fixity, **BEAM)
    assert float(found["link_mid_span_deflection"]) == pytest.approx(solved.sol(length / 2)[0], rel=1e-6)
    largest = stiffness * np.abs(solved.sol(np.linspace(0, length, 401))[2]).max()
    assert float(found["link_bending_moment"]) == pytest.approx(largest, rel=1e-5)


def test_printed_buckling_benchmarks() -> None:
    """Source: printed values for cantilever columns, which buckle like pinned ones of twice the length.

    25 mm square, 1 m, 210 GPa: 16 867 N (benchmark after Timoshenko & Gere, Theory of Elastic Stability,
    ch. 2, in a finite-element code's validation manual, seen).  0.1 m square, 10 m, 30 GPa: 6.168 kN
    (verification example of a structural code, seen).
    """
    for side, length, modulus, expected in ((0.025, 1.0, 210e9, 16_867), (0.1, 10.0, 30e9, 6168)):
        found = link(
            "link_rod_buckling_load",
            link_rod_second_moment=side**4 / 12,
            link_rod_length=2 * length,
            link_rod_modulus=modulus,
        )
        assert float(found["link_rod_buckling_load"]) == pytest.approx(expected, rel=7e-4)


def test_buckling_as_an_eigenvalue() -> None:
    """Independent solver: eigvalsh_tridiagonal on the pinned strut's equation by finite differences."""
    modulus, diameter, bore, length, cells = 120e9, 2e-3, 1e-3, 0.11, 400
    step = length / cells
    inside = cells - 1
    second_moment = np.pi / 4 * (0.001**4 - 0.0005**4)
    lowest = eigvalsh_tridiagonal(
        np.full(inside, 2 / step**2), np.full(inside - 1, -1 / step**2), select="i", select_range=(0, 0)
    )[0]
    found = link(
        "link_rod_buckling_load",
        link_rod_diameter=diameter,
        link_rod_bore=bore,
        link_rod_length=length,
        link_rod_modulus=modulus,
    )
    assert float(found["link_rod_buckling_load"]) == pytest.approx(lowest * modulus * second_moment, rel=1e-5)


def test_second_moment_by_integration() -> None:
    """Value from memory: second moment and section modulus as the integral of height squared, summed here."""
    chord, thickness = 0.028, 0.003
    heights = (np.arange(20_000) + 0.5) / 20_000 * thickness - thickness / 2
    by_integration = chord * thickness * np.mean(heights**2)
    found = link("link_second_moment", "link_section_modulus", link_chord=chord, link_thickness=thickness)
    assert float(found["link_second_moment"]) == pytest.approx(by_integration, rel=1e-6, abs=0)
    assert float(found["link_section_modulus"]) == pytest.approx(
        by_integration / (thickness / 2), rel=1e-6, abs=0
    )


def test_mount_by_hand() -> None:
    """Value from memory: statics and b h^2/6 by hand.

    12 N of drag 0.1 m above the foot and 60 N of downforce 0.03 m behind it, on two mounts.
    """
    moment = wing_mount_moment(1500.0, 1.0, 12 / 1500, 0.17, 0.07, 60 / 1500, 0.41, 0.38, 2.0)  # type: ignore[arg-type]
    assert float(moment) == pytest.approx((1.2 + 1.8) / 2)
    # Handbook: b h^2/6 of 6 mm by 15 mm.
    assert float(wing_mount_section_modulus(0.006, 0.015)) == pytest.approx(225e-9, abs=0)  # type: ignore[arg-type]


def test_mount_margin_through_the_graph() -> None:
    """Value from memory: reserve factor of the mount, strength times section modulus over moment, by hand."""
    wing = {
        "wing_area": 0.04,
        "wing_station": 0.41,
        "wing_height": 0.17,
        "wing_drag_coefficient_closed": 0.3,
        "wing_drag_coefficient_open": 0.1,
        "wing_downforce_coefficient_closed": 1.5,
        "wing_downforce_coefficient_open": 0.4,
        "wing_mount_foot_station": 0.38,
        "wing_mount_foot_height": 0.07,
        "wing_mount_depth": 0.015,
        "wing_mount_width": 0.006,
        "wing_mount_strength": 50e6,
        "load_factor": 1.5,
    }
    moment = 1.5 * 1500 * 0.04 * (0.3 * 0.1 + 1.5 * 0.03) / 2
    assert float(one("wing_mount_strength_margin", **wing)) == pytest.approx(50e6 * 225e-9 / moment)
