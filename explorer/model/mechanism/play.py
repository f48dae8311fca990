"""Play and give of the drive of an element: spline and gears, horn, rod and its ball links, pivots that rub.

What the air takes up it also takes sides with: as long as its moment is larger than the pivots' friction,
play lies on one side and does not show.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity

servo_play = given(
    "rad",
    "Free turn of the horn, side to side: gears and spline together.",
    at_least=0,
    usual="0 to 3 deg, typically 0.7",
)
servo_stiffness = given(
    "N m/rad",
    "Torque per turn with which the servo, switched on, holds its angle: electronics, gears and spline.",
    above=0,
    usual="1 to 30 N*m/rad, typically 6",
)
element_rod_play = given(
    "m",
    "Free travel along the rod, side to side, of both its ball links together.",
    at_least=0,
    usual="0 to 0.5 mm, typically 0.1",
)


@quantity("rad", source="virtual work, at the horn and at the rod")
def element_play(
    servo_play: Array, element_velocity_ratio: Array, element_rod_play: Array, element_arm_lever: Array
) -> Array:
    """How far the element can be turned by hand at this servo angle, side to side, against no force."""
    lever = np.where(element_arm_lever == 0, np.nan, np.abs(element_arm_lever))
    return servo_play * np.abs(element_velocity_ratio) + element_rod_play / lever


@quantity("N/m", source="bar in tension: E A / L")
def element_rod_stiffness(
    element_rod_modulus: Array,
    element_rod_diameter: Array,
    element_rod_bore: Array,
    element_rod_length: Array,
) -> Array:
    """Pull per lengthening of the rod between its two ends."""
    area = np.pi * (element_rod_diameter**2 - element_rod_bore**2) / 4
    return element_rod_modulus * area / element_rod_length


@quantity("N m/rad", source="springs in series, seen at the pivot by virtual work")
def element_drive_stiffness(
    servo_stiffness: Array,
    element_velocity_ratio: Array,
    element_rod_stiffness: Array,
    element_arm_lever: Array,
) -> Array:
    """Moment per turn with which servo and rod hold the element at this servo angle, play taken up."""
    lever = np.where(element_arm_lever == 0, np.nan, element_arm_lever)
    give = element_velocity_ratio**2 / servo_stiffness + 1 / (element_rod_stiffness * lever**2)
    stiffness: Array = 1 / give
    return stiffness


@quantity("rad", source="moment over stiffness")
def element_give(element_closing_moment: Array, element_drive_stiffness: Array) -> Array:
    """How far air and weight turn the element against its drive, play taken up; positive towards closed."""
    return element_closing_moment / element_drive_stiffness


@quantity("rad", source="Coulomb friction on a spring, and play")
def element_hysteresis(
    element_play: Array,
    element_closing_moment: Array,
    element_pivot_friction_torque: Array,
    element_drive_stiffness: Array,
) -> Array:
    """How far apart the element comes to rest at one servo angle, reached from above and from below."""
    one_sided = np.abs(element_closing_moment) > element_pivot_friction_torque
    rubbing = 2 * element_pivot_friction_torque / element_drive_stiffness
    return np.where(one_sided, 0.0, element_play) + rubbing


@quantity("rad", source="definition")
def largest_play(element_play: Array) -> Array:
    """Largest play of any element at this servo angle, side to side."""
    largest: Array = np.max(element_play, axis=0)
    return largest


@quantity("rad", source="definition")
def largest_hysteresis(element_hysteresis: Array) -> Array:
    """Largest hysteresis of any element at this servo angle."""
    largest: Array = np.max(element_hysteresis, axis=0)
    return largest
