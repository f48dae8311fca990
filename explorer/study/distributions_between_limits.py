"""Distributions between two limits: even, peaked, swinging, or with limits not known exactly."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from scipy import special

from explorer.graph.arrays import Array
from explorer.graph.words import Number, Words
from explorer.study.distributions import Distribution, _require_order, require


@dataclass(frozen=True)
class Between(Distribution):
    """Between two limits, and alike on both sides of the middle."""

    low: float
    high: float

    def __post_init__(self) -> None:
        """Check the order."""
        _require_order(self.low, self.high)

    @property
    def mean(self) -> float:
        """The middle."""
        return (self.low + self.high) / 2

    @property
    def _half(self) -> float:
        return (self.high - self.low) / 2


@dataclass(frozen=True)
class Uniform(Between):
    """Anywhere between two limits, all alike: rectangular (JCGM 101:2008, 6.4.2)."""

    def quantile(self, u: Array) -> Array:
        """Straight line from low to high."""
        return self.low + (self.high - self.low) * np.asarray(u)

    def cdf(self, x: Array | float) -> Array:
        """Straight line from 0 to 1."""
        return np.clip((np.asarray(x) - self.low) / (self.high - self.low), 0.0, 1.0)

    @property
    def sd(self) -> float:
        """Width over the square root of 12."""
        return (self.high - self.low) / math.sqrt(12)

    @property
    def said(self) -> Words:
        """Say the limits."""
        return "uniform, ", Number(self.low), " to ", Number(self.high)


@dataclass(frozen=True)
class Peaked(Distribution):
    """Between two limits, most likely at the mode."""

    low: float
    mode: float
    high: float

    def __post_init__(self) -> None:
        """Check the order."""
        _require_order(self.low, self.high)
        require(
            self.low <= self.mode <= self.high,
            "the mode lies outside low and high",
            "low <= mode <= high",
            "swap them, or check their units",
        )

    @property
    def _words(self) -> Words:
        return Number(self.low), " to ", Number(self.high), ", most likely ", Number(self.mode)


@dataclass(frozen=True)
class Triangular(Peaked):
    """Straight up to the mode and down from it (JCGM 101:2008, 6.4.5 where the mode is in the middle)."""

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
        return "triangular, ", *self._words


@dataclass(frozen=True)
class Pert(Peaked):
    """Low, most likely and high as a scaled beta distribution, smoother than a triangle.

    The weight of the mode is 4: mean = (low + 4 mode + high) / 6.
    Source: D. G. Malcolm et al., Operations Research 7(5), 1959, 646-669 (mean); beta with shapes
    1 + 4 (mode - low) / (high - low) and 1 + 4 (high - mode) / (high - low).
    """

    @property
    def shapes(self) -> tuple[float, float]:
        """The two shapes of the beta distribution."""
        width = self.high - self.low
        return 1 + 4 * (self.mode - self.low) / width, 1 + 4 * (self.high - self.mode) / width

    def quantile(self, u: Array) -> Array:
        """Scaled beta quantile, by a table that is right to 1e-12 in probability."""
        share: Array = _beta_quantile(*self.shapes).ppf(np.asarray(u))
        return np.clip(self.low + (self.high - self.low) * share, self.low, self.high)

    def cdf(self, x: Array | float) -> Array:
        """Regularised incomplete beta function."""
        share = (np.asarray(x) - self.low) / (self.high - self.low)
        return special.betainc(*self.shapes, np.clip(share, 0.0, 1.0))

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
        return "scaled beta (PERT), ", *self._words


@lru_cache(maxsize=256)
def _beta_quantile(alpha: float, beta: float) -> Any:
    # Sixty times faster than inverting the incomplete beta function value by value.
    from scipy import stats
    from scipy.stats import sampling

    shape: Any = stats.beta(alpha, beta)
    return sampling.NumericalInverseHermite(shape, u_resolution=1e-12)


@dataclass(frozen=True)
class ArcSine(Between):
    """Swings as a sine between two limits, oftenest near them: U-shaped (JCGM 101:2008, 6.4.6)."""

    def quantile(self, u: Array) -> Array:
        """Take the sine at a phase that is anywhere alike; by squares, exact at both ends."""
        u = np.asarray(u)
        below, above = (2 * self._half * np.sin(np.pi / 2 * part) ** 2 for part in (u, 1 - u))
        return np.where(u < 0.5, self.low + below, self.high - above)

    def cdf(self, x: Array | float) -> Array:
        """Return the share of the phases with a lower sine."""
        share = np.clip((np.asarray(x) - self.low) / (2 * self._half), 0.0, 1.0)
        return 2 / np.pi * np.arctan2(np.sqrt(share), np.sqrt(1 - share))

    @property
    def sd(self) -> float:
        """Half the width over the square root of 2."""
        return self._half / math.sqrt(2)

    @property
    def said(self) -> Words:
        """Say the limits."""
        return "arcsine, swinging between ", Number(self.low), " and ", Number(self.high)


@dataclass(frozen=True)
class CurvilinearTrapezoid(Between):
    """Anywhere between two limits, each known to within ``ends_within`` (JCGM 101:2008, 6.4.3).

    The middle is exact; the half width is anywhere within ``ends_within`` of the one given.
    """

    ends_within: float

    def __post_init__(self) -> None:
        """Check the order, and that the limits keep apart."""
        super().__post_init__()
        require(
            0 < self.ends_within < self._half,
            "the ends are known to within more than nothing and less than half the way between them",
            "ends_within above zero and below (high - low) / 2",
            "leave it out for a uniform one",
        )

    @property
    def _farthest(self) -> float:
        """The most that a value can be off the middle."""
        return self._half + self.ends_within

    @property
    def _flat(self) -> float:
        """How high the density is where every width reaches."""
        return math.log(self._farthest / (self._half - self.ends_within)) / (4 * self.ends_within)

    def _beyond(self, off: Array) -> Array:
        """Return the probability on one side beyond a distance from the middle."""
        share = np.clip(off / self._farthest, 0.0, 1.0)
        outside = self._farthest * (1 - share + special.xlogy(share, share)) / (4 * self.ends_within)
        return np.where(off > self._half - self.ends_within, outside, 0.5 - self._flat * off)

    def quantile(self, u: Array) -> Array:
        """Straight line in the middle; towards the ends the inverse of ``cdf`` by Newton's method."""
        u = np.asarray(u)
        side = np.minimum(u, 1 - u)
        left = np.clip(4 * self.ends_within * side / self._farthest, 1e-300, 1 - 1e-9)
        # The share short of the farthest: short + (1 - short) ln(1 - short) = left.  The left side bends
        # upwards and the start lies above its root, so that every round comes nearer from there.
        short = np.minimum(np.sqrt(2 * left), 1 - 1e-9)
        for _ in range(9):
            log = np.log1p(-short)
            short = short + (short + (1 - short) * log - left) / log
        inside = (0.5 - side) / self._flat
        off = np.where(inside <= self._half - self.ends_within, inside, self._farthest * (1 - short))
        return self.mean + np.where(u < 0.5, -off, off)

    def cdf(self, x: Array | float) -> Array:
        """Return the integral of the density of JCGM 101:2008, 6.4.3.2."""
        off: Array = np.asarray(x) - self.mean
        beyond = self._beyond(np.abs(off))
        return np.where(off < 0, beyond, 1 - beyond)

    @property
    def sd(self) -> float:
        """Square root of (high - low)^2/12 + ends_within^2/9."""
        return math.sqrt(self._half**2 / 3 + self.ends_within**2 / 9)

    @property
    def said(self) -> Words:
        """Say the limits, and how well they are known."""
        within = Number(self.ends_within, distance=True)
        return "uniform, ", Number(self.low), " to ", Number(self.high), ", each end to within ", within
