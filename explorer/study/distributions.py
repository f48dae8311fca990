"""The distributions an input may have: what is known of a number that is not known exactly.

Every distribution is frozen, works in SI, and turns uniforms into values through its quantile function, so
that one design of uniforms serves any study.  Terms follow JCGM 101:2008, clause 6.4.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from explorer.errors import DistributionError
from explorer.graph.arrays import Array
from explorer.graph.words import Number, Words, in_unit
from explorer.graph.written import plain

# A truncated normal that keeps less than this of the whole was not meant.
_LEAST_KEPT = 1e-6
_LOG_SQRT_2PI = 0.5 * math.log(2 * math.pi)


def require(holds: bool, problem: str, allowed: str, remedy: str | None = None) -> None:
    """Refuse what no distribution can be, with what is allowed and the remedy."""
    if not holds:
        raise DistributionError(problem, allowed=allowed, remedy=remedy)


class Distribution(ABC):
    """What is known of one quantity, in SI.

    ``quantile`` and ``cdf`` take an array (or a number) of any shape and return an array of that shape.
    """

    @abstractmethod
    def quantile(self, u: Array) -> Array:
        """Map uniforms in (0, 1) to values: the inverse of ``cdf``."""

    @abstractmethod
    def cdf(self, x: Array | float) -> Array:
        """Return the probability of a value not above x."""

    if TYPE_CHECKING:
        # For the type checker alone, so that a plain field may stand for either.

        @property
        def mean(self) -> float:
            """Expectation."""

        @property
        def sd(self) -> float:
            """Standard deviation: the standard uncertainty of the quantity."""

    @property
    @abstractmethod
    def said(self) -> Words:
        """What it is, its numbers set apart so that each reader has them in the units of their own."""

    def words(self, unit: str) -> str:
        """Describe the distribution in a unit."""
        return in_unit(self.said, unit)

    @property
    def nominal(self) -> float:
        """Value used in a nominal run."""
        return self.mean

    def probability_at(self, x: float) -> float:
        """Return the probability of exactly x: above zero only for choices and lists of values."""
        return 0.0

    def probability_outside(
        self, above: float | None = None, at_least: float | None = None, at_most: float | None = None
    ) -> float:
        """Return the probability of a value outside a range (None: unbounded on that side)."""
        outside = 0.0
        if above is not None or at_least is not None:
            lowest = max(bound for bound in (above, at_least) if bound is not None)
            allowed_there = above is None or lowest > above
            outside += float(self.cdf(np.asarray(lowest))) - allowed_there * self.probability_at(lowest)
        if at_most is not None:
            outside += 1.0 - float(self.cdf(np.asarray(at_most)))
        return min(max(outside, 0.0), 1.0)


@dataclass(frozen=True)
class Exact(Distribution):
    """A quantity known exactly, or taken to be."""

    value: float

    def quantile(self, u: Array) -> Array:
        """Return the value everywhere."""
        return np.full(np.shape(u), self.value)

    def cdf(self, x: Array | float) -> Array:
        """Step from 0 to 1 at the value."""
        return np.where(np.asarray(x) >= self.value, 1.0, 0.0)

    def probability_at(self, x: float) -> float:
        """Return 1 at the value."""
        return float(x == self.value)

    @property
    def mean(self) -> float:
        """The value."""
        return self.value

    @property
    def sd(self) -> float:
        """Zero."""
        return 0.0

    @property
    def said(self) -> Words:
        """Say "exactly ..."."""
        return "exactly ", Number(self.value)


@dataclass(frozen=True)
class Normal(Distribution):
    """Best estimate and standard uncertainty (JCGM 101:2008, 6.4.7)."""

    mean: float
    sd: float

    def __post_init__(self) -> None:
        """Check the standard deviation."""
        _require_spread(self.sd)

    def quantile(self, u: Array) -> Array:
        """Mean plus sd times the standard normal quantile."""
        return self.mean + self.sd * special.ndtri(u)

    def cdf(self, x: Array | float) -> Array:
        """Return the normal distribution function."""
        return special.ndtr((np.asarray(x) - self.mean) / self.sd)

    @property
    def said(self) -> Words:
        """Say mean and sd."""
        return "normal, ", *mean_and_sd(self.mean, self.sd)


@dataclass(frozen=True)
class TruncatedNormal(Distribution):
    """A normal from which everything below ``low`` and above ``high`` is cut away.

    ``centre`` and ``spread`` are the mean and sd before the cut; ``mean`` and ``sd`` hold after it.
    Source: N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate Distributions 1, 13.10.
    """

    centre: float
    spread: float
    low: float = -math.inf
    high: float = math.inf

    def __post_init__(self) -> None:
        """Check spread, order of the bounds, and that they leave something."""
        _require_spread(self.spread)
        _require_order(self.low, self.high)
        require(
            math.isfinite(self.low) or math.isfinite(self.high),
            "a truncated normal needs a bound",
            "low, high or both",
            "leave the bounds out for a plain normal",
        )
        require(
            self._kept > _LEAST_KEPT,
            "the bounds cut away nearly the whole normal",
            "bounds within about five standard deviations of the mean",
            "check the mean, the spread and the units of the bounds",
        )

    @cached_property
    def _scores(self) -> tuple[float, float, bool]:
        """Bounds as normal scores, mirrored to the lower tail where the numbers keep their digits."""
        a, b = (self.low - self.centre) / self.spread, (self.high - self.centre) / self.spread
        mirrored = a > 0
        return (-b, -a, True) if mirrored else (a, b, False)

    @cached_property
    def _kept(self) -> float:
        a, b, _ = self._scores
        return float(special.ndtr(b) - special.ndtr(a))

    def quantile(self, u: Array) -> Array:
        """Take the normal quantile of the uniform rescaled to what the cut leaves."""
        a, _, mirrored = self._scores
        below = special.ndtr(a)
        if mirrored:
            scores = -special.ndtri(below + (1.0 - np.asarray(u)) * self._kept)
        else:
            scores = special.ndtri(below + np.asarray(u) * self._kept)
        return np.clip(self.centre + self.spread * scores, self.low, self.high)

    def cdf(self, x: Array | float) -> Array:
        """Share of what the cut leaves that is not above x."""
        a, b, mirrored = self._scores
        score: Array = (np.clip(np.asarray(x), self.low, self.high) - self.centre) / self.spread
        if mirrored:
            return (special.ndtr(b) - special.ndtr(-score)) / self._kept
        return (special.ndtr(score) - special.ndtr(a)) / self._kept

    @cached_property
    def _edges(self) -> tuple[float, float, float, float]:
        """Scores of both bounds and their standard normal densities over what is kept."""
        a, b = (self.low - self.centre) / self.spread, (self.high - self.centre) / self.spread
        density = [math.exp(-0.5 * edge * edge - _LOG_SQRT_2PI) / self._kept for edge in (a, b)]
        return a, b, density[0], density[1]

    @property
    def mean(self) -> float:
        """Mean after the cut."""
        _, _, at_low, at_high = self._edges
        return self.centre + self.spread * (at_low - at_high)

    @property
    def sd(self) -> float:
        """Standard deviation after the cut."""
        a, b, at_low, at_high = self._edges
        pull_low = a * at_low if math.isfinite(a) else 0.0
        pull_high = b * at_high if math.isfinite(b) else 0.0
        return self.spread * math.sqrt(max(1 + pull_low - pull_high - (at_low - at_high) ** 2, 0.0))

    @property
    def said(self) -> Words:
        """Say mean and sd before the cut, and the bounds."""
        low: Words = (", never below ", Number(self.low)) if math.isfinite(self.low) else ()
        word = " and never above " if low else ", never above "
        high: Words = (word, Number(self.high)) if math.isfinite(self.high) else ()
        return "normal, ", *mean_and_sd(self.centre, self.spread), *low, *high


@dataclass(frozen=True)
class LogNormal(Distribution):
    """A positive quantity known to within a factor: its logarithm is normal.

    ``log_sd`` is the sd of the natural logarithm; about two in three values lie within
    median / exp(log_sd) and median * exp(log_sd).
    """

    median: float
    log_sd: float

    def __post_init__(self) -> None:
        """Check that both are positive."""
        require(self.median > 0, "a lognormal quantity is positive", "a median above zero")
        require(self.log_sd > 0, "a lognormal quantity spreads", "a factor above 1", IF_EXACT)

    @classmethod
    def from_mean_sd(cls, mean: float, sd: float) -> LogNormal:
        """Take the mean and sd of the quantity itself."""
        _require_spread(sd)
        require(mean > 0, "a lognormal quantity is positive", "a mean above zero")
        log_variance = math.log1p((sd / mean) ** 2)
        return cls(mean * math.exp(-log_variance / 2), math.sqrt(log_variance))

    @classmethod
    def from_median_factor(cls, median: float, factor: float) -> LogNormal:
        """Take the median and the factor of one standard deviation of the logarithm."""
        require(factor > 1, "the factor of a lognormal is above 1", "a factor such as 1.5", IF_EXACT)
        return cls(median, math.log(factor))

    def quantile(self, u: Array) -> Array:
        """Exponential of the normal quantile."""
        return self.median * np.exp(self.log_sd * special.ndtri(u))

    def _score(self, x: Array | float) -> Array:
        with np.errstate(divide="ignore"):
            score: Array = np.log(np.maximum(np.asarray(x), 0.0) / self.median) / self.log_sd
        return score

    def cdf(self, x: Array | float) -> Array:
        """Return the normal distribution function of the logarithm."""
        return special.ndtr(self._score(x))

    @property
    def mean(self) -> float:
        """Expectation, above the median."""
        return self.median * math.exp(self.log_sd**2 / 2)

    @property
    def sd(self) -> float:
        """Standard deviation of the quantity itself."""
        return self.mean * math.sqrt(math.expm1(self.log_sd**2))

    @property
    def said(self) -> Words:
        """Say mean, sd, median and factor."""
        factor = plain(math.exp(self.log_sd), digits=3)
        median = Number(self.median, spread=self.sd)
        both = mean_and_sd(self.mean, self.sd)
        return "lognormal, ", *both, " (median ", median, f", within a factor {factor})"


@dataclass(frozen=True)
class StudentT(Distribution):
    """What repeated readings say of a quantity: a scaled and shifted t (JCGM 101:2008, 6.4.9).

    With ``readings`` = n: n - 1 degrees of freedom about the average, scale s / sqrt(n).
    """

    average: float
    scale: float
    readings: int

    def __post_init__(self) -> None:
        """Check count and scatter."""
        require(
            self.readings >= 2,
            "one reading says nothing about its scatter",
            "at least two readings, better five",
            "repeat the reading, or give a value and a standard deviation",
        )
        require(
            self.scale > 0,
            "all readings are alike",
            "readings that scatter",
            "the instrument is too coarse to show the scatter: give low and high of its last digit instead",
        )

    @classmethod
    def from_readings(cls, readings: tuple[float, ...]) -> StudentT:
        """Take the readings themselves."""
        count = len(readings)
        average = math.fsum(readings) / max(count, 1)
        squares = math.fsum((reading - average) ** 2 for reading in readings)
        return cls(average, math.sqrt(squares / max(count - 1, 1) / max(count, 1)), count)

    @property
    def degrees_of_freedom(self) -> int:
        """Readings less one."""
        return self.readings - 1

    def quantile(self, u: Array) -> Array:
        """Average plus scale times the t quantile."""
        return self.average + self.scale * special.stdtrit(self.degrees_of_freedom, u)

    def cdf(self, x: Array | float) -> Array:
        """Distribution function of t."""
        return special.stdtr(self.degrees_of_freedom, (np.asarray(x) - self.average) / self.scale)

    @property
    def mean(self) -> float:
        """The average; with two readings no expectation exists and this is the median."""
        return self.average

    @property
    def sd(self) -> float:
        """Scale times sqrt((n - 1) / (n - 3)); infinite for two or three readings, which cannot give one."""
        n = self.readings
        return self.scale * math.sqrt((n - 1) / (n - 3)) if n > 3 else math.inf

    @property
    def said(self) -> Words:
        """Say average, sd of the average and count, and when they are too few."""
        few = "" if self.readings > 3 else "; too few readings for a standard deviation"
        average = Number(self.average, spread=self.scale)
        return (
            "Student t, average ",
            average,
            f" of {self.readings} readings, standard error ",
            _spread(self.scale),
            few,
        )


IF_EXACT = "write 'value = ...' for a quantity that is known exactly"


def _require_spread(sd: float) -> None:
    require(
        0 < sd < math.inf,
        "a standard deviation is above zero",
        "sd or plus_minus above zero",
        IF_EXACT,
    )


def _require_order(low: float, high: float) -> None:
    require(low < high, "low is not below high", "low < high", "swap them, or check their units")


def _spread(sd: float) -> Number:
    return Number(sd, distance=True, spread=sd)


def mean_and_sd(mean: float, sd: float) -> Words:
    """Say mean and standard deviation."""
    return "mean ", Number(mean, spread=sd), ", sd ", _spread(sd)
