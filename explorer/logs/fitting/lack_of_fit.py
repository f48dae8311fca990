"""Whether the residuals hold a smooth pattern that the model should have followed."""

from __future__ import annotations

import numpy as np
from scipy.special import fdtrc

from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Labels, LackOfFit
from explorer.logs.fitting.independence import repetition

# Bends of a smooth pattern that are looked for: polynomials of up to this degree along the abscissa.
HIGHEST_DEGREE = 5
# A flag should be rare when the model is right: one log in a thousand (common practice, no source).
FLAG_BELOW = 0.001


def lack_of_fit(
    residuals: Array, jacobian: Array, abscissa: Array, run: Labels, scale: float, *, looks: int = 1
) -> LackOfFit | None:
    """Test the residuals against polynomials along the abscissa that the model's parameters cannot make.

    Source: F test of added regressors, Draper & Smith, "Applied Regression Analysis", extra sum of squares;
    Ramsey, J. Royal Statistical Society B 31 (1969) 350.  The rows are counted as effective ones.

    Parameters
    ----------
    residuals, abscissa, run:
        Shape (rows,); residuals in units of their standard deviation, doubtful ones already weighted down.
    jacobian:
        Shape (rows, parameters), in the same units.
    scale:
        Standard deviation of the residuals, to say the pattern in the unit of the observation.
    looks:
        How many such tests are made on one fit; the chance is that of the worst of them.

    Returns
    -------
    LackOfFit or None
        None with too few rows to tell a pattern from scatter.
    """
    pattern = _added_pattern(jacobian, abscissa)
    free = pattern.shape[1]
    if free == 0:
        return None
    smooth = pattern @ (pattern.T @ residuals)
    rest = residuals - smooth
    repeats = repetition(rest, run, jacobian.shape[1] + free)
    freedom = len(residuals) / repeats - jacobian.shape[1] - free
    rest_freedom = len(residuals) - jacobian.shape[1] - free
    if freedom < 2 or not rest @ rest > 0:
        return None
    statistic = float((smooth @ smooth) / free / repeats / (rest @ rest / rest_freedom))
    p_value = min(1.0, looks * float(fdtrc(free, freedom, statistic)))
    worst = int(np.argmax(np.abs(smooth)))
    return LackOfFit(
        statistic, p_value, p_value < FLAG_BELOW, float(smooth[worst]) * scale, float(abscissa[worst])
    )


def _added_pattern(jacobian: Array, abscissa: Array) -> Array:
    """Orthonormal basis of smooth patterns that lie outside what the parameters can follow."""
    low, high = float(abscissa.min()), float(abscissa.max())
    if not high > low:
        return np.empty((len(abscissa), 0))
    position = 2 * (abscissa - low) / (high - low) - 1
    degree = min(HIGHEST_DEGREE, len(np.unique(abscissa)) - 1)
    basis = np.polynomial.legendre.legvander(position, degree)
    basis /= np.linalg.norm(basis, axis=0)
    followed, _ = np.linalg.qr(jacobian / np.maximum(np.linalg.norm(jacobian, axis=0), 1e-300))
    # Twice, since one projection leaves rounding of the size of what was taken away.
    for _ in range(2):
        basis = basis - followed @ (followed.T @ basis)
    directions, sizes, _ = np.linalg.svd(basis, full_matrices=False)
    return np.asarray(directions[:, sizes > 1e-2])
