"""The moving elements of the rear wing: what each is, measured on the bench.

Drawn from the left-hand side of the car, front of the car to the left: stations run to the right, heights
upwards, and angles anticlockwise from straight back.  An element's incidence is the angle of its chord line,
leading edge to trailing edge: positive with the trailing edge up, which is more downforce.  Closed is the
large incidence, open the small one.
"""

from __future__ import annotations

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity

element_chord = given(
    "m", "Chord of the element, leading edge to trailing edge.", above=0, usual="5 to 200 mm", lever="2 mm"
)
element_span = given(
    "m", "Span of the element between its two ends.", above=0, usual="50 to 600 mm", lever="0.5 mm"
)
element_thickness = given(
    "m", "Thickness of the element where it is thickest.", above=0, usual="0.5 to 25 mm", lever="0.5 mm"
)
element_pivot_fraction = given(
    "1",
    "Place of the pivot along the chord, from the leading edge, as a share of the chord.",
    usual="0 to 0.8",
    lever="0.02",
)
element_pivot_station = given(
    "m", "Station of the element's pivot, behind the front axle.", usual="-250 to 900 mm", lever="1 mm"
)
element_pivot_height = given(
    "m", "Height of the element's pivot above the ground.", at_least=0, usual="10 to 400 mm", lever="1 mm"
)
element_design_incidence_closed = given(
    "rad", "Incidence the element should have closed.", usual="0 to 75 deg", lever="2 deg"
)
element_design_incidence_open = given(
    "rad",
    "Incidence the element should have open; 0 is level.",
    default=0.0,
    usual="-10 to 20 deg",
    lever="1 deg",
)


@quantity("m2", source="area of a rectangle")
def element_area(element_chord: Array, element_span: Array) -> Array:
    """Plan area of the element: chord times span."""
    return element_chord * element_span
