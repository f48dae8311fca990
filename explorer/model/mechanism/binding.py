"""Binding: the gaps that are left after what the drill and the printer did, and under load.

What they leave behind comes in as bow (the middle of a printed element is out of the line between its ends)
and as skew (the pivot holes in the two end plates do not face each other).  Each slot is then a parabola
along the span, so that both ends and the middle tell where it is narrowest: to a fifth of a micrometre in
the wing of the second demo, and no closer than millimetres where bow and skew of millimetres run two plates
far through each other.  A gap below zero means that the wing binds.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, given, quantity
from explorer.model.mechanism.slot import Slots, narrowest
from explorer.model.numeric import least, over_travel

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
    source="smallest of each slot's parabola through both ends and the middle",
    varying={"slots": "span_position"},
    fails="the links of some element cannot close",
)
def binding_gap(slots: Callable[..., Slots]) -> Array:
    """Narrowest slot anywhere along the span at this servo angle, as built."""
    return narrowest(map(slots, _SPAN_POSITIONS))


@quantity(
    "m",
    source="smallest of nine places of the travel, and of the parabola about it",
    varying={"binding_gap": "servo_angle"},
    fails="the links of some element cannot close",
)
def smallest_binding_gap(binding_gap: Curve, servo_angle_closed: Array, servo_travel: Array) -> Array:
    """Narrowest slot left through the travel, anywhere along the span; below zero the wing binds."""
    return least(over_travel(binding_gap, servo_angle_closed, servo_travel))


@quantity(
    "m",
    source="smallest of nine places of the travel, and of the parabola about it",
    varying={"loaded_slot_gap": ("servo_angle", "span_position")},
    fails="the links of some element cannot close",
)
def smallest_loaded_gap(loaded_slot_gap: Curve, servo_angle_closed: Array, servo_travel: Array) -> Array:
    """Narrowest slot left through the travel at mid-span, as built and with the air bending the elements."""
    return least(over_travel(lambda at: loaded_slot_gap(at, _MIDDLE), servo_angle_closed, servo_travel))


@quantity("m", source="definition")
def element_side_gap(end_plate_spacing: Array, element_span: Array) -> Array:
    """Gap between each end of the element and its end plate, the element in the middle."""
    return (end_plate_spacing - element_span) / 2


@quantity("m", source="definition")
def smallest_side_gap(element_side_gap: Array) -> Array:
    """Smallest side gap of any element; below zero it rubs on the end plates."""
    smallest: Array = np.min(element_side_gap, axis=0)
    return smallest
