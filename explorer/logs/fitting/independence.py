"""How far successive residuals repeat each other, so that rows are worth fewer independent ones."""

from __future__ import annotations

import math

import numpy as np

from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Labels

# A run shorter than this says nothing about its own autocorrelation.
SHORTEST_RUN = 16
# Median absolute deviation of a normal distribution, inverted.
NORMAL_CONSISTENT = 1.482602218505602
PUT_BACK_STEPS = 5
# Rows of the sliding median that takes single bad rows away.
MEDIAN_ROWS = 5


def without_dropouts(values: Array) -> Array:
    """Smooth away single bad rows, along the last axis: the median of each row and its neighbours."""
    from scipy.ndimage import median_filter  # takes its time to load, which a check need not

    return np.asarray(median_filter(values, (1,) * (values.ndim - 1) + (MEDIAN_ROWS,), mode="mirror"))


def repetition(residuals: Array, run: Labels, fitted: float = 0.0) -> float:
    """How many successive rows say as much as one independent row.

    It is the spectral density of the residuals at frequency zero over their variance, from an
    autoregression whose order is chosen by Schwarz's criterion; the variance of a mean, or of any estimate
    that varies slowly along the log, is larger by this factor than for independent rows.  Never below 1.

    Source: Plummer et al., "CODA", R News 6/1 (2006) 7 (spectrum by autoregression); Schwarz, Annals of
    Statistics 6 (1978) 461; Levinson-Durbin recursion.

    Parameters
    ----------
    residuals:
        Shape (rows,), in the order logged.
    run:
        Shape (rows,), number of the run each belongs to; runs are independent of each other.
    fitted:
        Number of parameters fitted to these rows.  A slow curve takes its share of the slow scatter with it,
        and that share is put back: at every lag the spectral density over the rows for each parameter.
    """
    parts = [part for number in np.unique(run) if len(part := residuals[run == number]) >= SHORTEST_RUN]
    if not parts:
        return 1.0
    rows = sum(len(part) for part in parts)
    most = min(int(10 * math.log10(rows)), min(len(part) for part in parts) // 4)
    covariance = np.array([sum(float(p[: len(p) - lag] @ p[lag:]) for p in parts) for lag in range(most + 1)])
    if covariance[0] <= 0:
        return 1.0
    correlation = covariance / covariance[0]
    longest = rows / (fitted + 1)
    factor = min(_density_at_zero(correlation, rows), longest)
    for _ in range(PUT_BACK_STEPS):
        taken = fitted * factor / rows
        factor = min(_density_at_zero(correlation * (1 - taken) + taken, rows), longest)
    return max(factor, 1.0)


def _density_at_zero(correlation: Array, rows: int) -> float:
    """Spectral density at frequency zero over the variance, by the autoregression of least criterion."""
    best, density = math.inf, 1.0
    weights, innovation = np.empty(0), 1.0
    for order in range(len(correlation)):
        if order:
            reflection = (correlation[order] - weights @ correlation[order - 1 : 0 : -1]) / innovation
            weights = np.append(weights - reflection * weights[::-1], reflection)
            innovation *= 1 - reflection**2
        if innovation <= 0:
            break
        criterion = rows * math.log(innovation) + math.log(rows) * order
        if criterion < best:
            best, density = criterion, innovation / (1 - float(weights.sum())) ** 2
    return density


def neighbour_scatter(values: Array) -> float:
    """Scatter of single rows from second differences of neighbours, which a smooth run leaves small.

    Source: Gasser, Sroka & Jennen-Steinmetz, Biometrika 73 (1986) 625, in its robust form.
    """
    if len(values) < 3:
        return 0.0
    second = values[2:] - 2 * values[1:-1] + values[:-2]
    return NORMAL_CONSISTENT * float(np.median(np.abs(second))) / math.sqrt(6)
