"""The shape of a design space: where limits hold, the line between, and what cannot be bettered.

A *surplus* is zero or more where a requirement is met and says how far away the turn is (see
``explorer.estimators.assessment``).  Everything here works on surpluses and scores, whatever they came from.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from explorer.graph.arrays import Array, Mask

Segment: TypeAlias = tuple[float, float, float, float]
Span: TypeAlias = tuple[float, float]

# Roots are closed in on to this share of the range searched.
ROOT_SHARE = 1e-4


@dataclass(frozen=True)
class Edge:
    """Where a stretch of values that hold ends.

    Attributes
    ----------
    value:
        The estimate.
    sure:
        Where it holds beyond doubt from here on inwards; None when no value does.
    possible:
        Beyond this it fails beyond doubt.
    at_end:
        True when the stretch runs to the end of the range searched: the true edge may lie beyond.
    """

    value: float
    sure: float | None
    possible: float
    at_end: bool


@dataclass(frozen=True)
class Stretch:
    """Values between two edges, all of which hold."""

    low: Edge
    high: Edge


def contour(x: Sequence[float], y: Sequence[float], surface: Array) -> tuple[Segment, ...]:
    """Trace where a surface passes through zero, in straight pieces.

    Parameters
    ----------
    x, y:
        Rising positions of the columns and rows.
    surface:
        Shape (rows, columns); minus infinity is allowed, and pulls the line to the node that holds.

    Returns
    -------
    tuple
        Pieces (x1, y1, x2, y2) in no order.

    Notes
    -----
    Marching squares, the plane case of Lorensen & Cline, SIGGRAPH 1987; a saddle is joined by the mean of its
    corners.
    """
    pieces = []
    for j in range(len(y) - 1):
        for i in range(len(x) - 1):
            corners = [(x[i], y[j]), (x[i + 1], y[j]), (x[i + 1], y[j + 1]), (x[i], y[j + 1])]
            values = [surface[j, i], surface[j, i + 1], surface[j + 1, i + 1], surface[j + 1, i]]
            pieces += _pieces(corners, [float(value) for value in values])
    return tuple(pieces)


def _pieces(corners: list[tuple[float, float]], values: list[float]) -> list[Segment]:
    # Side k runs from corner k to the next one round.
    sides = [(k, (k + 1) % 4) for k in range(4)]
    crossed = [(a, b) for a, b in sides if (values[a] >= 0) != (values[b] >= 0)]
    points = [_between(corners[a], corners[b], values[a], values[b]) for a, b in crossed]
    if len(crossed) == 2:
        pairs = [(0, 1)]
    elif len(crossed) == 4:
        # Two corners face each other on the same side: the middle tells which pair is joined.
        joined = (float(np.mean(values)) >= 0) == (values[0] >= 0)
        pairs = [(0, 1), (2, 3)] if joined else [(3, 0), (1, 2)]
    else:
        pairs = []
    # Through a node that lies on zero itself, a piece may have no length.
    return [(*points[a], *points[b]) for a, b in pairs if points[a] != points[b]]


def _between(
    first: tuple[float, float], second: tuple[float, float], value: float, other: float
) -> tuple[float, float]:
    """Interpolate from the end that holds, so that minus infinity at the other end is no obstacle."""
    if value < 0:
        first, second, value, other = second, first, other, value
    share = value / (value - other)
    return (first[0] + share * (second[0] - first[0]), first[1] + share * (second[1] - first[1]))


def nondominated(scores: Array) -> Mask:
    """Mark the points that no other point betters.

    Parameters
    ----------
    scores:
        Shape (points, objectives); more is better.  A point with NaN is never marked and betters nothing.
    """
    known = ~np.any(np.isnan(scores), axis=1)
    marks: Mask = np.array(known)
    for k in np.flatnonzero(known):
        as_good = known & np.all(scores >= scores[k], axis=1)
        marks[k] = not np.any(as_good & np.any(scores > scores[k], axis=1))
    return marks


def stretches(surplus: Callable[[float], Array], values: Sequence[float]) -> tuple[Stretch, ...]:
    """Find the stretches of one variable on which a requirement holds.

    Parameters
    ----------
    surplus:
        Surpluses at a value: sure, likely, possible.
    values:
        Rising values to look at first; what happens twice between two of them is not seen.

    Returns
    -------
    tuple of Stretch
        Where the likely surplus is zero or more, from low to high.
    """
    known: dict[float, Array] = {}

    def at(value: float) -> Array:
        if value not in known:
            known[value] = surplus(value)
        return known[value]

    def spans_of(kind: int) -> list[Span]:
        return spans(lambda value: float(at(value)[kind]), values)

    sure, likely, possible = spans_of(0), spans_of(1), spans_of(2)
    return tuple(_stretch(span, sure, possible, (values[0], values[-1])) for span in likely)


def spans(surplus: Callable[[float], float], values: Sequence[float]) -> list[Span]:
    """Return the spans of a variable in which one surplus is zero or more.

    Parameters
    ----------
    values:
        Rising values to look at first; what happens twice between two of them is not seen.
    """
    found: list[Span] = []
    start = values[0] if surplus(values[0]) >= 0 else None
    for low, high in itertools.pairwise(values):
        holds = surplus(high) >= 0
        if start is None and holds:
            start = _turn(surplus, high, low)
        elif start is not None and not holds:
            found.append((start, _turn(surplus, low, high)))
            start = None
    if start is not None:
        found.append((start, values[-1]))
    return found


def _turn(surplus: Callable[[float], float], holding: float, failing: float) -> float:
    """Close in on the turn between a value that holds and one that does not."""
    width = abs(failing - holding)
    while not math.isfinite(surplus(failing)):
        # Without a number at the failing end, halve towards it until there is one or no width is left.
        if abs(failing - holding) <= ROOT_SHARE * width:
            return holding
        middle = (holding + failing) / 2
        holding, failing = (middle, failing) if surplus(middle) >= 0 else (holding, middle)
    from scipy.optimize import brentq  # takes its time to load, which a study that is checked need not

    return float(brentq(surplus, holding, failing, xtol=ROOT_SHARE * width))


def _stretch(span: Span, sure: list[Span], possible: list[Span], ends: Span) -> Stretch:
    inside = [(low, high) for low, high in sure if span[0] <= high and low <= span[1]]
    around = [(low, high) for low, high in possible if low <= span[1] and span[0] <= high]
    outer = (min([span[0], *(low for low, _ in around)]), max([span[1], *(high for _, high in around)]))
    return Stretch(
        Edge(span[0], inside[0][0] if inside else None, outer[0], span[0] == ends[0]),
        Edge(span[1], inside[-1][1] if inside else None, outer[1], span[1] == ends[1]),
    )
