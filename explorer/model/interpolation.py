"""Smooth curves from a few of their values, for all samples at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache

import numpy as np
from numpy.polynomial import polynomial

from explorer.graph.arrays import Array

#: Gauss-Chebyshev places on [0, 1] for a curve that is close to a straight line, and for one that is not.
FEW, MANY = ((1 - np.cos(np.pi * (np.arange(n) + 0.5) / n)) / 2 for n in (4, 8))


@cache
def _powers(count: int) -> Array:
    """Return what each value at so many places gives to each power of the polynomial through all of them."""
    places = {len(each): each for each in (FEW, MANY)}[count]
    others = [np.delete(places, k) for k in range(count)]
    return np.array(
        [polynomial.polyfromroots(o) / np.prod(p - o) for p, o in zip(places, others, strict=True)]
    ).T


def through(values: Sequence[Array]) -> Callable[[Array], Array]:
    """Return the polynomial over [0, 1] that takes these values at the places ``FEW`` or ``MANY``."""
    terms = [
        sum((w * value for w, value in zip(row, values, strict=True)), np.zeros(()))
        for row in _powers(len(values))
    ]

    def at(place: Array) -> Array:
        total = terms[-1]
        for term in terms[-2::-1]:
            total = term + place * total
        return total

    return at
