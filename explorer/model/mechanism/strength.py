"""Strength of the moving elements: each a beam from end plate to end plate, its air load spread evenly.

Ends that turn freely in their pivots are simply supported (fixity 0); an element glued or screwed to stiff
arms approaches built in (fixity 1); in between, the end moments are that share of the built-in ones, which is
exact for a beam on springs.  Bending is about the chord line; twist is left out.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity
from explorer.model.numeric import reserve_factor

load_factor = given(
    "1",
    "Multiplies the steady air load, for gusts and bumps.",
    default=1.0,
    at_least=0,
    usual="1.0 to 2.0, typically 1.3",
)
reserve_cap = given(
    "1", "Reserve factor at which counting stops: this strong is strong enough.", default=100.0, above=1
)
element_end_fixity = given(
    "1",
    "Fixity of the element's ends: 0 simply supported, 1 built in.",
    default=0.0,
    at_least=0,
    at_most=1,
    usual="0 to 0.6, typically 0.2",
)
element_section_share = given(
    "1",
    """Second moment of area over that of a flat plate of the same chord and thickness.

    1 for a plate; 0.47 for a solid aerofoil of the NACA four-digit kind, thick only in one place.  The
    section modulus follows.  More for a section with camber, less for a hollow one.
    """,
    default=1.0,
    above=0,
    usual="0.2 to 1.1, typically 0.6",
)
element_modulus = given(
    "Pa", "Young's modulus of the element along its span.", above=0, usual="1.8 to 30 GPa, typically 3"
)
element_strength = given(
    "Pa", "Bending strength of the element along its span.", above=0, usual="20 to 250 MPa, typically 45"
)


@quantity("m4", source="rectangle, b h^3/12, times the share of the section")
def element_second_moment(
    element_chord: Array, element_thickness: Array, element_section_share: Array
) -> Array:
    """Second moment of area for bending down; give it for a cambered or hollow section."""
    return element_chord * element_thickness * element_thickness**2 / 12 * element_section_share


@quantity("m3", source="second moment over half the thickness")
def element_section_modulus(element_second_moment: Array, element_thickness: Array) -> Array:
    """Section modulus: what the bending moment is divided by to give the stress at the surface."""
    return 2 * element_second_moment / element_thickness


@quantity("N/m", source="force spread evenly over the span")
def element_line_load(element_normal_force: Array, element_span: Array, load_factor: Array) -> Array:
    """Air load per length of span, the load factor in it, positive downwards."""
    return load_factor * element_normal_force / element_span


@quantity("N m", source="handbook: w L^2/8 simply supported, end moments w L^2/12 built in")
def element_bending_moment(element_line_load: Array, element_span: Array, element_end_fixity: Array) -> Array:
    """Largest bending moment anywhere along the element, at mid-span or at its ends."""
    at_ends = element_end_fixity / 12
    return np.abs(element_line_load) * element_span**2 * np.maximum(1 / 8 - at_ends, at_ends)


@quantity("Pa", source="bending stress M/Z")
def element_bending_stress(element_bending_moment: Array, element_section_modulus: Array) -> Array:
    """Largest bending stress in the element."""
    return element_bending_moment / element_section_modulus


@quantity("m", source="handbook: 5 w L^4/(384 E I) simply supported, 1/5 of it built in")
def element_mid_span_deflection(
    element_line_load: Array,
    element_span: Array,
    element_end_fixity: Array,
    element_modulus: Array,
    element_second_moment: Array,
) -> Array:
    """How far the air bends the middle of the element, square to its chord, positive downwards."""
    shape = (5 - 4 * element_end_fixity) / 384
    return shape * element_line_load * (element_span**2) ** 2 / (element_modulus * element_second_moment)


@quantity("1", source="definition", capped_by="reserve_cap")
def element_strength_margin(
    element_strength: Array, element_bending_stress: Array, reserve_cap: Array
) -> Array:
    """Reserve factor: strength over stress; below 1 the element breaks."""
    return reserve_factor(element_strength, element_bending_stress, reserve_cap)


@quantity("1", source="definition", capped_by="reserve_cap")
def smallest_strength_margin(element_strength_margin: Array) -> Array:
    """Smallest reserve factor of any element in bending."""
    smallest: Array = np.min(element_strength_margin, axis=0)
    return smallest
