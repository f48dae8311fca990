"""The distributions an input may have: what is known of a number that is not known exactly.

Every distribution is frozen, works in SI, and turns uniforms into values through its quantile function, so
that one design of uniforms serves any study.  Terms follow JCGM 101:2008, clause 6.4.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import special

from explorer.errors import DistributionError
from explorer.graph.arrays import Array
from explorer.graph.units import plain
from explorer.study.words import Number, Words, in_unit

# A truncated normal that keeps less than this of the whole was not meant.
_LEAST_KEPT = 1e-6
_LOG_SQRT_2PI = 0.5 * math.log(2 * math.pi)


def _require(holds: bool, problem: str, allowed: str, remedy: str | None = None) -> None:
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
        return "normal, ", *_mean_and_sd(self.mean, self.sd)


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
        _require(
            math.isfinite(self.low) or math.isfinite(self.high),
            "a truncated normal needs a bound",
            "low, high or both",
            "leave the bounds out for a plain normal",
        )
        _require(
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
        return "normal, ", *_mean_and_sd(self.centre, self.spread), *low, *high


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
        _require(self.median > 0, "a lognormal quantity is positive", "a median above zero")
        _require(self.log_sd > 0, "a lognormal quantity spreads", "a factor above 1", _IF_EXACT)

    @classmethod
    def from_mean_sd(cls, mean: float, sd: float) -> LogNormal:
        """Take the mean and sd of the quantity itself."""
        _require_spread(sd)
        _require(mean > 0, "a lognormal quantity is positive", "a mean above zero")
        log_variance = math.log1p((sd / mean) ** 2)
        return cls(mean * math.exp(-log_variance / 2), math.sqrt(log_variance))

    @classmethod
    def from_median_factor(cls, median: float, factor: float) -> LogNormal:
        """Take the median and the factor of one standard deviation of the logarithm."""
        _require(factor > 1, "the factor of a lognormal is above 1", "a factor such as 1.5", _IF_EXACT)
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
        both = _mean_and_sd(self.mean, self.sd)
        return "lognormal, ", *both, " (median ", median, f", within a factor {factor})"


@dataclass(frozen=True)
class Uniform(Distribution):
    """Anywhere between two limits, all alike: rectangular (JCGM 101:2008, 6.4.2)."""

    low: float
    high: float

    def __post_init__(self) -> None:
        """Check the order."""
        _require_order(self.low, self.high)

    def quantile(self, u: Array) -> Array:
        """Straight line from low to high."""
        return self.low + (self.high - self.low) * np.asarray(u)

    def cdf(self, x: Array | float) -> Array:
        """Straight line from 0 to 1."""
        return np.clip((np.asarray(x) - self.low) / (self.high - self.low), 0.0, 1.0)

    @property
    def mean(self) -> float:
        """The middle."""
        return (self.low + self.high) / 2

    @property
    def sd(self) -> float:
        """Width over the square root of 12."""
        return (self.high - self.low) / math.sqrt(12)

    @property
    def said(self) -> Words:
        """Say the limits."""
        return "uniform, ", Number(self.low), " to ", Number(self.high)


@dataclass(frozen=True)
class Triangular(Distribution):
    """Between two limits, most likely at the mode (JCGM 101:2008, 6.4.5 where the mode is in the middle)."""

    low: float
    mode: float
    high: float

    def __post_init__(self) -> None:
        """Check the order."""
        _require_mode(self.low, self.mode, self.high)

    @property
    def _share_below_mode(self) -> float:
        return (self.mode - self.low) / (self.high - self.low)

    def quantile(self, u: Array) -> Array:
        """Square roots on either side of the mode."""
        u = np.asarray(u)
        width, split = self.high - self.low, self._share_below_mode
        rising = self.low + width * np.sqrt(np.minimum(u, split) * split)
        falling = self.high - width * np.sqrt((1 - np.maximum(u, split)) * (1 - split))
        return np.where(u < split, rising, falling)

    def cdf(self, x: Array | float) -> Array:
        """Parabolas on either side of the mode."""
        at: Array = (np.clip(np.asarray(x), self.low, self.high) - self.low) / (self.high - self.low)
        split = self._share_below_mode
        # An edge without slope has no side of its own; the tiny divisor is never used there.
        rising = at**2 / max(split, 1e-300)
        falling = 1 - (1 - at) ** 2 / max(1 - split, 1e-300)
        return np.where(at < split, rising, falling)

    @property
    def mean(self) -> float:
        """Mean of the three numbers."""
        return (self.low + self.mode + self.high) / 3

    @property
    def sd(self) -> float:
        """Closed form of the triangle."""
        left, right = self.mode - self.low, self.high - self.mode
        return math.sqrt((left * left + left * right + right * right) / 18)

    @property
    def said(self) -> Words:
        """Say the three numbers."""
        return "triangular, ", *_low_mode_high(self.low, self.mode, self.high)


@dataclass(frozen=True)
class Pert(Distribution):
    """Low, most likely and high as a scaled beta distribution, smoother than a triangle.

    The weight of the mode is 4: mean = (low + 4 mode + high) / 6.
    Source: D. G. Malcolm et al., Operations Research 7(5), 1959, 646-669 (mean); beta with shapes
    1 + 4 (mode - low) / (high - low) and 1 + 4 (high - mode) / (high - low).
    """

    low: float
    mode: float
    high: float

    def __post_init__(self) -> None:
        """Check the order."""
        _require_mode(self.low, self.mode, self.high)

    @property
    def shapes(self) -> tuple[float, float]:
        """The two shapes of the beta distribution."""
        width = self.high - self.low
        return 1 + 4 * (self.mode - self.low) / width, 1 + 4 * (self.high - self.mode) / width

    def quantile(self, u: Array) -> Array:
        """Scaled beta quantile, by a table that is right to 1e-12 in probability."""
        share: Array = _beta_quantile(*self.shapes).ppf(np.asarray(u))
        return np.clip(self.low + (self.high - self.low) * share, self.low, self.high)

    def _share(self, x: Array | float) -> Array:
        return (np.asarray(x) - self.low) / (self.high - self.low)

    def cdf(self, x: Array | float) -> Array:
        """Regularised incomplete beta function."""
        return special.betainc(*self.shapes, np.clip(self._share(x), 0.0, 1.0))

    @property
    def mean(self) -> float:
        """(low + 4 mode + high) / 6."""
        return (self.low + 4 * self.mode + self.high) / 6

    @property
    def sd(self) -> float:
        """Closed form of the beta distribution whose shapes add to 6."""
        return math.sqrt((self.mean - self.low) * (self.high - self.mean) / 7)

    @property
    def said(self) -> Words:
        """Say the three numbers."""
        return "scaled beta (PERT), ", *_low_mode_high(self.low, self.mode, self.high)


@lru_cache(maxsize=256)
def _beta_quantile(alpha: float, beta: float) -> Any:
    # Sixty times faster than inverting the incomplete beta function value by value.
    from scipy import stats
    from scipy.stats import sampling

    shape: Any = stats.beta(alpha, beta)
    return sampling.NumericalInverseHermite(shape, u_resolution=1e-12)


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
        _require(
            self.readings >= 2,
            "one reading says nothing about its scatter",
            "at least two readings, better five",
            "repeat the reading, or give a value and a standard deviation",
        )
        _require(
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


@dataclass(frozen=True)
class Tabulated(Distribution):
    """Density given at some values, a straight line in between; a step of density needs no second value.

    ``densities`` holds one pair per gap between neighbouring values: density at its left and right end.
    Scaled to a total of one.
    """

    values: tuple[float, ...]
    densities: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        """Check order and sign."""
        _require(
            len(self.values) >= 2 and len(self.densities) == len(self.values) - 1,
            "a table needs at least two rows",
            "rows of [value, density]",
        )
        _require(
            all(a < b for a, b in pairwise(self.values)),
            "the values of the table are not in rising order",
            "every value above the one before it",
            "sort the rows and drop repeated values",
        )
        _require(
            all(density >= 0 for pair in self.densities for density in pair),
            "a density is negative",
            "densities of zero or above",
        )
        _require(
            any(density > 0 for pair in self.densities for density in pair),
            "all densities are zero",
            "at least one density above zero",
        )

    @classmethod
    def from_densities(cls, values: tuple[float, ...], densities: tuple[float, ...]) -> Tabulated:
        """Take a density at each value."""
        return cls(values, tuple(pairwise(densities)))

    @classmethod
    def from_cumulative(cls, values: tuple[float, ...], probabilities: tuple[float, ...]) -> Tabulated:
        """Take the probability of not exceeding each value, from 0 to 1, a straight line in between."""
        _require(
            len(values) >= 2
            and probabilities[0] == 0
            and math.isclose(probabilities[-1], 1)
            and all(a <= b for a, b in pairwise(probabilities)),
            "the cumulative probabilities do not rise from 0 to 1",
            "rows of [value, probability of not exceeding it], the first 0 and the last 1",
        )
        gaps = zip(values, values[1:], probabilities, probabilities[1:], strict=False)
        steps = tuple((q - p) / (b - a) if b > a else 0.0 for a, b, p, q in gaps)
        return cls(values, tuple((step, step) for step in steps))

    @cached_property
    def _pieces(self) -> tuple[Array, Array, Array, Array]:
        """Edges, left density, slope and cumulative probability at the edges, scaled to one."""
        edges = np.asarray(self.values)
        left, right = np.asarray(self.densities).T
        areas = np.diff(edges) * (left + right) / 2
        total = math.fsum(areas.tolist())
        cumulative = np.concatenate(([0.0], np.cumsum(areas) / total))
        cumulative[-1] = 1.0
        return edges, left / total, (right - left) / np.diff(edges) / total, cumulative

    def quantile(self, u: Array) -> Array:
        """Solve the parabola of the piece the uniform falls into."""
        edges, left, slope, cumulative = self._pieces
        u = np.asarray(u)
        piece = np.clip(np.searchsorted(cumulative, u, side="right") - 1, 0, len(left) - 1)
        rest = np.maximum(u - cumulative[piece], 0.0)
        root = np.sqrt(np.maximum(left[piece] ** 2 + 2 * slope[piece] * rest, 0.0))
        divisor = left[piece] + root
        step = np.divide(2 * rest, divisor, out=np.zeros_like(divisor), where=divisor > 0)
        value: Array = np.minimum(edges[piece] + step, edges[piece + 1])
        return value

    def cdf(self, x: Array | float) -> Array:
        """Area under the density up to x."""
        edges, left, slope, cumulative = self._pieces
        x = np.clip(np.asarray(x), edges[0], edges[-1])
        piece = np.clip(np.searchsorted(edges, x, side="right") - 1, 0, len(left) - 1)
        step = x - edges[piece]
        return np.clip(cumulative[piece] + step * (left[piece] + slope[piece] * step / 2), 0.0, 1.0)

    @cached_property
    def _moments(self) -> tuple[float, float]:
        """Mean, and variance about it, summed exactly piece by piece."""
        edges, left, slope, _ = self._pieces
        middle = (edges[0] + edges[-1]) / 2
        width, start = np.diff(edges), edges[:-1] - middle
        area = width * (left + slope * width / 2)
        first = width**2 * (left / 2 + slope * width / 3)
        second = width**3 * (left / 3 + slope * width / 4)
        mean = float(np.sum(area * start + first))
        square = float(np.sum(area * start**2 + 2 * start * first + second))
        return mean + middle, square - mean**2

    @property
    def mean(self) -> float:
        """Mean of the table."""
        return self._moments[0]

    @property
    def sd(self) -> float:
        """Standard deviation of the table."""
        return math.sqrt(self._moments[1])

    @property
    def said(self) -> Words:
        """Say how many rows, the range, mean and sd."""
        span: Words = (Number(self.values[0]), " to ", Number(self.values[-1]), ", ")
        return f"tabulated at {len(self.values)} values, ", *span, *_mean_and_sd(self.mean, self.sd)


@dataclass(frozen=True)
class Discrete(Distribution):
    """One of a few values, each with its weight; kept in rising order."""

    values: tuple[float, ...]
    weights: tuple[float, ...]

    def __post_init__(self) -> None:
        """Check, sort and scale the weights to a total of one."""
        _require(
            len(self.values) >= 2 and len(self.values) == len(self.weights),
            "values and weights do not go together",
            "at least two values, and as many weights",
        )
        _require(
            all(weight > 0 for weight in self.weights), "a weight is not above zero", "weights above zero"
        )
        _require(len(set(self.values)) == len(self.values), "a value is listed twice", "each value once")
        total = math.fsum(self.weights)
        pairs = sorted(zip(self.values, self.weights, strict=True))
        object.__setattr__(self, "values", tuple(value for value, _ in pairs))
        object.__setattr__(self, "weights", tuple(weight / total for _, weight in pairs))

    @cached_property
    def _cumulative(self) -> Array:
        return np.cumsum(self.weights)

    def quantile(self, u: Array) -> Array:
        """Choose the first value whose cumulative weight reaches the uniform."""
        position = np.searchsorted(self._cumulative, np.asarray(u))
        return np.asarray(self.values)[np.minimum(position, len(self.values) - 1)]

    def cdf(self, x: Array | float) -> Array:
        """Sum of the weights up to x."""
        position = np.searchsorted(np.asarray(self.values), np.asarray(x), side="right")
        return np.minimum(np.concatenate(([0.0], self._cumulative))[position], 1.0)

    def probability_at(self, x: float) -> float:
        """Return the weight of x."""
        return next((w for value, w in zip(self.values, self.weights, strict=True) if value == x), 0.0)

    @property
    def mean(self) -> float:
        """Weighted mean."""
        return math.fsum(v * w for v, w in zip(self.values, self.weights, strict=True))

    @property
    def sd(self) -> float:
        """Weighted standard deviation."""
        mean = self.mean
        return math.sqrt(
            math.fsum(w * (v - mean) ** 2 for v, w in zip(self.values, self.weights, strict=True))
        )

    @property
    def nominal(self) -> float:
        """The most likely value, the smallest of equals: a mean may be none of the choices."""
        return self.values[self.weights.index(max(self.weights))]

    @property
    def said(self) -> Words:
        """List the choices with their probabilities."""
        words: Words = ("one of ",)
        for value, weight in zip(self.values, self.weights, strict=True):
            words += (Number(value), f" ({plain(100 * weight, digits=3)} %)", ", ")
        return words[:-1]


@dataclass(frozen=True)
class Empirical(Distribution):
    """Any of a list of measured values, each as likely as the others; kept in rising order."""

    values: tuple[float, ...]

    def __post_init__(self) -> None:
        """Check and sort."""
        _require_scatter(self.values)
        object.__setattr__(self, "values", tuple(sorted(self.values)))

    @cached_property
    def _sorted(self) -> Array:
        return np.asarray(self.values)

    def quantile(self, u: Array) -> Array:
        """Value number ceil(u n) in rising order."""
        count = len(self.values)
        position = np.ceil(np.asarray(u) * count).astype(np.int64) - 1
        return self._sorted[np.clip(position, 0, count - 1)]

    def cdf(self, x: Array | float) -> Array:
        """Share of the values not above x."""
        return np.searchsorted(self._sorted, np.asarray(x), side="right") / len(self.values)

    def probability_at(self, x: float) -> float:
        """Return the share of values equal to x."""
        return self.values.count(x) / len(self.values)

    @property
    def mean(self) -> float:
        """Average of the list."""
        return math.fsum(self.values) / len(self.values)

    @property
    def sd(self) -> float:
        """Standard deviation of the list as it is: a draw has the spread of the list."""
        return float(np.std(self._sorted))

    @property
    def said(self) -> Words:
        """Say count, range, mean and sd."""
        span: Words = (Number(self.values[0]), " to ", Number(self.values[-1]), ", ")
        return f"{len(self.values)} measured values, ", *span, *_mean_and_sd(self.mean, self.sd)


def smoothed(values: tuple[float, ...]) -> Tabulated:
    """Turn a list of values into a smooth density with the same mean and standard deviation.

    A normal kernel of Silverman's width about each value, the values drawn together so that the kernel does
    not add to the spread.  Source: B. W. Silverman, Density Estimation, 1986, eq. 3.31 and section 6.4.1.
    """
    _require_scatter(values)
    data = np.asarray(values, dtype=float)
    centre, sd = float(np.mean(data)), float(np.std(data))
    quarter, three_quarters = np.quantile(data, [0.25, 0.75])
    robust = min(sd, (three_quarters - quarter) / 1.349) or sd
    width = 0.9 * robust * len(data) ** -0.2
    together = centre + (data - centre) / math.sqrt(1 + (width / sd) ** 2)
    kernel = width / math.sqrt(1 + (width / sd) ** 2)
    grid = np.linspace(together.min() - 4 * kernel, together.max() + 4 * kernel, 401)
    scores = (grid[:, None] - np.unique(together)) / kernel
    counts = np.unique(together, return_counts=True)[1]
    density = np.exp(-0.5 * scores**2) @ counts
    return Tabulated.from_densities(tuple(grid.tolist()), tuple(density.tolist()))


_IF_EXACT = "write 'value = ...' for a quantity that is known exactly"


def _require_spread(sd: float) -> None:
    _require(
        0 < sd < math.inf,
        "a standard deviation is above zero",
        "sd or plus_minus above zero",
        _IF_EXACT,
    )


def _require_order(low: float, high: float) -> None:
    _require(low < high, "low is not below high", "low < high", "swap them, or check their units")


def _require_mode(low: float, mode: float, high: float) -> None:
    _require_order(low, high)
    _require(low <= mode <= high, "the mode lies outside low and high", "low <= mode <= high")


def _require_scatter(values: tuple[float, ...]) -> None:
    _require(len(values) >= 2, "a list needs at least two values", "two values or more")
    _require(min(values) < max(values), "all values of the list are alike", "values that differ", _IF_EXACT)


def _low_mode_high(low: float, mode: float, high: float) -> Words:
    return Number(low), " to ", Number(high), ", most likely ", Number(mode)


def _spread(sd: float) -> Number:
    return Number(sd, distance=True, spread=sd)


def _mean_and_sd(mean: float, sd: float) -> Words:
    return "mean ", Number(mean, spread=sd), ", sd ", _spread(sd)
