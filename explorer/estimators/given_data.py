"""First-order indices from any kept samples, correlated inputs too, without a design of their own.

The index of an input is the share of the output's variance that would go were it known, together with all it
teaches about the inputs it is correlated with: the variance of the conditional expectation over the variance
(``explorer.estimators.regression``).  For independent inputs it is the first-order Sobol index.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from scipy.special import ndtri

from explorer.errors import SampleError
from explorer.estimators.conformance import CONFIDENCE
from explorer.estimators.regression import FOLDS, cross_fitted, normal_scores
from explorer.estimators.sensitivity import Estimate
from explorer.graph.arrays import Array

FEWEST_SAMPLES = 20 * FOLDS


def first_order_given_data(
    inputs: Mapping[str, Array], output: Array, confidence: float = CONFIDENCE
) -> dict[str, Estimate]:
    """Estimate the first-order index of each input, or of each group of inputs taken together.

    Parameters
    ----------
    inputs:
        Samples by name, shape (samples,), or (inputs of a group, samples).
    output:
        Shape (samples,); samples that are not finite are left out.
    confidence:
        Of the intervals, from the scatter of the samples' squared residuals.

    Returns
    -------
    dict
        Largest first.  All zero for an output that does not vary.

    Raises
    ------
    SampleError
        With too few finite samples.
    """
    finite = np.isfinite(output)
    known = output[finite]
    if known.size < FEWEST_SAMPLES:
        raise SampleError(
            "too few finite samples for a regression", found=known.size, allowed=f"{FEWEST_SAMPLES} or more"
        )
    centred = known - known.mean()
    variance = float(np.mean(centred**2))
    factor = float(ndtri((1 + confidence) / 2)) / math.sqrt(known.size)
    found = {}
    for name, values in inputs.items():
        scores = np.stack([normal_scores(one[finite]) for one in np.atleast_2d(values)])
        # In units of the variance, so that neither offset nor scale is left.
        if variance <= 0:
            found[name] = Estimate(0.0, 0.0, 0.0)
            continue
        residual = centred - cross_fitted(scores, centred[None])[0]
        explained = (centred**2 - residual**2) / variance
        value = float(np.mean(explained))
        # The share is a ratio: its error is that of the residuals of the ratio.
        half = factor * float(np.std(explained - value * centred**2 / variance))
        found[name] = Estimate(value, value - half, value + half)
    return dict(sorted(found.items(), key=lambda item: -item[1].value))
