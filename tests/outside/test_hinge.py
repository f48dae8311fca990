"""Hinge moments against thin-aerofoil theory and the cross product; the fail-safe against the trade."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize_scalar

from tests.mechanism_help import DEGREE, FLAPS, ask, one

PRESSURE = 0.5 * 1.2 * 50.0**2


def test_flat_plate_about_any_pivot() -> None:
    """Independent library: scipy's quad of the load of a flat plate, cn = 2 pi alpha, about the pivot.

    Houghton & Carpenter, Aerodynamics for Engineering Students: load 4 alpha sqrt((1 - x)/x), value from
    memory.
    """
    alpha, pivot, chord, span = 4 * DEGREE, 0.42, 0.030, 0.248

    def moment_density(root: float) -> float:
        # x = root**2 takes the singular leading edge out of the integral.
        x = root**2
        return 4 * alpha * np.sqrt(1 - x) / root * (pivot - x) * 2 * root

    about_pivot = PRESSURE * chord**2 * span * quad(moment_density, 0, 1)[0]
    found = one(
        "lower_flap_closing_moment",
        lower_flap_opening=0.0,
        lower_flap_mass=0.0,
        lower_flap_pivot_fraction=pivot,
        lower_flap_normal_coefficient_closed=2 * np.pi * alpha,
        lower_flap_pressure_fraction_closed=0.25,
    )
    assert float(found) == pytest.approx(about_pivot, rel=1e-9)


@pytest.mark.parametrize("flap", FLAPS)
def test_sign_by_the_cross_product(flap: str) -> None:
    """Value from memory: force and weight at their places, crossed with their arms; anticlockwise closes.

    Seen from the left a turn anticlockwise raises the trailing edge, which is more incidence.
    """
    names = [f"{flap}_{name}" for name in ("normal_force", "closing_moment", "angle")]
    force, moment, _ = (float(value) for value in ask(*names, flap_opening=0.0).values())
    inputs = {
        name: float(one(f"{flap}_{name}"))
        for name in ("chord", "pivot_fraction", "mass", "mass_fraction", "design_incidence_closed")
    }
    centre = float(one(f"{flap}_pressure_fraction_closed"))
    along = np.exp(1j * inputs["design_incidence_closed"])
    air = force * -1j * along
    weight = -1j * inputs["mass"] * 9.80665
    arms = [
        inputs["chord"] * (place - inputs["pivot_fraction"]) * along
        for place in (centre, inputs["mass_fraction"])
    ]
    crossed = sum((arm.conjugate() * load).imag for arm, load in zip(arms, (air, weight), strict=True))
    assert moment == pytest.approx(crossed, rel=1e-9)
    assert air.imag < 0
    assert moment > 0


def test_smallest_moment_by_a_minimiser() -> None:
    """Independent solver: scipy's minimize_scalar on the closing moment over the travel."""
    # A centre of pressure that wanders back and forth puts the smallest value inside the travel.
    changes = {
        "lower_flap_normal_coefficient_closed": 0.2,
        "lower_flap_normal_coefficient_open": 1.2,
        "lower_flap_pressure_fraction_closed": 0.30,
        "lower_flap_pressure_fraction_open": 0.62,
        "lower_flap_mass": 0.4,
        "lower_flap_mass_fraction": 0.1,
    }

    def moment(opening: float) -> float:
        return float(one("lower_flap_closing_moment", lower_flap_opening=opening, **changes))

    best = minimize_scalar(moment, bounds=(0, 1), method="bounded")
    travel = moment(0.0) - best.fun
    found = float(one("lower_flap_fail_safe_moment", **changes, lower_flap_pivot_friction_torque=0.0))
    assert found == pytest.approx(best.fun, abs=0.002 * abs(travel))


def test_centre_of_pressure_ahead_of_the_pivot_pushes_a_free_element_shut() -> None:
    """Common practice, no source: a centre of pressure ahead of the pivot pushes a free element shut."""
    for ahead, shuts in ((0.05, True), (-0.05, False)):
        moved = {
            f"{flap}_pressure_fraction_{end}": 0.5 - ahead for flap in FLAPS for end in ("closed", "open")
        }
        assert (float(one("smallest_fail_safe_moment", **moved)) > 0) == shuts
