"""Distributions given value by value: a table of density, a few values with weights, a list of readings.

Terms follow JCGM 101:2008, clause 6.4; the base class and the kinds with a formula are in
``explorer.study.distributions``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.words import Number, Words
from explorer.graph.written import percent
from explorer.study.distributions import IF_EXACT, Distribution, mean_and_sd, require


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
        require(
            len(self.values) >= 2 and len(self.densities) == len(self.values) - 1,
            "a table needs at least two rows",
            "rows of [value, density]",
        )
        require(
            all(a < b for a, b in pairwise(self.values)),
            "the values of the table are not in rising order",
            "every value above the one before it",
            "sort the rows and drop repeated values",
        )
        require(
            all(density >= 0 for pair in self.densities for density in pair),
            "a density is negative",
            "densities of zero or above",
        )
        require(
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
        require(
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
        return f"tabulated at {len(self.values)} values, ", *span, *mean_and_sd(self.mean, self.sd)


@dataclass(frozen=True)
class Discrete(Distribution):
    """One of a few values, each with its weight; kept in rising order."""

    values: tuple[float, ...]
    weights: tuple[float, ...]

    def __post_init__(self) -> None:
        """Check, sort and scale the weights to a total of one."""
        require(
            len(self.values) >= 2 and len(self.values) == len(self.weights),
            "values and weights do not go together",
            "at least two values, and as many weights",
        )
        require(
            all(weight > 0 for weight in self.weights), "a weight is not above zero", "weights above zero"
        )
        require(len(set(self.values)) == len(self.values), "a value is listed twice", "each value once")
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
            words += (Number(value), f" ({percent(weight, 3)})", ", ")
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
        return f"{len(self.values)} measured values, ", *span, *mean_and_sd(self.mean, self.sd)


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


def _require_scatter(values: tuple[float, ...]) -> None:
    require(len(values) >= 2, "a list needs at least two values", "two values or more")
    require(min(values) < max(values), "all values of the list are alike", "values that differ", IF_EXACT)
