"""The rods between horn and arms: pulled, they part or pop off; pushed, they buckle (Euler).

A rod is straight, pinned at both ends, of one round section.  Euler's load holds for slender rods, their
length more than about 25 diameters; a shorter one crushes first, below the load found here.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, given, quantity
from explorer.model.numeric import least, most, over_travel, reserve_factor

element_rod_diameter = given("m", "Outer diameter of the rod.", above=0, usual="0.5 to 6 mm", lever="0.2 mm")
element_rod_bore = given(
    "m", "Inner diameter of the rod; 0 is solid.", default=0.0, at_least=0, usual="0 to 5 mm"
)
element_rod_modulus = given("Pa", "Young's modulus of the rod.", above=0, usual="3 to 210 GPa, typically 70")
element_rod_strength = given(
    "Pa",
    "Tensile strength of the rod, at its threads if it has any.",
    above=0,
    usual="50 to 2000 MPa, typically 400",
)


@quantity("m4", source="ring, pi (D^4 - d^4)/64")
def element_rod_second_moment(element_rod_diameter: Array, element_rod_bore: Array) -> Array:
    """Second moment of area of the rod."""
    return np.pi * ((element_rod_diameter**2) ** 2 - (element_rod_bore**2) ** 2) / 64


@quantity("N", source="area times strength", usual="5 to 2000 N")
def element_rod_pull_strength(
    element_rod_diameter: Array, element_rod_bore: Array, element_rod_strength: Array
) -> Array:
    """Pull that parts the rod; give the force at which a ball link pops off when that was measured."""
    return np.pi * (element_rod_diameter**2 - element_rod_bore**2) / 4 * element_rod_strength


@quantity("N", source="Euler 1744, pinned ends: pi^2 E I / L^2")
def element_rod_buckling_load(
    element_rod_modulus: Array, element_rod_second_moment: Array, element_rod_length: Array
) -> Array:
    """Push at which the rod buckles."""
    return np.pi**2 * element_rod_modulus * element_rod_second_moment / element_rod_length**2


@quantity("N", source="moments about the pivot", fails="the links cannot close")
def element_rod_force(element_closing_moment: Array, load_factor: Array, element_arm_lever: Array) -> Array:
    """Force in the rod that holds the element here, the load factor in it; positive is a push."""
    return -load_factor * element_closing_moment / np.where(element_arm_lever == 0, np.nan, element_arm_lever)


@quantity(
    "N",
    source="largest of nine places of the travel, and of the parabola about it",
    varying={"element_rod_force": "servo_angle"},
    fails="the links cannot close somewhere in the travel",
)
def element_largest_rod_push(
    element_rod_force: Curve, servo_angle_closed: Array, servo_travel: Array
) -> Array:
    """Largest push in the rod through the travel; zero when it is only pulled."""
    return np.maximum(most(over_travel(element_rod_force, servo_angle_closed, servo_travel)), 0)


@quantity(
    "N",
    source="largest of nine places of the travel, and of the parabola about it",
    varying={"element_rod_force": "servo_angle"},
    fails="the links cannot close somewhere in the travel",
)
def element_largest_rod_pull(
    element_rod_force: Curve, servo_angle_closed: Array, servo_travel: Array
) -> Array:
    """Largest pull in the rod through the travel; zero when it is only pushed."""
    return np.maximum(-least(over_travel(element_rod_force, servo_angle_closed, servo_travel)), 0)


@quantity("1", source="definition", capped_by="reserve_cap")
def element_rod_buckling_margin(
    element_rod_buckling_load: Array, element_largest_rod_push: Array, reserve_cap: Array
) -> Array:
    """Reserve factor against buckling: Euler's load over the largest push; below 1 the rod buckles."""
    return reserve_factor(element_rod_buckling_load, element_largest_rod_push, reserve_cap)


@quantity("1", source="definition", capped_by="reserve_cap")
def element_rod_pull_margin(
    element_rod_pull_strength: Array, element_largest_rod_pull: Array, reserve_cap: Array
) -> Array:
    """Reserve factor of the pulled rod: strength over the largest pull; below 1 it parts."""
    return reserve_factor(element_rod_pull_strength, element_largest_rod_pull, reserve_cap)


@quantity("1", source="definition", capped_by="reserve_cap")
def smallest_rod_margin(element_rod_buckling_margin: Array, element_rod_pull_margin: Array) -> Array:
    """Smallest reserve factor of any rod, pushed or pulled."""
    pushed: Array = np.min(element_rod_buckling_margin, axis=0)
    pulled: Array = np.min(element_rod_pull_margin, axis=0)
    return np.minimum(pushed, pulled)
