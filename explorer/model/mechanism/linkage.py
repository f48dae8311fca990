"""The linkage: a servo horn, a rod and an arm turn each element, a planar four-bar for every one.

The ground link runs from the servo axis to the element's pivot; the places of pins are told from the pivot,
back and up.  All directions are seen from the left-hand side of the car, anticlockwise from straight back,
like the incidence of the elements.  Elements share the servo; each has its own hole in the horn, its own rod
and its own arm.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, given, quantity
from explorer.model.numeric import least, most, over_travel

servo_axis_station = given(
    "m", "Station of the servo's output axis, behind the front axle.", usual="-100 to 900 mm", lever="1 mm"
)
servo_axis_height = given(
    "m", "Height of the servo's output axis above the ground.", at_least=0, usual="5 to 350 mm", lever="1 mm"
)
servo_angle_closed = given(
    "rad",
    "Direction of the servo horn with the flap closed, anticlockwise from straight back seen from the left.",
    lever="2 deg",
)
servo_travel = given(
    "rad",
    "Turn of the servo from closed to open, anticlockwise positive.",
    usual="-170 to 170 deg",
    lever="2 deg",
)
element_horn_radius = given(
    "m",
    "Distance of this element's rod from the servo axis, on the horn.",
    above=0,
    usual="2 to 50 mm",
    lever="0.5 mm",
)
element_horn_offset = given(
    "rad", "Direction of this element's hole in the horn, ahead of the horn's.", default=0.0, lever="2 deg"
)
element_arm_length = given(
    "m", "Distance from the element's pivot to its rod.", above=0, usual="3 to 80 mm", lever="0.5 mm"
)
element_arm_angle = given(
    "rad", "Direction of the arm from the pivot, anticlockwise from the element's chord line.", lever="2 deg"
)
element_rod_length_error = given(
    "m",
    "What the rod came out longer than the length that closes the element.",
    default=0.0,
    usual="-3 to 3 mm",
)


@quantity("rad", source="definition")
def servo_angle(flap_opening: Array, servo_angle_closed: Array, servo_travel: Array) -> Array:
    """Direction of the servo horn at the flap opening asked for."""
    return servo_angle_closed + flap_opening * servo_travel


@quantity("m", source="point on a turning arm")
def element_horn_pin_back(
    servo_angle: Array,
    element_horn_offset: Array,
    element_horn_radius: Array,
    servo_axis_station: Array,
    element_pivot_station: Array,
) -> Array:
    """How far the rod's end on the horn lies behind the element's pivot."""
    horn = element_horn_radius * np.cos(servo_angle + element_horn_offset)
    return servo_axis_station - element_pivot_station + horn


@quantity("m", source="point on a turning arm")
def element_horn_pin_up(
    servo_angle: Array,
    element_horn_offset: Array,
    element_horn_radius: Array,
    servo_axis_height: Array,
    element_pivot_height: Array,
) -> Array:
    """How far the rod's end on the horn lies above the element's pivot."""
    horn = element_horn_radius * np.sin(servo_angle + element_horn_offset)
    return servo_axis_height - element_pivot_height + horn


@quantity(
    "m",
    source="definition: distance between the two pins",
    varying={"element_horn_pin_back": "servo_angle", "element_horn_pin_up": "servo_angle"},
)
def element_rod_length(
    element_horn_pin_back: Curve,
    element_horn_pin_up: Curve,
    servo_angle_closed: Array,
    element_arm_length: Array,
    element_arm_angle: Array,
    element_design_incidence_closed: Array,
    element_rod_length_error: Array,
) -> Array:
    """Length of the rod between its two ends, set so that the element has its design incidence when closed.

    This is the builder who screws the rod in and out until the flap sits right when shut: errors of the other
    links are then taken up by the rod.  Give the length instead for a rod that is made to a drawing.
    """
    arm = element_design_incidence_closed + element_arm_angle
    back = element_arm_length * np.cos(arm) - element_horn_pin_back(servo_angle_closed)
    up = element_arm_length * np.sin(arm) - element_horn_pin_up(servo_angle_closed)
    return np.hypot(back, up) + element_rod_length_error


@quantity(
    "1",
    source="side of that line on which the closed arm lies: sign of the cross product",
    varying={"element_horn_pin_back": "servo_angle", "element_horn_pin_up": "servo_angle"},
)
def element_assembly(
    element_horn_pin_back: Curve,
    element_horn_pin_up: Curve,
    servo_angle_closed: Array,
    element_design_incidence_closed: Array,
    element_arm_angle: Array,
) -> Array:
    """Which of the two ways the same links can be put together.

    +1: the arm lies anticlockwise of the line from the pivot to the horn pin; -1: clockwise.  It is the way
    that the closed design incidence lies on; give it to force the other.
    """
    arm = element_design_incidence_closed + element_arm_angle
    back, up = element_horn_pin_back(servo_angle_closed), element_horn_pin_up(servo_angle_closed)
    return np.where(back * np.sin(arm) < up * np.cos(arm), -1.0, 1.0)


@quantity("1", source="two circles, of the arm and of the rod")
def element_arm_along(
    element_horn_pin_back: Array,
    element_horn_pin_up: Array,
    element_arm_length: Array,
    element_rod_length: Array,
) -> Array:
    """Place of the arm pin along the line from the pivot to the horn pin, as a share of that line."""
    square = element_horn_pin_back**2 + element_horn_pin_up**2
    return 0.5 + (element_arm_length**2 - element_rod_length**2) / (2 * square)


@quantity(
    "1",
    source="two circles, of the arm and of the rod; equal to Freudenstein's equation (1955)",
    fails="the links cannot close: the rod is too short or too long there, or it has passed a dead point",
)
def element_arm_across(
    element_horn_pin_back: Array,
    element_horn_pin_up: Array,
    element_arm_length: Array,
    element_arm_along: Array,
    element_assembly: Array,
) -> Array:
    """Place of the arm pin to the left of the line from the pivot to the horn pin, as a share of that line.

    Freudenstein's equation says that the rod keeps its length.  The two places that satisfy it lie left and
    right of the line; a linkage stays on its side until rod and arm come into line, and there it is stuck.
    """
    square = element_horn_pin_back**2 + element_horn_pin_up**2
    left = element_arm_length**2 / square - element_arm_along**2
    return element_assembly * np.sqrt(np.where(left >= 0, left, np.nan))


@quantity("m", source="vector along and across the line from pivot to horn pin")
def element_arm_pin_back(
    element_horn_pin_back: Array,
    element_horn_pin_up: Array,
    element_arm_along: Array,
    element_arm_across: Array,
) -> Array:
    """How far the rod's end on the arm lies behind the element's pivot."""
    return element_arm_along * element_horn_pin_back - element_arm_across * element_horn_pin_up


@quantity("m", source="vector along and across the line from pivot to horn pin")
def element_arm_pin_up(
    element_horn_pin_back: Array,
    element_horn_pin_up: Array,
    element_arm_along: Array,
    element_arm_across: Array,
) -> Array:
    """How far the rod's end on the arm lies above the element's pivot."""
    return element_arm_along * element_horn_pin_up + element_arm_across * element_horn_pin_back


@quantity("rad", source="direction of the arm, less its angle to the chord")
def element_angle(element_arm_pin_back: Array, element_arm_pin_up: Array, element_arm_angle: Array) -> Array:
    """Incidence of the element at this servo angle, between -180 and +180 degrees."""
    turned = np.arctan2(element_arm_pin_up, element_arm_pin_back) - element_arm_angle
    return turned - 2 * np.pi * np.round(turned / (2 * np.pi))


@quantity("m", source="statics: a force along the rod")
def element_arm_lever(
    element_horn_pin_back: Array,
    element_horn_pin_up: Array,
    element_arm_pin_back: Array,
    element_arm_pin_up: Array,
    element_rod_length: Array,
) -> Array:
    """Lever of a push in the rod about the element's pivot, positive when it raises the incidence."""
    across = element_arm_pin_up * element_horn_pin_back - element_arm_pin_back * element_horn_pin_up
    return across / element_rod_length


@quantity("m", source="statics: a force along the rod")
def element_horn_lever(
    servo_angle: Array,
    element_horn_offset: Array,
    element_horn_radius: Array,
    element_horn_pin_back: Array,
    element_horn_pin_up: Array,
    element_arm_pin_back: Array,
    element_arm_pin_up: Array,
    element_rod_length: Array,
) -> Array:
    """Lever of the rod about the servo axis, positive when turning the horn anticlockwise pushes the rod."""
    horn = servo_angle + element_horn_offset
    back, up = element_arm_pin_back - element_horn_pin_back, element_arm_pin_up - element_horn_pin_up
    return element_horn_radius * (np.cos(horn) * up - np.sin(horn) * back) / element_rod_length


@quantity(
    "1", source="velocity along the rod is the same at both ends; Norton, Design of Machinery, eq. 6.18b"
)
def element_velocity_ratio(element_horn_lever: Array, element_arm_lever: Array) -> Array:
    """How much the element turns for a small turn of the servo; negative where it turns the other way."""
    return element_horn_lever / np.where(element_arm_lever == 0, np.nan, element_arm_lever)


@quantity("rad", source="Norton, Design of Machinery, transmission angle")
def element_transmission_angle(element_arm_lever: Array, element_arm_length: Array) -> Array:
    """Acute angle between rod and arm at this servo angle: 90 degrees drives best, 0 is a dead point."""
    return np.arcsin(np.minimum(np.abs(element_arm_lever) / element_arm_length, 1))


@quantity(
    "rad",
    source="smallest of nine places of the travel, and of the parabola about it",
    varying={"element_transmission_angle": "servo_angle"},
    fails="the links cannot close somewhere in the travel",
)
def element_smallest_transmission_angle(
    element_transmission_angle: Curve, servo_angle_closed: Array, servo_travel: Array
) -> Array:
    """Smallest transmission angle through the travel; common practice keeps it above 40 degrees."""
    return least(over_travel(element_transmission_angle, servo_angle_closed, servo_travel))


@quantity("rad", source="sine: lever of the rod over the horn's radius")
def element_horn_to_rod_angle(element_horn_lever: Array, element_horn_radius: Array) -> Array:
    """Angle by which horn and rod are out of line, -90 to +90 degrees; at 0 the element turns back."""
    return np.arcsin(np.clip(element_horn_lever / element_horn_radius, -1, 1))


@quantity(
    "rad",
    source="smallest of nine places of the travel, and of the parabola about it",
    varying={"element_horn_to_rod_angle": "servo_angle"},
    fails="the links cannot close somewhere in the travel",
)
def element_dead_point_margin(
    element_horn_to_rod_angle: Curve, servo_angle_closed: Array, servo_travel: Array
) -> Array:
    """Smallest angle between horn and rod through the travel.

    Negative when they pass through one line inside the travel: there the element stops and turns back, and
    the margin says how far inside that dead point lies.
    """
    angles = over_travel(element_horn_to_rod_angle, servo_angle_closed, servo_travel)
    return np.maximum(least(angles), -most(angles))


@quantity("rad", source="definition", fails="the links of some element cannot close")
def smallest_transmission_angle(element_smallest_transmission_angle: Array) -> Array:
    """Smallest transmission angle of any element through the travel."""
    smallest: Array = np.min(element_smallest_transmission_angle, axis=0)
    return smallest


@quantity("rad", source="definition", fails="the links of some element cannot close")
def smallest_dead_point_margin(element_dead_point_margin: Array) -> Array:
    """Smallest dead-point margin of any element."""
    smallest: Array = np.min(element_dead_point_margin, axis=0)
    return smallest
