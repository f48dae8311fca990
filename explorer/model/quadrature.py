"""Integrals of smooth curves from a few of their values, for all samples at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.polynomial import polynomial

from explorer.graph.quantity import Array

#: Gauss-Chebyshev places on [0, 1] for a curve that is costly, and for one that is not.
FEW, MANY = ((1 - np.cos(np.pi * (np.arange(n) + 0.5) / n)) / 2 for n in (4, 8))


def _powers(places: Array) -> Array:
    """Return what each value at the places gives to each power of the polynomial through all of them."""
    others = [np.delete(places, k) for k in range(len(places))]
    return np.array(
        [polynomial.polyfromroots(o) / np.prod(p - o) for p, o in zip(places, others, strict=True)]
    ).T


_CURVE = _powers(FEW)
_INTEGRAL = _powers(MANY) / np.arange(1, len(MANY) + 1)[:, np.newaxis]


def through(values: Sequence[Array]) -> Callable[[Array], Array]:
    """Return the polynomial over [0, 1] that takes these values at the places ``FEW``."""
    return _polynomial(_weighted(_CURVE, values))


def running_integral(values: Sequence[Array]) -> Callable[[Array], Array]:
    """Return the integral from 0 on of the polynomial over [0, 1] through values at the places ``MANY``."""
    mean = _polynomial(_weighted(_INTEGRAL, values))
    return lambda share: share * mean(share)


def _weighted(weights: Array, values: Sequence[Array]) -> list[Array]:
    return [sum((w * value for w, value in zip(row, values, strict=True)), np.zeros(())) for row in weights]


def _polynomial(terms: list[Array]) -> Callable[[Array | float], Array]:
    def at(place: Array | float) -> Array:
        total = terms[-1]
        for term in terms[-2::-1]:
            total = term + place * total
        return total

    return at
