"""The linkage: a servo horn, a rod and an arm turn each element, a planar four-bar for every one.

The ground link runs from the servo axis to the element's pivot.  All directions are seen from the left-hand
side of the car, anticlockwise from straight back, like the incidence of the elements.  Elements share the
servo; each has its own hole in the horn, its own rod and its own arm.
"""

from __future__ import annotations

from functools import reduce

import numpy as np

from explorer.quantity import Array, Curve, given, quantity

# Thirteen places through the travel: link angles are smooth between them, and the extremes lie at the ends.
_SHARES = np.linspace(0.0, 1.0, 13)

servo_axis_station = given("m", "Station of the servo's output axis, behind the front axle.")
servo_axis_height = given("m", "Height of the servo's output axis above the ground.", at_least=0)
servo_angle_closed = given(
    "rad",
    "Direction of the servo horn with the flap closed, anticlockwise from straight back seen from the left.",
)
servo_travel = given("rad", "Turn of the servo from closed to open, anticlockwise positive.")
element_horn_radius = given(
    "m", "Distance of this element's rod from the servo axis, on the horn.", each="element", above=0
)
element_horn_offset = given(
    "rad", "Direction of this element's hole in the horn, ahead of the horn's.", each="element", default=0.0
)
element_arm_length = given("m", "Distance from the element's pivot to its rod.", each="element", above=0)
element_arm_angle = given(
    "rad", "Direction of the arm from the pivot, anticlockwise from the element's chord line.", each="element"
)
element_rod_length_error = given(
    "m", "What the rod came out longer than the length that closes the element.", each="element", default=0.0
)


@quantity("rad", source="definition")
def servo_angle(flap_opening: Array, servo_angle_closed: Array, servo_travel: Array) -> Array:
    """Direction of the servo horn at the flap opening asked for."""
    return servo_angle_closed + flap_opening * servo_travel


@quantity("m", source="definition", each="element")
def element_ground_length(
    element_pivot_station: Array,
    element_pivot_height: Array,
    servo_axis_station: Array,
    servo_axis_height: Array,
) -> Array:
    """Distance from the servo axis to the element's pivot."""
    return np.hypot(element_pivot_station - servo_axis_station, element_pivot_height - servo_axis_height)


@quantity("rad", source="definition", each="element")
def element_ground_angle(
    element_pivot_station: Array,
    element_pivot_height: Array,
    servo_axis_station: Array,
    servo_axis_height: Array,
) -> Array:
    """Direction of the element's pivot from the servo axis."""
    return np.arctan2(element_pivot_height - servo_axis_height, element_pivot_station - servo_axis_station)


@quantity("m", source="law of cosines", each="element")
def element_horn_pin_distance(
    servo_angle: Array,
    element_horn_offset: Array,
    element_horn_radius: Array,
    element_ground_length: Array,
    element_ground_angle: Array,
) -> Array:
    """Distance from the element's pivot to the end of the rod on the horn."""
    across = servo_angle + element_horn_offset - element_ground_angle
    square = element_horn_radius**2 + element_ground_length**2
    return np.sqrt(square - 2 * element_horn_radius * element_ground_length * np.cos(across))


@quantity("rad", source="definition", each="element")
def element_horn_pin_direction(
    servo_angle: Array,
    element_horn_offset: Array,
    element_horn_radius: Array,
    element_ground_length: Array,
    element_ground_angle: Array,
) -> Array:
    """Direction from the element's pivot to the end of the rod on the horn."""
    horn = servo_angle + element_horn_offset
    back = element_horn_radius * np.cos(horn) - element_ground_length * np.cos(element_ground_angle)
    up = element_horn_radius * np.sin(horn) - element_ground_length * np.sin(element_ground_angle)
    return np.arctan2(up, back)


@quantity(
    "m",
    source="law of cosines on pivot, horn pin and arm pin",
    varying={"element_horn_pin_distance": "servo_angle", "element_horn_pin_direction": "servo_angle"},
    each="element",
)
def element_rod_length(
    element_horn_pin_distance: Curve,
    element_horn_pin_direction: Curve,
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
    distance = element_horn_pin_distance(servo_angle_closed)
    arm = element_design_incidence_closed + element_arm_angle - element_horn_pin_direction(servo_angle_closed)
    square = distance**2 + element_arm_length**2 - 2 * distance * element_arm_length * np.cos(arm)
    return np.sqrt(square) + element_rod_length_error


@quantity("1", source="definition", varying={"element_horn_pin_direction": "servo_angle"}, each="element")
def element_assembly(
    element_horn_pin_direction: Curve,
    servo_angle_closed: Array,
    element_design_incidence_closed: Array,
    element_arm_angle: Array,
) -> Array:
    """Which of the two ways the same links can be put together.

    +1: the arm lies anticlockwise of the line from the pivot to the horn pin; -1: clockwise.  It is the way
    that the closed design incidence lies on; give it to force the other.
    """
    arm = element_design_incidence_closed + element_arm_angle
    return np.where(np.sin(arm - element_horn_pin_direction(servo_angle_closed)) < 0, -1.0, 1.0)


@quantity(
    "rad",
    source="Freudenstein's equation (1955) for the follower, in the form of the law of cosines",
    each="element",
    fails="the links cannot close: the rod is too short or too long there, or it has passed a dead point",
)
def element_angle(
    element_horn_pin_distance: Array,
    element_horn_pin_direction: Array,
    element_arm_length: Array,
    element_rod_length: Array,
    element_arm_angle: Array,
    element_assembly: Array,
) -> Array:
    """Incidence of the element at this servo angle, between -180 and +180 degrees.

    Freudenstein's equation says that the rod keeps its length.  The two angles that satisfy it lie left and
    right of the line from pivot to horn pin; a linkage stays on its side until rod and arm come into line.
    """
    side = element_horn_pin_distance**2 + element_arm_length**2 - element_rod_length**2
    arm = element_horn_pin_direction + element_assembly * _arc_cosine(
        side / (2 * element_horn_pin_distance * element_arm_length)
    )
    return _principal(arm - element_arm_angle)


@quantity("rad", source="definition", each="element")
def element_rod_direction(
    element_horn_pin_distance: Array,
    element_horn_pin_direction: Array,
    element_arm_length: Array,
    element_angle: Array,
    element_arm_angle: Array,
) -> Array:
    """Direction of the rod, from its end on the horn to its end on the arm."""
    arm = element_angle + element_arm_angle
    back = element_arm_length * np.cos(arm) - element_horn_pin_distance * np.cos(element_horn_pin_direction)
    up = element_arm_length * np.sin(arm) - element_horn_pin_distance * np.sin(element_horn_pin_direction)
    return np.arctan2(up, back)


@quantity("1", source="Norton, Design of Machinery, eq. 6.18b", each="element")
def element_velocity_ratio(
    servo_angle: Array,
    element_horn_offset: Array,
    element_horn_radius: Array,
    element_arm_length: Array,
    element_rod_direction: Array,
    element_angle: Array,
    element_arm_angle: Array,
) -> Array:
    """How much the element turns for a small turn of the servo; negative where it turns the other way."""
    driving = element_horn_radius * np.sin(servo_angle + element_horn_offset - element_rod_direction)
    return driving / (element_arm_length * np.sin(element_angle + element_arm_angle - element_rod_direction))


@quantity("rad", source="Norton, Design of Machinery, transmission angle", each="element")
def element_transmission_angle(
    element_angle: Array, element_arm_angle: Array, element_rod_direction: Array
) -> Array:
    """Acute angle between rod and arm at this servo angle: 90 degrees drives best, 0 is a dead point."""
    return np.arcsin(np.abs(np.sin(element_angle + element_arm_angle - element_rod_direction)))


@quantity(
    "rad",
    source="definition",
    varying={"element_transmission_angle": "servo_angle"},
    each="element",
    fails="the links cannot close somewhere in the travel",
)
def element_smallest_transmission_angle(
    element_transmission_angle: Curve, servo_angle_closed: Array, servo_travel: Array
) -> Array:
    """Smallest transmission angle through the travel; common practice keeps it above 40 degrees."""
    return reduce(
        np.minimum,
        (element_transmission_angle(servo_angle_closed + share * servo_travel) for share in _SHARES),
    )


@quantity("rad", source="definition", each="element")
def element_horn_to_rod_angle(
    servo_angle: Array, element_horn_offset: Array, element_rod_direction: Array
) -> Array:
    """Angle by which horn and rod are out of line, -90 to +90 degrees; at 0 the element turns back."""
    return np.arcsin(np.sin(servo_angle + element_horn_offset - element_rod_direction))


@quantity(
    "rad",
    source="definition",
    varying={"element_horn_to_rod_angle": "servo_angle"},
    each="element",
    fails="the links cannot close somewhere in the travel",
)
def element_dead_point_margin(
    element_horn_to_rod_angle: Curve, servo_angle_closed: Array, servo_travel: Array
) -> Array:
    """Smallest angle between horn and rod through the travel.

    Negative when they pass through one line inside the travel: there the element stops and turns back, and
    the margin says how far inside that dead point lies.
    """
    angles = [element_horn_to_rod_angle(servo_angle_closed + share * servo_travel) for share in _SHARES]
    return np.maximum(reduce(np.minimum, angles), -reduce(np.maximum, angles))


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


def _arc_cosine(cosine: Array) -> Array:
    return np.arccos(np.where(np.abs(cosine) <= 1, cosine, np.nan))


def _principal(angle: Array) -> Array:
    return np.remainder(angle + np.pi, 2 * np.pi) - np.pi
