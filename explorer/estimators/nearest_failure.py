"""The failing car nearest to the middle of all distributions: the most likely one."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TypeAlias

import numpy as np

from explorer.graph.arrays import Array

# Samples in standard normal space, shape (samples, dimensions), to margins, shape (samples,).
MarginOf: TypeAlias = Callable[[Array], Array]

# Points along the ray to the nearest failure; steps of the search with gradients; width of its differences.
RAY_POINTS = 201
MOST_SEARCHES = 40
SLOPE_WIDTH = 1e-4
# A search with gradients ends where a step brings less than this share.
FINE = 1e-8


def failing_is_lowest(margins: Array) -> Array:
    """Margins with what is not finite, a car without an answer, turned into the worst failure."""
    return np.where(np.isfinite(margins), margins, -np.inf)


def most_likely_failure(margin_of: MarginOf, failures: Array) -> tuple[Array, int]:
    """Find the failing point nearest to the middle, where the density is highest.

    The nearest failure known is drawn in along its ray; from there a search with gradients goes on as long as
    it helps (Rackwitz & Fiessler, Computers & Structures 9 (1978) 489, with halved steps).

    Returns
    -------
    tuple
        The point, shape (dimensions,), and how many evaluations were spent.
    """
    nearest = failures[int(np.argmin(np.sum(failures**2, axis=1)))]
    shares = np.linspace(0, 1, RAY_POINTS)
    along = failing_is_lowest(margin_of(shares[:, None] * nearest))
    # A margin without a number is only as bad as the worst one with a number: slopes stay finite.
    worst = float(np.min(along[np.isfinite(along)], initial=0.0)) - 1.0
    spent = RAY_POINTS

    def margins(points: Array) -> Array:
        nonlocal spent
        spent += len(points)
        return np.maximum(failing_is_lowest(margin_of(points)), worst)

    failing = shares[along < 0]
    start = nearest * (float(failing[0]) if failing.size else 1.0)
    point = start
    for _ in range(MOST_SEARCHES):
        nudges = SLOPE_WIDTH * np.eye(point.size)
        margin, *sides = margins(np.concatenate([point[None], point + nudges, point - nudges]))
        slope = np.subtract(*np.array(sides).reshape(2, -1)) / (2 * SLOPE_WIDTH)
        steep = float(slope @ slope)
        if not steep > 0:
            break
        # The nearest point of the plane that touches the margin here.
        move = (slope @ point - margin) / steep * slope - point
        trials = point + move * 0.5 ** np.arange(8)[:, None]
        weight = 2 * float(np.linalg.norm(point)) / math.sqrt(steep)
        merits = np.sum(trials**2, axis=1) / 2 + weight * np.abs(margins(trials))
        best = int(np.argmin(merits))
        if not merits[best] < (point @ point / 2 + weight * abs(margin)) * (1 - FINE):
            break
        point = trials[best]
    nearer = float(np.linalg.norm(point)) < float(np.linalg.norm(start))
    # The search ends on the limit; a hair further out the car must fail.
    return (point if nearer and float(margins(point[None] * 1.001)[0]) < 0 else start), spent
