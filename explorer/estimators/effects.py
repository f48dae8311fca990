"""Which way an input moves a margin: shifted on the same cars, or seen among cars that differ."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from explorer.estimators.conformance import CONFIDENCE
from explorer.estimators.ranges import Range
from explorer.graph.arrays import Array

# Cars with the lowest and with the highest values that are held against each other: a fifth each.
TAIL = 0.2
# Halvings of the way to a setting, where any value can be had.
HALVINGS = 12


@dataclass(frozen=True)
class Change:
    """A mean difference with its interval; ``unanswered`` is the share of cars that could not be compared."""

    value: float
    low: float
    high: float
    unanswered: float = 0.0

    @property
    def clear(self) -> bool:
        """Whether the interval leaves no doubt which way it goes."""
        return self.low > 0 or self.high < 0


def mean_change(before: Array, after: Array, confidence: float = CONFIDENCE) -> Change:
    """Return how much a margin changes on average over the same cars, shape (cars,) both.

    Source: mean of paired differences, normal interval (common random numbers).
    """
    difference = after - before
    known = difference[np.isfinite(difference)]
    unanswered = 1 - known.size / difference.size
    if known.size < 2:
        return Change(math.nan, -math.inf, math.inf, unanswered)
    half = float(ndtri((1 + confidence) / 2)) * float(np.std(known, ddof=1)) / math.sqrt(known.size)
    mean = float(np.mean(known))
    return Change(mean, mean - half, mean + half, unanswered)


def low_to_high(values: Array, margin: Array, confidence: float = CONFIDENCE) -> Change:
    """Return the mean margin of the fifth with the highest values less that of the fifth with the lowest.

    Cars without an answer are left out and told as ``unanswered``.

    Source: influence function of a tail mean: where the fifth begins is known from the same cars, too.
    """
    known = np.isfinite(margin)
    unanswered = 1 - float(np.mean(known))
    answered = margin[known][np.argsort(values[known], kind="stable")]
    count = int(TAIL * answered.size)
    if count < 2:
        return Change(math.nan, -math.inf, math.inf, unanswered)
    lowest, highest = answered[:count], answered[-count:]
    near = max(2, count // 10)
    influence = np.zeros(answered.size)
    influence[:count] -= (lowest - np.mean(answered[count - near : count + near])) / TAIL
    influence[-count:] += (highest - np.mean(answered[-count - near : -count + near])) / TAIL
    half = float(ndtri((1 + confidence) / 2)) * float(np.std(influence)) / math.sqrt(answered.size)
    mean = float(np.mean(highest) - np.mean(lowest))
    return Change(mean, mean - half, mean + half, unanswered)


def nearest_setting(
    passes: Callable[[float], bool], now: float, allowed: Range, *, looks: int = 4
) -> float | None:
    """Return the setting nearest to the present one, on either side, at which something passes.

    The way to each end is looked at in a few places, and the way to the first that passes is halved: a
    stretch shorter than one of these parts may be missed.

    Returns
    -------
    float or None
        A value that can be had (a step of the range), and at which it was seen to pass; None where none is.
    """
    found = [
        setting
        for end in (allowed.low, allowed.high)
        if (setting := _towards(passes, now, end, allowed, looks)) is not None
    ]
    return min(found, key=lambda value: abs(value - now), default=None)


def _towards(
    passes: Callable[[float], bool], now: float, end: float, allowed: Range, looks: int
) -> float | None:
    """Look from the present setting to one end of the range, which need not hold the present setting."""
    start = min(max(now, allowed.low), allowed.high)
    if start == end:
        return None
    last = start
    for value in np.linspace(start, end, looks + 1)[1:].tolist():
        tried = allowed.nearest(value)
        if passes(tried):
            return _closer(passes, last, tried, allowed)
        last = tried
    return None


def _closer(passes: Callable[[float], bool], fails: float, holds: float, allowed: Range) -> float:
    """Halve the way between a setting that fails and one that passes."""
    for _ in range(HALVINGS):
        middle = allowed.nearest((fails + holds) / 2)
        if middle in (fails, holds):
            break
        fails, holds = (fails, middle) if passes(middle) else (middle, holds)
    return holds
