"""Twist of an element that is driven at one end: the air turns the other end further.

The moment of the air is spread evenly along the span and carried by the driven end alone; the other pivot
turns freely.  Driven in the middle, an element twists a quarter as much; driven at both ends too.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import quantity

#: Poisson's ratio of prints and laminates without a preferred direction: judgement.
_POISSON = 0.35


@quantity("Pa", source="E / (2 (1 + 0.35)); Poisson's ratio is a judgement")
def element_shear_modulus(element_modulus: Array) -> Array:
    """Shear modulus of the element; give it where fibres lie along the span, which stiffen bending alone."""
    return element_modulus / (2 * (1 + _POISSON))


@quantity("m4", source="thin solid section: 4 I (Timoshenko, Strength of Materials)")
def element_torsion_constant(element_second_moment: Array) -> Array:
    """Torsion constant of the element's section: c t^3/3 of a plate; give it for a hollow section."""
    return 4 * element_second_moment


@quantity("rad", source="torsion of a bar under an even moment: M L / (2 G J)")
def element_twist(
    element_closing_moment: Array,
    load_factor: Array,
    element_span: Array,
    element_shear_modulus: Array,
    element_torsion_constant: Array,
) -> Array:
    """How much further towards closed the free end stands than the driven one, the load factor in it."""
    moment = load_factor * element_closing_moment
    return moment * element_span / (2 * element_shear_modulus * element_torsion_constant)


@quantity("rad", source="definition")
def largest_twist(element_twist: Array) -> Array:
    """Largest twist of any element between its two ends, whichever way."""
    largest: Array = np.max(np.abs(element_twist), axis=0)
    return largest
