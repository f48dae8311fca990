"""The best build that still meets every limit: a constrained search on common random numbers.

On common random numbers expectation and surplus are plain, repeatable functions of the design, so an ordinary
optimiser works on them.  What it finds is the best for these samples; it has to be verified with fresh ones.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from explorer.estimators.ranges import Range
from explorer.graph.arrays import Array

# In units of the range of each variable: first step, and the accuracy at which the search ends.
FIRST_STEP = 0.15
LAST_STEP = 1e-3
# Evaluations for each start and variable.
EFFORT = 40
# Score of a build whose objective has no answer.
NO_SCORE = -1e30


@dataclass(frozen=True)
class Standing:
    """What a search needs to know of one build: its score, more is better, and its smallest surplus."""

    score: float
    surplus: Array

    @property
    def slack(self) -> float:
        """Smallest surplus; zero or more means that every limit is met."""
        return float(np.min(self.surplus)) if self.surplus.size else math.inf

    @property
    def feasible(self) -> bool:
        """Whether it may be chosen."""
        return self.slack >= 0 and self.score > NO_SCORE


@dataclass(frozen=True)
class Found:
    """The best point seen, its standing, and how many points were tried."""

    point: tuple[float, ...]
    standing: Standing
    tried: int


def guarded(required: float, search_samples: int, check_samples: int, reserve: float) -> float:
    """Raise a required probability so that what a search finds will stand the check.

    So many standard errors of the estimate, in the search and in the check, are held in reserve, but never
    more than half of the way to certainty.
    """
    error = math.sqrt(required * (1 - required)) * (
        1 / math.sqrt(search_samples) + 1 / math.sqrt(check_samples)
    )
    return min(required + reserve * error, (1 + required) / 2)


def best_point(
    standing: Callable[[tuple[float, ...]], Standing],
    ranges: Sequence[Range],
    starts: Sequence[tuple[float, ...]],
    scale: float,
) -> Found:
    """Search for the best score among the points that meet every limit.

    Parameters
    ----------
    standing:
        Of a point, one value for each variable, in their units.
    ranges:
        One for each variable.
    starts:
        Points to start from, and to fall back on: values that can be had.
    scale:
        How much the score varies over the ranges, roughly.

    Returns
    -------
    Found
        The best feasible point that can be had; where none was met, the one nearest to being feasible.

    Notes
    -----
    COBYLA of M. J. D. Powell (1994) as scipy has it, from every start; then the neighbours that the steps of
    the ranges allow, and from the best of them step by step.
    """
    seen: dict[tuple[float, ...], Standing] = {}

    def at(point: Sequence[float]) -> Standing:
        key = tuple(float(value) for value in point)
        if key not in seen:
            seen[key] = standing(key)
        return seen[key]

    for start in starts:
        at(start)
        _improve(at, ranges, start, scale)
    allowed = list(starts)
    for point in _leading(seen, len(starts)):
        allowed += itertools.product(*(one.near(value) for one, value in zip(ranges, point, strict=True)))
    best = max(allowed, key=lambda point: _merit(at(point)))
    best = _stepped(at, ranges, best)
    return Found(best, at(best), len(seen))


def _merit(standing: Standing) -> tuple[bool, float]:
    return standing.feasible, standing.score if standing.feasible else standing.slack


def _leading(seen: dict[tuple[float, ...], Standing], count: int) -> list[tuple[float, ...]]:
    return sorted(seen, key=lambda point: _merit(seen[point]), reverse=True)[:count]


def _improve(
    at: Callable[[Sequence[float]], Standing], ranges: Sequence[Range], start: Sequence[float], scale: float
) -> None:
    """Run the optimiser in the unit cube; every point it tries is seen by ``at``."""
    low = np.array([one.low for one in ranges])
    width = np.array([one.width for one in ranges])

    def standing(unit: Array) -> Standing:
        return at(tuple((low + width * np.clip(unit, 0, 1)).tolist()))

    def slack(unit: Array) -> Array:
        # A limit without an answer is as far from holding as a thousand spreads.
        return np.maximum(standing(unit).surplus, -1e3)

    # An objective without an answer is worse than anything near, but finite.
    worst = max(at(start).score, NO_SCORE / 2) - 100 * scale
    options: Any = {"rhobeg": FIRST_STEP, "tol": LAST_STEP, "maxiter": EFFORT * (len(ranges) + 1)}

    def loss(unit: Array) -> float:
        return -max(standing(unit).score, worst) / scale

    from scipy.optimize import Bounds, NonlinearConstraint, minimize

    minimize(
        loss,
        (np.array(start) - low) / width,
        method="COBYLA",
        bounds=Bounds(0, 1),
        constraints=NonlinearConstraint(slack, 0, np.inf),
        options=options,
    )


def _stepped(
    at: Callable[[Sequence[float]], Standing], ranges: Sequence[Range], point: tuple[float, ...]
) -> tuple[float, ...]:
    """Walk along the steps of the ranges, one or two at a time, as long as that betters the build."""
    while True:
        neighbours = _neighbours(ranges, point)
        best = max([point, *neighbours], key=lambda one: _merit(at(one)))
        if best == point:
            return point
        point = best


def _neighbours(ranges: Sequence[Range], point: tuple[float, ...]) -> list[tuple[float, ...]]:
    steps = [{k: sign} for k in range(len(ranges)) for sign in (-1, 1)]
    steps += [{**a, **b} for a, b in itertools.combinations(steps, 2) if not a.keys() & b.keys()]
    found = []
    for step in steps:
        moved = [ranges[k].moved(value, step[k]) if k in step else value for k, value in enumerate(point)]
        if None not in moved:
            found.append(tuple(value for value in moved if value is not None))
    return found
