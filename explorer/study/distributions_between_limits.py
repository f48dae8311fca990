"""Distributions between two limits that swing, or whose limits are themselves not known exactly."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from explorer.graph.arrays import Array
from explorer.graph.words import Number, Words
from explorer.study.distributions import Between, require


@dataclass(frozen=True)
class ArcSine(Between):
    """Swings as a sine between two limits, oftenest near them: U-shaped (JCGM 101:2008, 6.4.6)."""

    @property
    def _reach(self) -> float:
        return (self.high - self.low) / 2

    def quantile(self, u: Array) -> Array:
        """Take the sine at a phase that is anywhere alike; by squares, exact at both ends."""
        u = np.asarray(u)
        below, above = (2 * self._reach * np.sin(np.pi / 2 * part) ** 2 for part in (u, 1 - u))
        return np.where(u < 0.5, self.low + below, self.high - above)

    def cdf(self, x: Array | float) -> Array:
        """Return the share of the phases with a lower sine."""
        share = np.clip((np.asarray(x) - self.low) / (2 * self._reach), 0.0, 1.0)
        return 2 / np.pi * np.arctan2(np.sqrt(share), np.sqrt(1 - share))

    @property
    def sd(self) -> float:
        """Half the width over the square root of 2."""
        return self._reach / math.sqrt(2)

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
    def _half(self) -> float:
        return (self.high - self.low) / 2

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
