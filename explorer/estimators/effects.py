"""Which way an input moves a margin: shifted on the same cars, or seen among cars that differ."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from explorer.estimators.conformance import CONFIDENCE
from explorer.estimators.ranges import Range
from explorer.estimators.side_by_side import Search
from explorer.graph.arrays import Array

NORMAL = float(ndtri((1 + CONFIDENCE) / 2))
# Cars with the lowest and with the highest values that are held against each other: a fifth each.
TAIL = 0.2
# Settings looked at on the way to either end of a range.
LOOKS = 4
# A setting is sought to such a part of the way between two looks, in so many steps at most.
FINEST = 256
MOST_STEPS = 12


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


def mean_change(before: Array, after: Array) -> Change:
    """Return how much a margin changes on average over the same cars, shape (cars,) both.

    Source: mean of paired differences, normal interval (common random numbers).
    """
    difference = after - before
    known = difference[np.isfinite(difference)]
    unanswered = 1 - known.size / difference.size
    if known.size < 2:
        return Change(math.nan, -math.inf, math.inf, unanswered)
    half = NORMAL * float(np.std(known, ddof=1)) / math.sqrt(known.size)
    mean = float(np.mean(known))
    return Change(mean, mean - half, mean + half, unanswered)


def low_to_high(values: Array, margin: Array) -> Change:
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
    half = NORMAL * float(np.std(influence)) / math.sqrt(answered.size)
    mean = float(np.mean(highest) - np.mean(lowest))
    return Change(mean, mean - half, mean + half, unanswered)


def looks_towards(now: float, allowed: Range) -> tuple[tuple[float, ...], ...]:
    """Return the settings to be looked at on the way from the present one to each end of the range."""
    start = min(max(now, allowed.low), allowed.high)
    return tuple(
        tuple(
            dict.fromkeys(allowed.nearest(value) for value in np.linspace(start, end, LOOKS + 1)[1:].tolist())
        )
        if end != start
        else ()
        for end in (allowed.low, allowed.high)
    )


def nearest_setting(
    now: float, allowed: Range, guessed: Mapping[float, tuple[float, float]]
) -> Search[float, float, float | None]:
    """Find the setting nearest to the present one, on either side, at which a surplus is not below zero.

    A stretch shorter than the way between two looks may be missed.

    Parameters
    ----------
    guessed:
        At the present setting and at those of ``looks_towards``: about what the surplus is, and the most it
        may be; where that is below zero nothing is asked.

    Yields
    ------
    float
        Settings whose surplus it is to be sent; the result, None where there is none, is one of them.
    """
    found = []
    for way in looks_towards(now, allowed):
        last = min(max(now, allowed.low), allowed.high)
        for setting in way:
            if guessed[setting][1] >= 0 and (surplus := (yield setting)) >= 0:
                # What the guess is off by here it is off by a little further on.
                below = guessed[last][0] + surplus - guessed[setting][0] if last in guessed else -math.inf
                found.append((yield from _closer(last, below, setting, surplus, allowed)))
                break
            last = setting
    return min(found, key=lambda value: abs(value - now), default=None)


def _closer(
    fails: float, below: float, holds: float, above: float, allowed: Range
) -> Search[float, float, float]:
    """Close in on where a surplus turns, by straight lines between its values at both ends.

    The end that the line would never move is aimed past, by as little as counts.
    """
    fine = abs(holds - fails) / FINEST
    for step in range(MOST_STEPS):
        share = (
            above / (above - below) if below < 0 and math.isfinite(above - below) and step % 3 < 2 else 0.5
        )
        aim = holds + (fails - holds) * share
        # Either side of the turn by turns, so that both ends come near.
        aim += math.copysign(fine, (fails - holds) if step % 2 else (holds - fails))
        between = (value for value in allowed.near(aim) if min(fails, holds) < value < max(fails, holds))
        tried = min(between, key=lambda value: abs(value - aim), default=allowed.nearest((fails + holds) / 2))
        if tried in (fails, holds) or abs(holds - fails) <= 2 * fine:
            break
        surplus = yield tried
        if surplus >= 0:
            holds, above = tried, surplus
        else:
            fails, below = tried, surplus
    return holds
