"""How the cars that miss a limit differ from those that meet it, counted on the same cars."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from explorer.graph.arrays import Array, Mask

# Fewer cars than this in either group show nothing of what they have in common.
FEWEST = 20
_QUARTERS = (0.25, 0.5, 0.75)
_FIFTHS = 5


@dataclass(frozen=True)
class Middle:
    """The middle half of some cars, and their median, in standard deviations from the median of all."""

    low: float
    median: float
    high: float


@dataclass(frozen=True)
class Apart:
    """Where an input lies among the cars that miss a limit, and among the rest.

    ``shift`` is the difference of their medians in standard deviations of all cars, ``error`` the standard
    error of the difference of two means, in the same.
    """

    missing: Middle
    rest: Middle
    shift: float
    error: float


@dataclass(frozen=True)
class Slice:
    """A fifth of the cars along one input: from, to, how many, and how many of them miss the limit."""

    low: float
    high: float
    cars: int
    missing: int


def enough(missing: Mask) -> bool:
    """Tell whether both groups hold cars enough to be held against each other."""
    return min(int(np.sum(missing)), int(np.sum(~missing))) >= FEWEST


def apart(values: Array, missing: Mask) -> Apart:
    """Hold an input among the cars that miss a limit against the rest; shape (cars,) both.

    Source: quartiles; standard error of a difference of means, equal variances.
    """
    spread = float(np.std(values)) or 1.0
    scaled = (values - np.median(values)) / spread
    one, other = (Middle(*np.quantile(scaled[group], _QUARTERS).tolist()) for group in (missing, ~missing))
    error = float(np.sqrt(1 / np.sum(missing) + 1 / np.sum(~missing)))
    return Apart(one, other, one.median - other.median, error)


def fifths(values: Array, missing: Mask) -> tuple[Slice, ...]:
    """Count, in each fifth of the cars along an input, those that miss the limit."""
    order = np.argsort(values, kind="stable")
    return tuple(
        Slice(float(values[part[0]]), float(values[part[-1]]), part.size, int(np.sum(missing[part])))
        for part in np.array_split(order, _FIFTHS)
        if part.size
    )


def missed_together(missing: Sequence[Mask]) -> tuple[tuple[int, ...], ...]:
    """Count the cars that miss two limits at once, for every pair; on the diagonal those that miss one."""
    together = np.array(missing, dtype=np.int64)
    counts: tuple[tuple[int, ...], ...] = tuple(map(tuple, (together @ together.T).tolist()))
    return counts
