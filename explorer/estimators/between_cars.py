"""Whether ignorance or the day decides a limit: the share of its spread, and of its misses, between cars.

Every car is seen on two days.  What both days share is of the car and could be learnt; the rest is the day.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from explorer.estimators.conformance import CONFIDENCE, binomial_interval
from explorer.estimators.sensitivity import Estimate
from explorer.graph.arrays import Array, Mask

# Groups of cars that are left out one after the other for the interval.
GROUPS = 32


@dataclass(frozen=True)
class BetweenCars:
    """What could be learnt of one limit: shares of variance between cars, each with an interval of 95 %.

    Attributes
    ----------
    cars:
        Seen, on two days each.
    margin:
        Of the margin's variance; None where the margin does not vary.
    decision:
        Of the variance of meeting the limit or missing it: near one the same cars miss it on every day, near
        zero each does on some.  None where all meet it, or none.
    """

    cars: int
    margin: Estimate | None
    decision: Estimate | None


def between_cars(margins: Array) -> BetweenCars:
    """Tell cars and days apart.

    Parameters
    ----------
    margins:
        Shape (cars, 2), zero or more meets the limit; one that is not finite has no answer, and misses it.

    Source: intraclass correlation of pairs (Fisher, Statistical Methods for Research Workers, 38), from
    memory; of the margin a jackknife by groups, of the decision the exact binomial interval of what is missed
    on both days among what is missed on either, which is conservative (0.955 to 0.995 where simulated).
    """
    answered = margins[np.isfinite(margins).all(axis=1)]
    return BetweenCars(len(margins), _shared(answered), _of_the_decision(margins >= 0))


def _shared(pairs: Array) -> Estimate | None:
    """Return what share of their variance pairs have in common; None where they do not vary."""
    if len(pairs) < 2 * GROUPS or float(np.ptp(pairs)) == 0:
        return None
    one, other = (pairs - pairs.mean()).T
    terms = np.stack([np.ones(len(one)), one + other, one**2 + other**2, one * other])
    sums = np.stack([terms[:, group::GROUPS].sum(axis=1) for group in range(GROUPS)], axis=1)
    whole = sums.sum(axis=1)
    value = float(_share(whole))
    # A group that holds all that varies leaves nothing to tell: the whole stands for it.
    without = np.nan_to_num(_share(whole[:, None] - sums), nan=value)
    error = math.sqrt((GROUPS - 1) * float(np.var(without)))
    half = float(stdtrit(GROUPS - 1, (1 + CONFIDENCE) / 2)) * error
    low, middle, high = (min(max(end, 0.0), 1.0) for end in (value - half, value, value + half))
    return Estimate(middle, low, high)


def _share(sums: Array) -> Array:
    count, both, squares, products = sums
    mean = both / count / 2
    variance = squares / count / 2 - mean**2
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray((products / count - mean**2) / variance)


def _of_the_decision(met: Mask) -> Estimate | None:
    """Return what both days share of meeting a limit or missing it: what is rarer of the two is counted."""
    rare = met if 2 * np.count_nonzero(met) < met.size else ~met
    often, both = float(np.mean(rare)), int(np.count_nonzero(rare.all(axis=1)))
    either = int(np.count_nonzero(rare.any(axis=1)))
    if either == 0:
        return None

    def share(on_both: float) -> float:
        # Of those that have it on one day, so many have it on the other, too.
        again = 2 * on_both / (1 + on_both)
        return min(max((again - often) / (1 - often), 0.0), 1.0)

    low, high = binomial_interval(both, either)
    return Estimate(share(both / either), share(low), share(high))
