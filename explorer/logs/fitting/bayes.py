"""Where data are few or beliefs matter: what the study believed, updated by a log.

The run's own samples are weighted by how well each explains the log: nothing new is computed, but it fails
when log and belief hardly overlap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from explorer.errors import SampleError
from explorer.files.reading import Source
from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Fit

# Fewer effective samples leave quantiles of the result to chance (common practice).
FEWEST_EFFECTIVE = 200


@dataclass(frozen=True)
class Updated:
    """What is believed after a log, beside what was believed before.

    Attributes
    ----------
    names:
        Quantities.
    effective_samples:
        How many equally weighted independent samples the weighted ones are worth.
    before_mean, before_sd:
        Moments before, shape (quantities,).
    mean, covariance:
        Moments after.
    weakness:
        Why it should not be used; empty when it may.
    """

    names: tuple[str, ...]
    effective_samples: float
    before_mean: Array
    before_sd: Array
    mean: Array
    covariance: Array
    weakness: str = ""
    notes: tuple[str, ...] = ()

    @property
    def sd(self) -> Array:
        """Standard deviations after."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    def as_fit(self, units: Sequence[str], sources: Sequence[Source] = ()) -> Fit:
        """Return the update as a fit, so that it can be written into a study."""
        return Fit(
            kind="update by importance weighting",
            names=self.names,
            units=tuple(units),
            estimates=self.mean,
            covariance=self.covariance,
            scatter_covariance=self.covariance,
            degrees_of_freedom=np.full(len(self.names), np.inf),
            effective_rows=self.effective_samples,
            sources=tuple(sources),
            notes=self.notes,
            weakness=self.weakness,
        )


def reweighted(samples: Array, names: Sequence[str], log_likelihood: Array) -> Updated:
    """Update a run's samples by importance weighting.

    Source: self-normalised importance sampling; effective sample size of Kish, "Survey Sampling" (1965).

    Parameters
    ----------
    samples:
        Shape (samples, quantities): inputs as the study drew them, equally likely.
    names:
        Quantities, one for each column.
    log_likelihood:
        Shape (samples,): log of how likely each sample makes the log; NaN, where the model had no answer,
        counts as impossible.

    Raises
    ------
    SampleError
        When no sample explains the log at all.
    """
    failed = int(np.count_nonzero(np.isnan(log_likelihood)))
    likely = np.where(np.isnan(log_likelihood), -np.inf, log_likelihood)
    best = float(np.max(likely, initial=-np.inf))
    if not np.isfinite(best):
        raise SampleError(
            "no sample of the study explains this log",
            found=f"{len(samples)} samples, {failed} of them without an answer",
            remedy="if the log contradicts the study, find out which of the two is wrong",
        )
    weights = np.exp(likely - best)
    weights /= weights.sum()
    effective = 1 / float(weights @ weights)
    mean = weights @ samples
    centred = samples - mean
    # Without the correction the spread of few effective samples comes out too small.
    correction = max(1 - float(weights @ weights), 1e-12)
    weak = f"the {len(samples)} samples are worth only {effective:.0f} after weighting"
    return Updated(
        names=tuple(names),
        effective_samples=effective,
        before_mean=samples.mean(axis=0),
        before_sd=samples.std(axis=0, ddof=1),
        mean=mean,
        covariance=(centred * weights[:, None]).T @ centred / correction,
        weakness=weak if effective < FEWEST_EFFECTIVE else "",
        notes=(f"{len(samples)} samples of the study, worth {effective:.0f} after weighting by the log",),
    )
