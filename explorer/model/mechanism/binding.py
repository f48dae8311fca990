"""Binding: the gaps that are left after what the drill and the printer did, and under load.

What they leave behind comes in as bow (the middle of a printed element is out of the line between its ends)
and as skew (the pivot holes in the two end plates do not face each other).  With one of them a slot is
narrowest at an end or in the middle, and those three places are looked at.  A gap below zero means that the
wing binds.
"""

from __future__ import annotations

from functools import reduce

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, given, quantity
from explorer.model.numeric import TRAVEL_SHARES

_SPAN_POSITIONS = (0.0, 0.5, 1.0)
_MIDDLE = 0.5

end_plate_spacing = given(
    "m", "Distance between the inner faces of the end plates.", above=0, usual="60 to 600 mm", lever="0.5 mm"
)
span_position = given(
    "1",
    "Place along the span: 0 at the end with the linkage, 1 at the other.",
    default=0.5,
    at_least=0,
    at_most=1,
)
element_warp = given(
    "m",
    "Bow of the printed element in the middle of its span, positive upwards.",
    default=0.0,
    usual="-3 to 3 mm",
)
element_hole_skew_station = given(
    "m",
    "How much further back the pivot hole is at the end without linkage.",
    default=0.0,
    usual="-2 to 2 mm",
)
element_hole_skew_height = given(
    "m", "How much higher the pivot hole is at the end without linkage.", default=0.0, usual="-2 to 2 mm"
)


@quantity("m", source="definition")
def element_axis_station(
    element_pivot_station: Array, element_hole_skew_station: Array, span_position: Array
) -> Array:
    """Station of the element's pivot line at this place along the span."""
    return element_pivot_station + span_position * element_hole_skew_station


@quantity("m", source="definition")
def element_axis_height(
    element_pivot_height: Array, element_hole_skew_height: Array, span_position: Array
) -> Array:
    """Height of the element's pivot line at this place along the span."""
    return element_pivot_height + span_position * element_hole_skew_height


@quantity("m", source="parabola through the two ends and the middle")
def element_bow(element_warp: Array, span_position: Array) -> Array:
    """How far the element is out of the line between its ends, no air on it, square to its chord."""
    return 4 * span_position * (1 - span_position) * element_warp


@quantity("m", source="parabola through the two ends and the middle")
def element_loaded_bow(element_bow: Array, element_mid_span_deflection: Array, span_position: Array) -> Array:
    """How far the element is out of the line between its ends with the air bending it downwards."""
    return element_bow - 4 * span_position * (1 - span_position) * element_mid_span_deflection


@quantity(
    "m",
    source="smallest at both ends and in the middle",
    varying={"slot_gap": "span_position"},
    fails="the links of some element cannot close",
)
def binding_gap(slot_gap: Curve) -> Array:
    """Narrowest slot at both ends and in the middle of the span at this servo angle, as built.

    Where elements are bowed and their holes are skewed it is narrower still between those places: by less
    than 0.08 mm in 99 of 100 wings with a bow of 0.6 mm and a skew of 0.3 mm (standard deviations).
    """
    return reduce(np.minimum, map(slot_gap, _SPAN_POSITIONS))


@quantity(
    "m",
    source="smallest of nine places of the travel",
    varying={"binding_gap": "servo_angle"},
    fails="the links of some element cannot close",
)
def smallest_binding_gap(binding_gap: Curve, servo_angle_closed: Array, servo_travel: Array) -> Array:
    """Narrowest slot left through the travel, at both ends and in the middle; below zero the wing binds."""
    angles = (servo_angle_closed + share * servo_travel for share in TRAVEL_SHARES)
    return reduce(np.minimum, map(binding_gap, angles))


@quantity(
    "m",
    source="smallest of nine places of the travel",
    varying={"loaded_slot_gap": ("servo_angle", "span_position")},
    fails="the links of some element cannot close",
)
def smallest_loaded_gap(loaded_slot_gap: Curve, servo_angle_closed: Array, servo_travel: Array) -> Array:
    """Narrowest slot left through the travel at mid-span, as built and with the air bending the elements."""
    angles = (servo_angle_closed + share * servo_travel for share in TRAVEL_SHARES)
    return reduce(np.minimum, (loaded_slot_gap(angle, _MIDDLE) for angle in angles))


@quantity("m", source="definition")
def element_side_gap(end_plate_spacing: Array, element_span: Array) -> Array:
    """Gap between each end of the element and its end plate, the element in the middle."""
    return (end_plate_spacing - element_span) / 2


@quantity("m", source="definition")
def smallest_side_gap(element_side_gap: Array) -> Array:
    """Smallest side gap of any element; below zero it rubs on the end plates."""
    smallest: Array = np.min(element_side_gap, axis=0)
    return smallest
