"""Statistics that add up chunk by chunk, so that memory does not grow with the number of samples."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from explorer.estimators.stopping import Batch
from explorer.graph.arrays import Array

BINS = 2_000
Counts = npt.NDArray[np.int64]
# Counts of one chunk: from other processes they travel in half the bytes.
FewCounts = npt.NDArray[np.int32]


@dataclass(frozen=True)
class Bins:
    """Equal bins between two values; what lies outside is counted at the ends."""

    low: float
    high: float

    @classmethod
    def around(cls, values: Array) -> Bins:
        """Bins that hold a pilot chunk with a quarter of its range to spare on each side."""
        finite = values[np.isfinite(values)]
        if finite.size == 0:
            return cls(0.0, 1.0)
        low, high = float(finite.min()), float(finite.max())
        spare = (high - low) / 4 or max(abs(low), 1.0) * 1e-6
        return cls(low - spare, high + spare)

    @property
    def edges(self) -> Array:
        """Return the BINS + 1 edges."""
        return np.linspace(self.low, self.high, BINS + 1)

    def count(self, values: Array) -> FewCounts:
        """Count finite values: below, in each bin, above."""
        scaled = (values - self.low) * (BINS / (self.high - self.low))
        index = np.clip(np.floor(scaled), -1, BINS).astype(np.int64) + 1
        return np.bincount(index, minlength=BINS + 2).astype(np.int32)


@dataclass(frozen=True)
class Tally:
    """Count, moments, extremes and histogram of one output over the samples seen so far.

    ``second`` is the sum of squared deviations from the mean; merging follows Chan, Golub and LeVeque,
    "Updating formulae and a pairwise algorithm for computing sample variances" (1979).
    """

    bins: Bins
    count: int
    failed: int
    capped: int
    mean: float
    second: float
    lowest: float
    highest: float
    counts: Counts | FewCounts

    @classmethod
    def empty(cls, bins: Bins) -> Tally:
        """Tally no samples at all."""
        return cls(bins, 0, 0, 0, 0.0, 0.0, np.inf, -np.inf, np.zeros(BINS + 2, np.int64))

    @classmethod
    def of(cls, values: Array, bins: Bins, cap: Array | float | None = None) -> Tally:
        """Tally one chunk; values that are not finite are failed samples."""
        finite = values[np.isfinite(values)]
        capped = 0 if cap is None else int(np.count_nonzero(finite >= cap))
        if finite.size == 0:
            return replace(cls.empty(bins), failed=values.size, capped=capped)
        mean = float(finite.mean())
        deviation = finite - mean
        return cls(
            bins,
            finite.size,
            values.size - finite.size,
            capped,
            mean,
            # Summed by numpy: a dot product would wake all threads of the linear algebra library.
            float(np.square(deviation).sum()),
            float(finite.min()),
            float(finite.max()),
            bins.count(finite),
        )

    @property
    def row(self) -> Array:
        """Everything but the bins as one row of numbers; counts below 2**53 are exact."""
        numbers = (self.count, self.failed, self.capped, self.mean, self.second, self.lowest, self.highest)
        return np.array([*numbers, *self.counts], float)

    @classmethod
    def of_row(cls, row: Array, bins: Bins) -> Tally:
        """Return the tally of a row."""
        count, failed, capped = (int(number) for number in row[:3])
        mean, second, lowest, highest = (float(number) for number in row[3:7])
        return cls(bins, count, failed, capped, mean, second, lowest, highest, row[7:].astype(np.int64))

    def merged(self, other: Tally) -> Tally:
        """Add another chunk's tally."""
        if self.count == 0:
            failed, capped = self.failed + other.failed, self.capped + other.capped
            return replace(other, failed=failed, capped=capped, counts=self.counts + other.counts)
        count = self.count + other.count
        apart = other.mean - self.mean
        mean = self.mean + apart * other.count / count
        second = self.second + other.second + apart**2 * self.count * other.count / count
        return Tally(
            self.bins,
            count,
            self.failed + other.failed,
            self.capped + other.capped,
            mean,
            second,
            min(self.lowest, other.lowest),
            max(self.highest, other.highest),
            self.counts + other.counts,
        )

    @property
    def figures(self) -> Batch:
        """Return mean, standard deviation and both ends of the 95 % interval."""
        low, high = self._quantiles(np.array([0.025, 0.975]))
        return Batch(self.mean, self.sd, float(low), float(high))

    @property
    def sd(self) -> float:
        """Standard deviation; 0 for fewer than two samples."""
        return float(np.sqrt(self.second / (self.count - 1))) if self.count > 1 else 0.0

    def quantile(self, probability: float) -> float:
        """Quantile by linear interpolation within its bin, exact at the extremes; NaN without samples."""
        return float("nan") if self.count == 0 else float(self._quantiles(np.array(probability)))

    def _quantiles(self, probabilities: Array) -> Array:
        cumulative = np.concatenate([[0], np.cumsum(self.counts)])
        edges = np.concatenate([[self.lowest], self.bins.edges, [self.highest]])
        edges = np.clip(edges, self.lowest, self.highest)
        return np.asarray(np.interp(probabilities * self.count, cumulative, edges))
