"""A first sieve of many measurements: what each would save if margins were normal and readings linear.

Then the readings leave a share 1 - R^2 of the margin's variance, and the loss that is left is an integral
over one normal variable (Raiffa & Schlaifer, Applied Statistical Decision Theory (1961), ch. 5, from memory).
It sorts out what is hardly worth a closer look; what it keeps is weighed without those assumptions.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtr, ndtri

from explorer.estimators.measuring import Stake
from explorer.estimators.regression import normal_scores
from explorer.graph.arrays import Array

# Quantiles of what readings say over which losses are averaged.
_STEPS = (np.arange(400) + 0.5) / 400


def rough_worth(scores: Array, margins: Array, stakes: Sequence[Stake]) -> Array:
    """Estimate the loss that a measurement saves on each limit.

    Parameters
    ----------
    scores:
        Normal scores of its readings, shape (readings, samples).
    margins:
        Shape (limits, samples); NaN has no answer and does not conform.
    stakes:
        What hangs on each limit, in the order of the margins.
    """
    ranked = np.stack([normal_scores(np.nan_to_num(margin, nan=-np.inf)) for margin in margins])
    fit, *_ = np.linalg.lstsq(scores.T, ranked.T, rcond=None)
    spread = np.var(ranked, axis=1)
    # A margin that is the same in every sample has nothing to explain.
    explained = np.clip(np.var(fit.T @ scores, axis=1) / np.where(spread > 0, spread, 1), 0, 1)
    conforming = np.mean(margins >= 0, axis=1)
    return np.array(list(map(loss_saved, explained, conforming, stakes)))


def loss_saved(explained: float, conforming: float, stake: Stake) -> float:
    """Return what readings save that explain a share of the variance of a normal margin.

    Parameters
    ----------
    explained:
        Share of the variance, 0 to 1.
    conforming:
        Chance that the limit holds, on what is known now.
    """
    if not 0 < conforming < 1:
        return 0.0
    told = np.sqrt(explained) * ndtri(_STEPS)
    then = ndtr((ndtri(conforming) + told) / np.sqrt(max(1 - explained, 1e-12)))
    before = min(stake.weight * conforming, stake.wrong_pass * (1 - conforming))
    return before - float(np.mean(np.minimum(stake.weight * then, stake.wrong_pass * (1 - then))))
