"""Two kinds of not knowing: how often one car holds a limit, and how sure that is over the cars there may be.

Cars are drawn, and days for each car.  Of a car it is counted on how many of its days the limit holds; the
days are few, so the count scatters about the car's own probability, and the interval below allows for that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from explorer.estimators.conformance import CONFIDENCE, Verdict, binomial_interval
from explorer.graph.arrays import Array

# Chance of a wrong side by the scatter of the days, that a car at the required probability is given.
WRONG_SIDE = 0.05
# Places of a margin's distribution over the days that are kept of each car, and cars that are shown of them.
LEVELS = (0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99)
SHOWN = (0.05, 0.5, 0.95)


@dataclass(frozen=True)
class Sureness:
    """How sure it is that a car holds a limit often enough.

    Attributes
    ----------
    cars, days:
        Drawn: cars, and days for each of them.
    required, sure:
        How often a car has to hold the limit, and how sure that has to be.
    often_enough, low, high:
        Share of cars that do, as counted, and an interval that holds it at least 95 times in 100 whatever the
        margin's shape: the scatter of the days is bounded in it.
    verdict:
        "pass" when the whole interval reaches ``sure``, "fail" when none of it does.
    average, at_least:
        How often the limit holds over all cars and days; and what a car is counted to reach with surety
        ``sure``.  The scatter of the days pulls that quantile outwards for the usual shapes, so that it is
        rather too small; it has no interval, and the verdict does not rest on it.
    ignorance:
        Share of the margin's variance that is between cars: it could be learnt, and the rest is the day.
    levels, family:
        Probabilities, and the margin at each of them for cars that have little, the middle and much of it:
        shape (levels, 3), in SI units; minus infinity where there is no answer.
    """

    cars: int
    days: int
    required: float
    sure: float
    often_enough: float
    low: float
    high: float
    verdict: Verdict
    average: float
    at_least: float
    ignorance: float
    levels: tuple[float, ...]
    family: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class OfCars:
    """What is kept of each car: days on which the limit holds, moments of the margin, its quantiles.

    ``holds``, ``mean`` and ``variance`` have shape (cars,), ``quantiles`` (cars, levels).
    """

    holds: Array
    mean: Array
    variance: Array
    quantiles: Array

    @classmethod
    def of(cls, margins: Array) -> OfCars:
        """Reduce margins of shape (cars, days); what is not a number holds nothing."""
        answered = np.where(np.isnan(margins), -np.inf, margins)
        some = np.isfinite(margins)
        count = np.maximum(some.sum(axis=1), 1)
        mean = np.where(some, margins, 0.0).sum(axis=1) / count
        off = np.where(some, margins - mean[:, None], 0.0)
        # The quantile below, so that no answer is averaged with none.
        quantiles = np.quantile(answered, LEVELS, axis=1, method="lower").T
        return cls(
            np.count_nonzero(margins >= 0, axis=1).astype(float),
            mean,
            (off**2).sum(axis=1) / np.maximum(count - 1, 1),
            quantiles,
        )

    @classmethod
    def joined(cls, parts: list[OfCars]) -> OfCars:
        """Put chunks of cars one after the other."""
        return cls(
            *(np.concatenate([getattr(part, name) for part in parts]) for name in cls.__dataclass_fields__)
        )


def how_sure(of: OfCars, days: int, required: float, sure: float) -> Sureness:
    """Judge how sure it is that a car holds its limit with the required probability.

    A car short of it is counted on ``surely`` many days with a chance of at most ``WRONG_SIDE``, and a car
    that has it on fewer than ``barely`` with no more; so what is counted on either side bounds the share of
    cars, and exact binomial intervals of both shares give the ends.

    Source: thresholds of the binomial distribution; Clopper & Pearson, Biometrika 26 (1934) 404.
    """
    from scipy.stats import binom  # takes its time to load, which a check need not

    cars = len(of.holds)
    surely = float(binom.isf(WRONG_SIDE, days, required)) + 1
    barely = float(binom.ppf(WRONG_SIDE, days, required))
    least, _ = binomial_interval(float(np.sum(of.holds >= surely)), cars, CONFIDENCE)
    _, most = binomial_interval(float(np.sum(of.holds >= barely)), cars, CONFIDENCE)
    low = max(0.0, (least - WRONG_SIDE) / (1 - WRONG_SIDE)) if surely <= days else 0.0
    high = min(1.0, most / (1 - WRONG_SIDE))
    counted = float(np.mean(of.holds >= math.ceil(required * days - 1e-9)))
    return Sureness(
        cars=cars,
        days=days,
        required=required,
        sure=sure,
        often_enough=min(max(counted, low), high),
        low=low,
        high=high,
        verdict="pass" if low >= sure else "fail" if high < sure else "undecided",
        average=float(np.mean(of.holds)) / days,
        at_least=float(np.quantile(of.holds, 1 - sure, method="lower")) / days,
        ignorance=_between_cars(of, days),
        levels=LEVELS,
        family=tuple(map(tuple, np.quantile(of.quantiles, SHOWN, axis=0, method="lower").T.tolist())),
    )


def _between_cars(of: OfCars, days: int) -> float:
    """Share of the variance that is between cars; what the days add to a car's mean is taken off."""
    within = float(np.mean(of.variance))
    between = max(float(np.var(of.mean, ddof=1)) - within / days, 0.0)
    return between / (between + within) if between + within > 0 else 0.0
