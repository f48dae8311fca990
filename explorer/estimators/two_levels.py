"""Two kinds of not knowing: how often one car holds a limit, and how sure that is over the cars there may be.

Cars are drawn, and days for each car.  Of a car it is counted on how many of its days the limit holds; the
days are few, so the count scatters about the car's own probability.  A verdict bounds that scatter; what
weighs cars against each other takes it off the spread between them, and says so where it does.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import bdtr, bdtrc, betaincinv

from explorer.estimators.assessment import turning_counts
from explorer.estimators.conformance import CONFIDENCE, Verdict, binomial_interval
from explorer.estimators.regression import normal_scores
from explorer.graph.arrays import Array

# Places of what a car is counted on: surely often enough, often enough as counted, possibly so.
SURELY, ENOUGH, POSSIBLY = 0, 1, 2
# Chance of a wrong side by the scatter of the days, that a car at the required probability is given.
WRONG_SIDE = 0.05
# Drawn are so many cars and days, and more, up to the most, only where these can show no limit as passed.
USUAL, MOST = (1024, 256), (4096, 1024)
# Where many builds are tried, each is put on these, and on more in the same way.
FEWEST = (256, 64)
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
    average, at_least, at_least_low, at_least_high:
        How often the limit holds over all cars and days; what a car is counted to reach with surety ``sure``,
        and an interval that holds that at least 95 times in 100: all that might be required of it at which
        the verdict would be "undecided".
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
    at_least_low: float
    at_least_high: float
    ignorance: float
    levels: tuple[float, ...]
    family: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class OfCars:
    """What is kept of each car: days on which the limit holds, moments of the margin, its quantiles.

    ``kept`` is the margin that it has on the required share of its days or more, so that it is zero or more
    exactly where the car holds the limit often enough, and ``scatter`` the variance by which so few days
    miss it.  All have shape (cars,) but ``quantiles``, (cars, levels).
    """

    holds: Array
    mean: Array
    variance: Array
    kept: Array
    scatter: Array
    quantiles: Array

    @classmethod
    def of(cls, margins: Array, required: float) -> OfCars:
        """Reduce margins of shape (cars, days); what is not a number holds nothing."""
        answered = np.where(np.isnan(margins), -np.inf, margins)
        some = np.isfinite(margins)
        count = np.maximum(some.sum(axis=1), 1)
        mean = np.where(some, margins, 0.0).sum(axis=1) / count
        off = np.where(some, margins - mean[:, None], 0.0)
        # The quantile below, so that no answer is averaged with none.
        quantiles = np.quantile(answered, LEVELS, axis=1, method="lower").T
        # Two halves of the days miss it apart: by four times the variance of the whole.
        one, other = (kept_margins(half, required)[ENOUGH] for half in (answered[:, ::2], answered[:, 1::2]))
        both = np.isfinite(one) & np.isfinite(other)
        return cls(
            np.count_nonzero(margins >= 0, axis=1).astype(float),
            mean,
            (off**2).sum(axis=1) / np.maximum(count - 1, 1),
            kept_margins(answered, required)[ENOUGH],
            np.subtract(one, other, out=np.zeros(len(one)), where=both) ** 2 / 4,
            quantiles,
        )

    def margins_of_cars(self, inputs: Mapping[str, Array]) -> Array:
        """Return the margins kept, without what the few days scatter them.

        What a straight line in the normal scores of the inputs says of a car is taken as it is; what is
        left is drawn towards it until its variance is less by that of the scatter.

        Parameters
        ----------
        inputs:
            What could be learnt of each car, shape (cars,) each.
        """
        known = np.isfinite(self.kept)
        if np.count_nonzero(known) <= len(inputs) + 2:
            return self.kept
        scores = [normal_scores(np.nan_to_num(values[known])) for values in inputs.values()]
        columns = np.stack([np.ones(int(known.sum())), *scores], axis=1)
        line = columns @ np.linalg.lstsq(columns, self.kept[known], rcond=None)[0]
        off = self.kept[known] - line
        spread = float(off @ off) / (len(off) - columns.shape[1])
        left = max(0.0, 1 - float(np.mean(self.scatter[known])) / spread) if spread > 0 else 1.0
        margins = self.kept.copy()
        margins[known] = line + off * math.sqrt(left)
        return margins

    @classmethod
    def joined(cls, parts: list[OfCars]) -> OfCars:
        """Put chunks of cars one after the other."""
        return cls(
            *(np.concatenate([getattr(part, name) for part in parts]) for name in cls.__dataclass_fields__)
        )


@lru_cache(maxsize=256)
def turning_days(days: int, required: float) -> tuple[int, int, int]:
    """Return on how many days a car holds its limit that surely, by count, and possibly has the probability.

    A car short of it is counted on the first with a chance of at most ``WRONG_SIDE``, and a car that has it
    on fewer than the last with no more.  The first is more than the days where these are too few.
    """
    counts = np.arange(days + 1)
    return (
        int(np.argmax(bdtrc(counts, days, required) <= WRONG_SIDE)) + 1,
        max(1, math.ceil(required * days - 1e-9)),
        max(1, int(np.argmax(bdtr(counts, days, required) >= WRONG_SIDE))),
    )


def kept_margins(margins: Array, required: float) -> Array:
    """Return the margins that each car has on as many of its days as each of ``turning_days`` asks.

    Parameters
    ----------
    margins:
        Shape (cars, days).

    Returns
    -------
    Array
        Shape (3, cars); minus infinity where the days are too few or have no answer.
    """
    days = margins.shape[1]
    ranked = np.sort(np.where(np.isnan(margins), -np.inf, margins), axis=1)
    return np.stack(
        [
            ranked[:, days - count] if count <= days else np.full(len(margins), -np.inf)
            for count in turning_days(days, required)
        ]
    )


def enough_to_pass(
    required: float, sure: float, fewest: tuple[int, int], most: tuple[int, int]
) -> tuple[int, int]:
    """Return the fewest cars and days, of doublings up to the most, with which a limit can pass at all."""
    cars, days = map(min, fewest, most)
    while not can_pass_on_days(days, required) and days < most[1]:
        days = min(2 * days, most[1])
    while not can_pass_on_cars(cars, sure) and cars < most[0]:
        cars = min(2 * cars, most[0])
    return cars, days


def can_pass_on_days(days: int, required: float) -> bool:
    """Tell whether so many days can show that a car holds its limit often enough."""
    return turning_days(days, required)[SURELY] <= days


def can_pass_on_cars(cars: int, sure: float) -> bool:
    """Tell whether so many cars can show that the share of them that does is large enough."""
    return turning_counts(cars, sure * (1 - WRONG_SIDE) + WRONG_SIDE)[0] is not None


def surpluses_of_cars(kept: Array, sure: float) -> tuple[float, float, float]:
    """Return the margins at which the verdict of ``how_sure`` turns: sure, likely, possible.

    Parameters
    ----------
    kept:
        Of ``kept_margins``, shape (3, cars).
    """
    first, second, third = (
        -math.inf if count is None else float(np.sort(own)[len(own) - count])
        for own, count in zip(kept, _turning_cars(kept.shape[1], sure), strict=True)
    )
    return first, second, third


def _turning_cars(cars: int, sure: float) -> tuple[int | None, int, int]:
    """Return how many cars must hold a limit for it to pass, to be likely, and to be possible."""
    return (
        turning_counts(cars, sure * (1 - WRONG_SIDE) + WRONG_SIDE)[0],
        turning_counts(cars, sure)[1],
        turning_counts(cars, sure * (1 - WRONG_SIDE))[2],
    )


def _at_least(holds: Array, days: int, sure: float) -> tuple[float, float, float]:
    """Return how often a car holds its limit with a surety, as counted, and the ends of its interval.

    What might be required of a car passes below the lower end and fails above the upper one: there the days
    on which enough cars hold the limit are just those at which ``turning_days`` turns.
    """
    ranked = np.sort(holds)
    surely, _, possibly = _turning_cars(len(holds), sure)
    least = 0.0 if surely is None else float(ranked[len(holds) - surely])
    most = float(ranked[len(holds) - possibly])
    counted = float(np.quantile(holds, 1 - sure, method="lower")) / days
    low = float(betaincinv(least, days - least + 1, WRONG_SIDE)) if least > 0 else 0.0
    high = float(betaincinv(most + 1, days - most, 1 - WRONG_SIDE)) if most < days else 1.0
    return counted, min(low, counted), max(high, counted)


def how_sure(of: OfCars, days: int, required: float, sure: float) -> Sureness:
    """Judge how sure it is that a car holds its limit with the required probability.

    What is counted on either side of the days at which a car's own verdict turns bounds the share of cars,
    and exact binomial intervals of both shares give the ends.

    Source: thresholds of the binomial distribution; Clopper & Pearson, Biometrika 26 (1934) 404.
    """
    cars = len(of.holds)
    surely, enough, barely = turning_days(days, required)
    least, _ = binomial_interval(float(np.sum(of.holds >= surely)), cars, CONFIDENCE)
    _, most = binomial_interval(float(np.sum(of.holds >= barely)), cars, CONFIDENCE)
    low = max(0.0, (least - WRONG_SIDE) / (1 - WRONG_SIDE)) if surely <= days else 0.0
    high = min(1.0, most / (1 - WRONG_SIDE))
    counted = float(np.mean(of.holds >= enough))
    at_least, at_least_low, at_least_high = _at_least(of.holds, days, sure)
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
        at_least=at_least,
        at_least_low=at_least_low,
        at_least_high=at_least_high,
        ignorance=_between_cars(of, days),
        levels=LEVELS,
        family=tuple(map(tuple, np.quantile(of.quantiles, SHOWN, axis=0, method="lower").T.tolist())),
    )


def _between_cars(of: OfCars, days: int) -> float:
    """Share of the variance that is between cars; what the days add to a car's mean is taken off."""
    within = float(np.mean(of.variance))
    between = max(float(np.var(of.mean, ddof=1)) - within / days, 0.0)
    return between / (between + within) if between + within > 0 else 0.0
