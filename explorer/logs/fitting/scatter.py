"""Scatter of the logged rows about the fitted curve: how large it is and how much it repeats."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from explorer.graph.arrays import Array, Mask
from explorer.logs.fitting.independence import NORMAL_CONSISTENT, repetition
from explorer.logs.fitting.problem import Problem

# Residuals past this many standard deviations count ever less; 98 % efficient on normal scatter.
SOFT_LIMIT = 2.5
# Residuals past this many are left out: a dropout, not scatter.
OUTLIER_LIMIT = 6.0
# Scatter below this share of the values is rounding.
EXACT = 1e-12


@dataclass(frozen=True)
class Scatter:
    """Scatter of each channel, arrays of shape (channels,).

    Attributes
    ----------
    scale:
        Standard deviation of a row.
    repeats:
        Successive rows that say as much as one.
    variance:
        What one row contributes to the covariance: the square of the scale, times the repeats, times what
        robustness costs.
    """

    scale: Array
    repeats: Array
    variance: Array


def influence(z: Array, robust: bool) -> tuple[Array, Array]:
    """Pull of a residual on the fit, and how it changes with the residual; z in standard deviations.

    Source: derivatives of the soft L1 loss, as in scipy.optimize.least_squares.
    """
    if not robust:
        return z, np.ones_like(z)
    t = 1 + (z / SOFT_LIMIT) ** 2
    return z * t**-0.5, t**-1.5


def first_scatter(problem: Problem, unknowns: Array) -> Scatter:
    """Scatter to begin with: the known one, else that about the first guess."""
    observations = problem.observations
    if observations.standard_deviations:
        scale = np.array(observations.standard_deviations)
    else:
        residuals = problem.residuals(unknowns)
        spread = np.array([np.std(residuals[observations.channel == c]) for c in observations.channels])
        scale = np.where(spread > 0, spread, 1.0)
    return Scatter(scale, np.ones(len(scale)), scale**2)


def measured_scatter(problem: Problem, unknowns: Array, before: Scatter, used: Mask, robust: bool) -> Scatter:
    """Measure the scatter about the present fit.

    Source: covariance of an M-estimate, Huber, "Robust Statistics" (1981), section 7.6; without outliers and
    repetition the variance is the residual sum of squares over rows minus parameters.
    """
    observations = problem.observations
    residuals = problem.residuals(unknowns)
    weighted = weighted_jacobian(problem, unknowns, before, used)
    scale, repeats, variance = before.scale.copy(), before.repeats.copy(), before.variance.copy()
    for channel in observations.channels:
        rows = (observations.channel == channel) & used
        mine, fitted = residuals[rows], parameters_fitted_by(weighted, rows)
        if not len(mine):
            continue
        # Rows that lie on the curve exactly still need a scale to be measured in.
        least = EXACT * float(np.max(np.abs(observations.values[rows]), initial=1e-100))
        if not observations.standard_deviations:
            scale[channel] = max(_scale(mine, fitted, robust), least)
        pull, slope = influence(mine / scale[channel], robust)
        repeats[channel] = repetition(pull, observations.run[rows], fitted)
        spare = len(mine) - fitted * repeats[channel]
        # A known scatter stays; otherwise that of the pull, over the independent rows to spare.
        square = (
            1.0 if observations.standard_deviations else float(pull @ pull) / max(spare, repeats[channel])
        )
        mean = float(slope.mean())
        correction = (1 + fitted / len(mine) * float(slope.var()) / mean**2) ** 2 / mean**2
        each = scale[channel] ** 2 * square * correction * repeats[channel]
        variance[channel] = max(each, least**2)
    return Scatter(scale, repeats, variance)


def _scale(residuals: Array, fitted: float, robust: bool) -> float:
    """Take the standard deviation of residuals, from their median size where outliers are to be expected."""
    spare = max(len(residuals) - fitted, 1.0)
    root = float(np.sqrt(residuals @ residuals / spare))
    middle = NORMAL_CONSISTENT * float(np.median(np.abs(residuals))) * float(np.sqrt(len(residuals) / spare))
    return middle if robust and middle > 0 else root


def weighted_jacobian(problem: Problem, unknowns: Array, scatter: Scatter, used: Mask) -> Array:
    """Jacobian in units of each row's scatter, the expectations below it."""
    weight = used / np.sqrt(scatter.variance)[problem.observations.channel]
    return np.concatenate([problem.jacobian(unknowns) * weight[:, None], problem.expected_rows])


def parameters_fitted_by(weighted: Array, rows: Mask) -> float:
    """How many parameters some rows determine: the sum of their leverages."""
    basis, _ = np.linalg.qr(weighted / np.maximum(np.linalg.norm(weighted, axis=0), 1e-300))
    return float(np.sum(basis[: len(rows)][rows] ** 2))
