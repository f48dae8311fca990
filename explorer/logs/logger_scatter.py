"""The scatter of a logger about a predicted curve: its size, and how much successive rows repeat it."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from explorer.graph.arrays import Array
from explorer.logs.fitting.independence import NORMAL_CONSISTENT

# Leading shapes of the predicted curves that a log may follow: so much of their variance, at most so many.
SHARE_OF_CURVES = 0.999
MOST_SHAPES = 6
# What rows repeat more than this is a pattern that the model misses, not scatter (judgement).
MOST_REPEATING = 0.93
# Residuals beyond so many deviations are dropouts (common practice).
DROPOUT = 4.0


@dataclass(frozen=True)
class LoggerScatter:
    """Standard deviation of one row, in the unit logged, and its correlation with the row before."""

    deviation: float
    repeating: float

    def drawn(self, shape: tuple[int, int], seed: int) -> Array:
        """Draw scatter of shape (runs, rows): a steady autoregression of first order."""
        drawn = np.random.Generator(np.random.Philox(seed)).standard_normal(shape)
        drawn[:, 1:] *= math.sqrt(1 - self.repeating**2)
        # A filter of scipy.signal would do, and take longer to load than this.
        rows = drawn.T.copy()
        for before, row in itertools.pairwise(rows):
            row += self.repeating * before
        return np.ascontiguousarray(self.deviation * rows.T)


def logger_scatter(curves: Array, logged: Array, *, deviation: float | None = None) -> LoggerScatter:
    """Estimate the scatter from what is left of a log once it follows the predicted curves as well as it can.

    Parameters
    ----------
    curves:
        Predicted curves at the rows of the log, shape (curves, rows).
    logged:
        Shape (rows,), in the order logged.
    deviation:
        Where it is known; the correlation is estimated all the same.

    Notes
    -----
    Correlation of first order, its bias for short series and for fitted columns taken off (Marriott & Pope,
    Biometrika 41 (1954) 390); the deviation follows from the innovations, so that a slow departure of the
    model is not taken for scatter.
    """
    rows = len(logged)
    centre = curves.mean(axis=0)
    _, sizes, shapes = np.linalg.svd(curves - centre, full_matrices=False)
    explained = np.cumsum(sizes**2) / max(float(np.sum(sizes**2)), 1e-300)
    count = min(int(np.searchsorted(explained, SHARE_OF_CURVES)) + 1, MOST_SHAPES, rows // 4)
    rest = _without_dropouts(logged - centre)
    rest = rest - shapes[:count].T @ (shapes[:count] @ rest)
    power = float(rest @ rest)
    if power <= 0:
        return LoggerScatter(deviation or 0.0, 0.0)
    repeating = float(rest[1:] @ rest[:-1]) / power
    repeating += (1 + 3 * repeating + count * (1 + repeating)) / rows
    repeating = min(max(repeating, 0.0), MOST_REPEATING)
    if deviation is None:
        fresh = _without_dropouts(rest[1:] - repeating * rest[:-1])
        deviation = math.sqrt(float(np.mean(fresh**2)) * rows / (rows - count) / (1 - repeating**2))
    return LoggerScatter(deviation, repeating)


def _without_dropouts(values: Array) -> Array:
    """Bring values that lie far off back to the edge of the others."""
    middle = float(np.median(values))
    reach = DROPOUT * NORMAL_CONSISTENT * float(np.median(np.abs(values - middle)))
    return np.clip(values, middle - reach, middle + reach) if reach > 0 else values
