"""Hinge moments: what the air does to an element about its pivot, and whether it falls shut on its own.

Seen from the left with the front of the car to the left, the air presses on the upper side of an element and
pushes it down and back, square to its chord.  With the centre of pressure ahead of the pivot that push takes
the leading edge down and the trailing edge up: more incidence, towards closed.  So a moment is counted
positive when it closes, and the lever is the pivot's place along the chord less the centre of pressure's.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, Usual, given, quantity
from explorer.model.numeric import least, over_travel

element_normal_coefficient_closed = given(
    "1",
    "Coefficient of the force square to the chord, closed; positive with downforce.",
    usual="0.4 to 1.8, typically 1.0",
)
element_normal_coefficient_open = given(
    "1",
    "Coefficient of the force square to the chord, open; positive with downforce.",
    usual="-0.2 to 0.5, typically 0.15",
)
element_pressure_fraction_closed = given(
    "1",
    "Centre of pressure closed, from the leading edge, as a share of the chord.",
    usual=Usual(
        "0.25",
        "0.38",
        "0.50",
        source="a thin aerofoil unstalled and a plate square to the air; between them judgement",
    ),
)
element_pressure_fraction_open = given(
    "1",
    "Centre of pressure open, from the leading edge, as a share of the chord.",
    usual="0.15 to 0.45, typically 0.30",
)
element_mass = given("kg", "Mass of the element alone.", default=0.0, at_least=0, usual="1 to 300 g")
element_mass_fraction = given(
    "1",
    "Centre of mass of the element, from the leading edge, as a share of the chord.",
    default=0.5,
    usual="0.2 to 0.8",
    lever="0.02",
)
element_pivot_friction_torque = given(
    "N m",
    "Torque that just turns the element in its pivots, no air.",
    default=0.0,
    at_least=0,
    usual="0.2 to 8 N*mm, typically 1.5",
)


@quantity("1", source="linear between the two ends of the travel")
def element_normal_coefficient(
    element_opening: Array, element_normal_coefficient_closed: Array, element_normal_coefficient_open: Array
) -> Array:
    """Coefficient of the force square to the chord at this opening."""
    change = element_normal_coefficient_open - element_normal_coefficient_closed
    return element_normal_coefficient_closed + element_opening * change


@quantity("1", source="linear between the two ends of the travel")
def element_pressure_fraction(
    element_opening: Array, element_pressure_fraction_closed: Array, element_pressure_fraction_open: Array
) -> Array:
    """Centre of pressure at this opening, from the leading edge, as a share of the chord."""
    change = element_pressure_fraction_open - element_pressure_fraction_closed
    return element_pressure_fraction_closed + element_opening * change


@quantity("N", source="definition of the force coefficient")
def element_normal_force(
    dynamic_pressure: Array, wake_loss_rear: Array, element_area: Array, element_normal_coefficient: Array
) -> Array:
    """Force of the air on the element, square to its chord, positive downwards."""
    return dynamic_pressure * (1 - wake_loss_rear) * element_area * element_normal_coefficient


@quantity("N m", source="statics")
def element_weight_moment(
    element_opening: Array,
    element_mass: Array,
    gravity: Array,
    element_chord: Array,
    element_pivot_fraction: Array,
    element_mass_fraction: Array,
    element_design_incidence_closed: Array,
    element_design_incidence_open: Array,
) -> Array:
    """Moment of the element's own weight about its pivot, positive towards closed."""
    turn = element_design_incidence_open - element_design_incidence_closed
    incidence = element_design_incidence_closed + element_opening * turn
    lever = element_chord * (element_pivot_fraction - element_mass_fraction) * np.cos(incidence)
    return element_mass * gravity * lever


@quantity("N m", source="hinge moment q S c Cn (x_pivot - x_cp), plus the weight")
def element_closing_moment(
    element_normal_force: Array,
    element_chord: Array,
    element_pivot_fraction: Array,
    element_pressure_fraction: Array,
    element_weight_moment: Array,
) -> Array:
    """Moment about the pivot of air and weight together, positive towards closed (high downforce).

    Positive when the centre of pressure lies ahead of the pivot.  Friction is not in it.
    """
    lever = element_chord * (element_pivot_fraction - element_pressure_fraction)
    return element_normal_force * lever + element_weight_moment


@quantity(
    "N m",
    source="smallest of nine places of the travel, and of the parabola about it, less friction",
    varying={"element_closing_moment": "element_opening"},
)
def element_fail_safe_moment(element_closing_moment: Curve, element_pivot_friction_torque: Array) -> Array:
    """Smallest moment left to close the element anywhere in its travel, its rod gone and friction overcome.

    Positive: a broken rod lets the element fall shut.  Negative: somewhere it stays open or blows open.
    """
    return least(over_travel(element_closing_moment, 0.0, 1.0)) - element_pivot_friction_torque


@quantity("N m", source="definition")
def smallest_fail_safe_moment(element_fail_safe_moment: Array) -> Array:
    """Smallest fail-safe moment of any element: each has a rod of its own to lose."""
    smallest: Array = np.min(element_fail_safe_moment, axis=0)
    return smallest
