"""Does every element come level?  Angles at the two ends of the travel, and the horn radius that would do it.

Two elements at different incidence turn through different angles, so on one servo they need different horn
radii to come level together.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, quantity


@quantity(
    "rad",
    source="definition",
    varying={"element_angle": "servo_angle"},
    fails="the links cannot close with the servo at its closed end",
)
def element_angle_closed(element_angle: Curve, servo_angle_closed: Array) -> Array:
    """Incidence the linkage gives the element at the closed end of the servo's travel."""
    return element_angle(servo_angle_closed)


@quantity(
    "rad",
    source="definition",
    varying={"element_angle": "servo_angle"},
    fails="the links cannot close with the servo at its open end",
)
def element_angle_open(element_angle: Curve, servo_angle_closed: Array, servo_travel: Array) -> Array:
    """Incidence the linkage gives the element at the open end of the servo's travel."""
    return element_angle(servo_angle_closed + servo_travel)


@quantity("rad", source="definition")
def element_travel(element_angle_closed: Array, element_angle_open: Array) -> Array:
    """Turn of the element from closed to open; negative as it opens towards less incidence."""
    return element_angle_open - element_angle_closed


@quantity("1", source="definition", fails="the linkage does not turn the element")
def element_opening(element_angle: Array, element_angle_closed: Array, element_travel: Array) -> Array:
    """How far through its own travel the element is: 0 closed, 1 open."""
    moves = np.where(element_travel == 0, np.nan, element_travel)
    return (element_angle - element_angle_closed) / moves


@quantity("rad", source="definition")
def element_level_error(element_angle_open: Array, element_design_incidence_open: Array) -> Array:
    """How far the open element is from its design incidence; positive when it has not opened enough."""
    return element_angle_open - element_design_incidence_open


@quantity("rad", source="definition", fails="the links of some element cannot close")
def largest_level_error(element_level_error: Array) -> Array:
    """Largest distance of any open element from its design incidence, whichever way."""
    largest: Array = np.max(np.abs(element_level_error), axis=0)
    return largest


@quantity("rad", source="definition", fails="the links of some element cannot close")
def level_difference(element_level_error: Array) -> Array:
    """Largest difference between two elements in how far they miss their open incidence."""
    difference: Array = np.ptp(element_level_error, axis=0)
    return difference


@quantity(
    "m",
    source="two-position synthesis: Freudenstein's equation at both ends, rod length eliminated",
    fails="no horn radius brings the element level without passing a dead point",
)
def element_level_horn_radius(
    servo_angle_closed: Array,
    servo_travel: Array,
    element_horn_offset: Array,
    servo_axis_station: Array,
    servo_axis_height: Array,
    element_pivot_station: Array,
    element_pivot_height: Array,
    element_arm_length: Array,
    element_arm_angle: Array,
    element_design_incidence_closed: Array,
    element_design_incidence_open: Array,
) -> Array:
    """Horn radius at which the element is exactly at its design incidence closed and open.

    The rod is set anew so that the closed incidence holds; that it has the same length at both ends of the
    travel is then one linear equation for the radius.
    """
    back, up = element_pivot_station - servo_axis_station, element_pivot_height - servo_axis_height
    horn = servo_angle_closed + element_horn_offset
    arm = element_arm_angle + element_design_incidence_closed
    open_arm = element_arm_angle + element_design_incidence_open
    square, along = _arm_pin(back, up, element_arm_length, arm, horn)
    open_square, open_along = _arm_pin(back, up, element_arm_length, open_arm, horn + servo_travel)
    radius = (square - open_square) / (2 * np.where(along == open_along, np.nan, along - open_along))
    side = _side(back, up, radius, arm, horn) * _side(back, up, radius, open_arm, horn + servo_travel)
    return np.where((radius > 0) & (side > 0), radius, np.nan)


def _arm_pin(back: Array, up: Array, arm_length: Array, arm: Array, horn: Array) -> tuple[Array, Array]:
    """Place of the arm pin seen from the servo axis: distance squared, and distance along the horn."""
    pin_back, pin_up = back + arm_length * np.cos(arm), up + arm_length * np.sin(arm)
    return pin_back**2 + pin_up**2, pin_back * np.cos(horn) + pin_up * np.sin(horn)


def _side(back: Array, up: Array, horn_radius: Array, arm: Array, horn: Array) -> Array:
    """Positive when the arm lies anticlockwise of the line from pivot to horn pin."""
    return horn_radius * np.sin(arm - horn) - back * np.sin(arm) + up * np.cos(arm)
