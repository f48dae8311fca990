"""Slots: the gap between neighbouring wing elements, anywhere in the travel and along the span.

Each element and the fixed main plane is a flat plate of constant thickness with rounded edges.  The gap of a
slot is the shortest distance between the two plates less half of each thickness; where the plates would run
through each other it is negative, by the way they would have to be drawn apart.  Elements are listed from the
main plane outwards, so each one's neighbour is the one before it.
"""

from __future__ import annotations

from functools import reduce

import numpy as np
import numpy.typing as npt

from explorer.quantity import Array, Curve, given, quantity

_SHARES = np.linspace(0.0, 1.0, 13)
_LINKAGE_END = 0.0

# Points and directions in the side view as complex numbers: station + i height.
Plane = npt.NDArray[np.complex128]

mainplane_trailing_edge_station = given(
    "m", "Station of the main plane's trailing edge, behind the front axle."
)
mainplane_trailing_edge_height = given("m", "Height of the main plane's trailing edge above the ground.")
mainplane_chord = given("m", "Chord of the main plane.", above=0)
mainplane_incidence = given(
    "rad", "Incidence of the main plane near its trailing edge, trailing edge up positive."
)
mainplane_thickness = given("m", "Thickness of the main plane near its trailing edge.", at_least=0)


@quantity("m", source="definition")
def mainplane_leading_edge_station(
    mainplane_trailing_edge_station: Array, mainplane_chord: Array, mainplane_incidence: Array
) -> Array:
    """Station of the main plane's leading edge, were it as straight as near its trailing edge."""
    return mainplane_trailing_edge_station - mainplane_chord * np.cos(mainplane_incidence)


@quantity("m", source="definition")
def mainplane_leading_edge_height(
    mainplane_trailing_edge_height: Array, mainplane_chord: Array, mainplane_incidence: Array
) -> Array:
    """Height of the main plane's leading edge, were it as straight as near its trailing edge."""
    return mainplane_trailing_edge_height - mainplane_chord * np.sin(mainplane_incidence)


@quantity("m", source="definition", each="element")
def element_leading_edge_station(
    element_axis_station: Array,
    element_angle: Array,
    element_chord: Array,
    element_pivot_fraction: Array,
    element_bow: Array,
) -> Array:
    """Station of the element's leading edge at this servo angle and place along the span."""
    ahead = element_pivot_fraction * element_chord
    return element_axis_station - ahead * np.cos(element_angle) - element_bow * np.sin(element_angle)


@quantity("m", source="definition", each="element")
def element_leading_edge_height(
    element_axis_height: Array,
    element_angle: Array,
    element_chord: Array,
    element_pivot_fraction: Array,
    element_bow: Array,
) -> Array:
    """Height of the element's leading edge at this servo angle and place along the span."""
    ahead = element_pivot_fraction * element_chord
    return element_axis_height - ahead * np.sin(element_angle) + element_bow * np.cos(element_angle)


@quantity("m", source="definition", varying={"element_leading_edge_station": "element_bow"}, each="element")
def element_loaded_leading_edge_station(
    element_leading_edge_station: Curve, element_loaded_bow: Array
) -> Array:
    """Station of the element's leading edge with the air on it."""
    return element_leading_edge_station(element_loaded_bow)


@quantity("m", source="definition", varying={"element_leading_edge_height": "element_bow"}, each="element")
def element_loaded_leading_edge_height(
    element_leading_edge_height: Curve, element_loaded_bow: Array
) -> Array:
    """Height of the element's leading edge with the air on it."""
    return element_leading_edge_height(element_loaded_bow)


@quantity("m", source="distance between two segments", fails="the links of some element cannot close")
def slot_gap(
    element_leading_edge_station: Array,
    element_leading_edge_height: Array,
    element_angle: Array,
    element_chord: Array,
    element_thickness: Array,
    mainplane_leading_edge_station: Array,
    mainplane_leading_edge_height: Array,
    mainplane_incidence: Array,
    mainplane_chord: Array,
    mainplane_thickness: Array,
) -> Array:
    """Narrowest slot between two neighbours, at this servo angle and place along the span, without load."""
    station, height, angle, chord, thickness = _lined_up(
        _after(mainplane_leading_edge_station, element_leading_edge_station),
        _after(mainplane_leading_edge_height, element_leading_edge_height),
        _after(mainplane_incidence, element_angle),
        _after(mainplane_chord, element_chord),
        _after(mainplane_thickness, element_thickness),
    )
    edge, along = station + 1j * height, chord * np.exp(1j * angle)
    apart = _plate_distance(edge[:-1], along[:-1], edge[1:], along[1:])
    smallest: Array = np.min(apart - (thickness[:-1] + thickness[1:]) / 2, axis=0)
    return smallest


@quantity("m", source="distance between two segments", fails="the links of some element cannot close")
def loaded_slot_gap(
    element_loaded_leading_edge_station: Array,
    element_loaded_leading_edge_height: Array,
    element_angle: Array,
    element_chord: Array,
    element_thickness: Array,
    mainplane_leading_edge_station: Array,
    mainplane_leading_edge_height: Array,
    mainplane_incidence: Array,
    mainplane_chord: Array,
    mainplane_thickness: Array,
) -> Array:
    """Narrowest slot between two neighbours with the air bending the elements; the main plane is stiff."""
    return slot_gap(
        element_loaded_leading_edge_station,
        element_loaded_leading_edge_height,
        element_angle,
        element_chord,
        element_thickness,
        mainplane_leading_edge_station,
        mainplane_leading_edge_height,
        mainplane_incidence,
        mainplane_chord,
        mainplane_thickness,
    )


@quantity(
    "m",
    source="definition",
    varying={"slot_gap": ("servo_angle", "span_position")},
    fails="the links of some element cannot close",
)
def smallest_slot_gap(slot_gap: Curve, servo_angle_closed: Array, servo_travel: Array) -> Array:
    """Narrowest slot through the travel at the end with the linkage, where no element is bowed or bent."""
    places = (servo_angle_closed + share * servo_travel for share in _SHARES)
    return reduce(np.minimum, (slot_gap(place, _LINKAGE_END) for place in places))


def _after(mainplane: Array, elements: Array) -> Array:
    """Put the main plane's value before those of the elements, members first."""
    tail = np.broadcast_shapes(np.shape(mainplane), np.shape(elements)[1:])
    first = np.broadcast_to(mainplane, (1, *tail))
    return np.concatenate([first, np.broadcast_to(_deepened(elements, len(tail)), (len(elements), *tail))])


def _lined_up(*stacks: Array) -> list[Array]:
    """Give stacks as many sample axes as the one with the most."""
    depth = max(np.ndim(stack) for stack in stacks) - 1
    return [_deepened(stack, depth) for stack in stacks]


def _deepened(stack: Array, depth: int) -> Array:
    members, *tail = np.shape(stack)
    return np.reshape(stack, (members, *(1,) * (depth - len(tail)), *tail))


def _plate_distance(edge: Plane, along: Plane, other_edge: Plane, other_along: Plane) -> Array:
    """Distance of two segments from their first end and their length; negative where they cross."""
    ends = [
        _to_segment(edge, other_edge, other_along),
        _to_segment(edge + along, other_edge, other_along),
        _to_segment(other_edge, edge, along),
        _to_segment(other_edge + other_along, edge, along),
    ]
    crossing = _sides(edge, along, other_edge, other_along) & _sides(other_edge, other_along, edge, along)
    nearest = reduce(np.minimum, ends)
    return np.where(crossing, -nearest, nearest)


def _to_segment(point: Plane, edge: Plane, along: Plane) -> Array:
    """Distance of a point from a segment."""
    reach = point - edge
    share = np.clip((reach * along.conj()).real / (along * along.conj()).real, 0, 1)
    return np.abs(reach - share * along)


def _sides(edge: Plane, along: Plane, other_edge: Plane, other_along: Plane) -> npt.NDArray[np.bool_]:
    """Tell whether the other segment's two ends lie on different sides of this one's line."""
    start = other_edge - edge
    return (along.conj() * start).imag * (along.conj() * (start + other_along)).imag < 0
