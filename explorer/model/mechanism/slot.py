"""Slots: the gap between neighbouring wing elements, anywhere in the travel and along the span.

Each element and the fixed main plane is a flat plate of constant thickness with rounded edges.  The gap of a
slot is the shortest distance between the two plates less half of each thickness; where the plates would run
through each other it is negative, by the way they would have to be drawn apart.  Elements are listed from the
main plane outwards, so each one's neighbour is the one before it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import reduce
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, given, quantity
from explorer.model.numeric import least, over_travel

_LINKAGE_END = 0.0

mainplane_trailing_edge_station = given(
    "m",
    "Station of the main plane's trailing edge, behind the front axle.",
    usual="-250 to 900 mm",
    lever="1 mm",
)
mainplane_trailing_edge_height = given(
    "m", "Height of the main plane's trailing edge above the ground.", usual="10 to 400 mm", lever="1 mm"
)
mainplane_chord = given("m", "Chord of the main plane.", above=0, usual="20 to 250 mm")
mainplane_incidence = given(
    "rad",
    "Incidence of the main plane near its trailing edge, trailing edge up positive.",
    usual="-15 to 40 deg",
    lever="1 deg",
)
mainplane_thickness = given(
    "m", "Thickness of the main plane near its trailing edge.", at_least=0, usual="0.4 to 25 mm"
)


@quantity("m", source="chord turned by its incidence")
def mainplane_chord_run(mainplane_chord: Array, mainplane_incidence: Array) -> Array:
    """How far the main plane's trailing edge lies behind its leading edge, were it straight."""
    return mainplane_chord * np.cos(mainplane_incidence)


@quantity("m", source="chord turned by its incidence")
def mainplane_chord_rise(mainplane_chord: Array, mainplane_incidence: Array) -> Array:
    """How far the main plane's trailing edge lies above its leading edge, were it straight."""
    return mainplane_chord * np.sin(mainplane_incidence)


@quantity("m", source="definition")
def mainplane_leading_edge_station(
    mainplane_trailing_edge_station: Array, mainplane_chord_run: Array
) -> Array:
    """Station of the main plane's leading edge, were it as straight as near its trailing edge."""
    return mainplane_trailing_edge_station - mainplane_chord_run


@quantity("m", source="definition")
def mainplane_leading_edge_height(
    mainplane_trailing_edge_height: Array, mainplane_chord_rise: Array
) -> Array:
    """Height of the main plane's leading edge, were it as straight as near its trailing edge."""
    return mainplane_trailing_edge_height - mainplane_chord_rise


@quantity("m", source="chord turned by its incidence")
def element_chord_run(element_chord: Array, element_angle: Array) -> Array:
    """How far the element's trailing edge lies behind its leading edge at this servo angle."""
    return element_chord * np.cos(element_angle)


@quantity("m", source="chord turned by its incidence")
def element_chord_rise(element_chord: Array, element_angle: Array) -> Array:
    """How far the element's trailing edge lies above its leading edge at this servo angle."""
    return element_chord * np.sin(element_angle)


@quantity("m", source="from the pivot along the chord and square to it")
def element_leading_edge_station(
    element_axis_station: Array,
    element_pivot_fraction: Array,
    element_chord_run: Array,
    element_chord_rise: Array,
    element_chord: Array,
    element_bow: Array,
) -> Array:
    """Station of the element's leading edge at this servo angle and place along the span."""
    bowed = element_bow / element_chord * element_chord_rise
    return element_axis_station - element_pivot_fraction * element_chord_run - bowed


@quantity("m", source="from the pivot along the chord and square to it")
def element_leading_edge_height(
    element_axis_height: Array,
    element_pivot_fraction: Array,
    element_chord_run: Array,
    element_chord_rise: Array,
    element_chord: Array,
    element_bow: Array,
) -> Array:
    """Height of the element's leading edge at this servo angle and place along the span."""
    bowed = element_bow / element_chord * element_chord_run
    return element_axis_height - element_pivot_fraction * element_chord_rise + bowed


@quantity("m", source="definition", varying={"element_leading_edge_station": "element_bow"})
def element_loaded_leading_edge_station(
    element_leading_edge_station: Curve, element_loaded_bow: Array
) -> Array:
    """Station of the element's leading edge with the air on it."""
    return element_leading_edge_station(element_loaded_bow)


@quantity("m", source="definition", varying={"element_leading_edge_height": "element_bow"})
def element_loaded_leading_edge_height(
    element_leading_edge_height: Curve, element_loaded_bow: Array
) -> Array:
    """Height of the element's leading edge with the air on it."""
    return element_leading_edge_height(element_loaded_bow)


class Plate(NamedTuple):
    """A plate from the side: its leading edge, the way from there to its trailing edge, its thickness."""

    station: Array
    height: Array
    run: Array
    rise: Array
    thickness: Array


class Slots(NamedTuple):
    """The gap of every slot, from the main plane outwards."""

    gaps: tuple[Array, ...]


@quantity("m", source="distance between two segments", fails="the links of some element cannot close")
def slots(
    element_leading_edge_station: Array,
    element_leading_edge_height: Array,
    element_chord_run: Array,
    element_chord_rise: Array,
    element_thickness: Array,
    mainplane_leading_edge_station: Array,
    mainplane_leading_edge_height: Array,
    mainplane_chord_run: Array,
    mainplane_chord_rise: Array,
    mainplane_thickness: Array,
) -> Slots:
    """Gaps between neighbours, at this servo angle and place along the span, without load."""
    mainplane = (
        mainplane_leading_edge_station,
        mainplane_leading_edge_height,
        mainplane_chord_run,
        mainplane_chord_rise,
        mainplane_thickness,
    )
    elements = zip(
        element_leading_edge_station,
        element_leading_edge_height,
        element_chord_run,
        element_chord_rise,
        element_thickness,
        strict=True,
    )
    plates = [Plate(*mainplane), *(Plate(*element) for element in elements)]
    # Pair by pair: arrays of one length of samples stay near the processor.
    return Slots(tuple(gap_between(*pair) for pair in pairwise(plates)))


@quantity("m", source="smallest of all slots", fails="the links of some element cannot close")
def slot_gap(slots: Slots) -> Array:
    """Narrowest slot between two neighbours, at this servo angle and place along the span, without load."""
    return reduce(np.minimum, slots.gaps)


@quantity("m", source="distance between two segments", fails="the links of some element cannot close")
def loaded_slot_gap(
    element_loaded_leading_edge_station: Array,
    element_loaded_leading_edge_height: Array,
    element_chord_run: Array,
    element_chord_rise: Array,
    element_thickness: Array,
    mainplane_leading_edge_station: Array,
    mainplane_leading_edge_height: Array,
    mainplane_chord_run: Array,
    mainplane_chord_rise: Array,
    mainplane_thickness: Array,
) -> Array:
    """Narrowest slot between two neighbours with the air bending the elements; the main plane is stiff."""
    return slot_gap(
        slots(
            element_loaded_leading_edge_station,
            element_loaded_leading_edge_height,
            element_chord_run,
            element_chord_rise,
            element_thickness,
            mainplane_leading_edge_station,
            mainplane_leading_edge_height,
            mainplane_chord_run,
            mainplane_chord_rise,
            mainplane_thickness,
        )
    )


@quantity(
    "m",
    source="smallest of nine places of the travel, and of the parabola about it",
    varying={"slots": ("servo_angle", "span_position")},
    fails="the links of some element cannot close",
)
def smallest_slot_gap(slots: Callable[..., Slots], servo_angle_closed: Array, servo_travel: Array) -> Array:
    """Narrowest slot through the travel at the end with the linkage, where no element is bowed or bent."""
    return narrowest(over_travel(lambda at: slots(at, _LINKAGE_END), servo_angle_closed, servo_travel))


def narrowest(places: Iterable[Slots]) -> Array:
    """Return the narrowest that any slot is between places as far apart each."""
    return reduce(np.minimum, map(least, zip(*(place.gaps for place in places), strict=True)))


def gap_between(plate: Plate, other: Plate) -> Array:
    """Return the gap between two plates; below zero they would run through each other."""
    back, up = other.station - plate.station, other.height - plate.height
    apart = plate_distance(back, up, plate.run, plate.rise, other.run, other.rise)
    return apart - (plate.thickness + other.thickness) / 2


def plate_distance(
    back: Array, up: Array, run: Array, rise: Array, other_run: Array, other_rise: Array
) -> Array:
    """Distance of two plates without thickness; where they cross, minus the way to draw them apart.

    ``back`` and ``up`` lead from the first plate's leading edge to the other's; ``run`` and ``rise`` from a
    plate's leading edge to its trailing edge.
    """
    square, other_square = run**2 + rise**2, other_run**2 + other_rise**2
    along, off = back * run + up * rise, up * run - back * rise
    other_along, other_off = -back * other_run - up * other_rise, back * other_rise - up * other_run
    both_along, both_off = other_run * run + other_rise * rise, other_rise * run - other_run * rise
    end_off, other_end_off = off + both_off, other_off - both_off
    ends = np.minimum(_stretched(along, off, square), _stretched(along + both_along, end_off, square))
    other_ends = np.minimum(
        _stretched(other_along, other_off, other_square),
        _stretched(other_along + both_along, other_end_off, other_square),
    )
    nearest = np.sqrt(np.minimum(ends / square, other_ends / other_square))
    # Plates cross when each has its ends on both sides of the other.
    return np.where((off * end_off < 0) & (other_off * other_end_off < 0), -nearest, nearest)


def _stretched(along: Array, off: Array, square: Array) -> Array:
    """Square of the distance of a point from a plate, times the square of the chord."""
    past = along - np.clip(along, 0, square)
    return past**2 + off**2
