"""Where data are few or beliefs matter: what the study believed, updated by a log.

Two ways: the run's own samples, weighted by how well each explains the log (nothing new is computed, but it
fails when log and belief hardly overlap), and a Markov chain by the emcee library.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from explorer.errors import SampleError
from explorer.graph.quantity import Array
from explorer.logs.fitting.fit import Fit
from explorer.logs.reader import Source

# Fewer effective samples leave quantiles of the result to chance (common practice).
FEWEST_EFFECTIVE = 200
# A chain is long enough when it is this many times its autocorrelation time (the emcee library's own rule).
CHAIN_LENGTHS = 50
BLOCK_STEPS = 500
REMEDY = (
    "weigh more samples, or take the Markov chain; if the log contradicts the study, find out which is wrong"
)


@dataclass(frozen=True)
class Updated:
    """What is believed after a log, beside what was believed before.

    Attributes
    ----------
    names:
        Quantities.
    samples, weights:
        Shapes (samples, quantities) and (samples,); the weights sum to one.
    effective_samples:
        How many equally weighted independent samples they are worth.
    before_mean, before_sd:
        Moments before, shape (quantities,); from the unweighted samples or from the start of the chain.
    mean, covariance:
        Moments after.
    method:
        How it was found.
    failed:
        Samples for which the model had no answer; they count as impossible.
    weakness:
        Why it should not be used; empty when it may.
    """

    names: tuple[str, ...]
    samples: Array
    weights: Array
    effective_samples: float
    before_mean: Array
    before_sd: Array
    mean: Array
    covariance: Array
    method: str
    failed: int = 0
    weakness: str = ""
    notes: tuple[str, ...] = field(default=())

    @property
    def sd(self) -> Array:
        """Standard deviations after."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    def quantiles(self, levels: Sequence[float]) -> Array:
        """Quantiles after, shape (levels, quantities)."""
        possible = self.weights > 0
        weights, columns = self.weights[possible], []
        for values in self.samples[possible].T:
            order = np.argsort(values)
            reached = np.cumsum(weights[order]) - weights[order] / 2
            columns.append(np.interp(levels, reached, values[order]))
        return np.stack(columns, axis=-1)

    def require(self) -> Updated:
        """Return the update, or raise when it should not be used.

        Raises
        ------
        SampleError
            With the moments it would have given.
        """
        if self.weakness:
            found = "; ".join(
                f"{name} = {mean:.5g} +- {sd:.2g}"
                for name, mean, sd in zip(self.names, self.mean, self.sd, strict=True)
            )
            raise SampleError(
                f"the update is not good enough to use: {self.weakness}",
                found=found,
                allowed=f"at least {FEWEST_EFFECTIVE} effective samples",
                remedy=REMEDY,
            )
        return self

    def as_fit(self, units: Sequence[str], sources: Sequence[Source] = ()) -> Fit:
        """Return the update as a fit, so that it can be written into a study."""
        return Fit(
            kind=f"update by {self.method}",
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


def reweighted(
    samples: Array, names: Sequence[str], log_likelihood: Array, *, fewest: float = FEWEST_EFFECTIVE
) -> Updated:
    """Update a run's samples by importance weighting.

    Source: self-normalised importance sampling; effective sample size of Kish, "Survey Sampling" (1965).

    Parameters
    ----------
    samples:
        Shape (samples, quantities): inputs as the study drew them, equally likely.
    names:
        Quantities, one for each column.
    log_likelihood:
        Shape (samples,): log of how likely each sample makes the log; NaN where the model had no answer.
    fewest:
        Effective samples below which the result is called weak.

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
            remedy=REMEDY,
        )
    weights = np.exp(likely - best)
    weights /= weights.sum()
    effective = 1 / float(weights @ weights)
    weak = f"the {len(samples)} samples are worth only {effective:.0f} after weighting"
    return _updated(
        names,
        samples,
        weights,
        samples,
        effective_samples=effective,
        method="importance weighting",
        failed=failed,
        weakness=weak if effective < fewest else "",
        notes=(f"{len(samples)} samples of the study, worth {effective:.0f} after weighting by the log",),
    )


def normal_log_likelihood(
    observed: Array, predicted: Array, standard_deviation: float, repeats: float = 1.0
) -> Array:
    """Log-likelihood of logged rows with normal scatter.

    Parameters
    ----------
    observed, predicted:
        Shapes (rows,) and (samples, rows).
    standard_deviation:
        Scatter of a row.
    repeats:
        Rows that say as much as one independent row: the likelihood is weakened by it.

    Returns
    -------
    Array
        Shape (samples,), up to a constant.
    """
    squares = np.sum(((observed - predicted) / standard_deviation) ** 2, axis=-1)
    return np.asarray(-squares / (2 * repeats))


def log_likelihood_of_fit(fit: Fit, samples: Array) -> Array:
    """Log-likelihood of a fit's estimates, their errors jointly normal.

    ``samples`` has shape (samples, quantities) with the quantities of the fit in its order; the result has
    shape (samples,), up to a constant.
    """
    difference = samples - fit.estimates
    return np.asarray(-np.sum(difference * np.linalg.solve(fit.covariance, difference.T).T, axis=-1) / 2)


def updated_by_chain(
    log_density: Callable[[Array], Array],
    start: Array,
    names: Sequence[str],
    *,
    seed: int,
    before: Array | None = None,
    most_steps: int = 5000,
    fewest: float = FEWEST_EFFECTIVE,
) -> Updated:
    """Update by a Markov chain: the affine-invariant ensemble of the emcee library.

    Source: Goodman & Weare, Comm. App. Math. Comp. Sci. 5 (2010) 65; Foreman-Mackey et al., PASP 125 (2013)
    306.

    Parameters
    ----------
    log_density:
        From values (walkers, quantities) to log of belief times likelihood (walkers,), up to a constant;
        NaN where the model has no answer.
    start:
        Shape (walkers, quantities): where the walkers begin, as samples of the study; an even number of
        them, at least twice as many as quantities.
    seed:
        The same seed gives the same chain.
    before:
        Samples of the study, shape (samples, quantities), for the moments before; else the start.
    most_steps:
        Where to stop at the latest.

    Raises
    ------
    SampleError
        With too few walkers, or when no start explains the log.
    """
    _check_walkers(start)

    def density(values: Array) -> Array:
        found = log_density(values)
        return np.where(np.isnan(found), -np.inf, found)

    lost = int(np.count_nonzero(~np.isfinite(density(start))))
    if lost:
        raise SampleError(
            "some walkers start where the log is impossible",
            found=f"{lost} of {len(start)}",
            remedy="start from samples that the model has an answer for",
        )
    sampler, slowest = _chain(density, start, seed, most_steps)
    steps = int(sampler.iteration)
    skip = min(int(5 * slowest), steps // 2)
    samples = np.asarray(sampler.get_chain(discard=skip, flat=True))
    effective = len(samples) / slowest
    weakness = ""
    if steps <= CHAIN_LENGTHS * slowest:
        weakness = f"the chain of {steps} steps is short against its autocorrelation of {slowest:.0f} steps"
    elif effective < fewest:
        weakness = f"the chain is worth only {effective:.0f} independent samples"
    accepted = float(np.mean(sampler.acceptance_fraction))
    return _updated(
        names,
        samples,
        np.full(len(samples), 1 / len(samples)),
        start if before is None else before,
        effective_samples=effective,
        method="Markov chain",
        weakness=weakness,
        notes=(
            f"{steps} steps of {len(start)} walkers, {skip} left out, worth {effective:.0f} samples; "
            f"{accepted:.0%} of the steps were accepted",
        ),
    )


def _updated(names: Sequence[str], samples: Array, weights: Array, before: Array, **found: Any) -> Updated:
    """Add the moments before and after to what was found."""
    mean = weights @ samples
    centred = samples - mean
    # Without the correction the spread of few effective samples comes out too small.
    correction = max(1 - float(weights @ weights), 1e-12)
    return Updated(
        names=tuple(names),
        samples=samples,
        weights=weights,
        before_mean=before.mean(axis=0),
        before_sd=before.std(axis=0, ddof=1),
        mean=mean,
        covariance=(centred * weights[:, None]).T @ centred / correction,
        **found,
    )


def _check_walkers(start: Array) -> None:
    walkers, unknowns = start.shape
    if walkers < 2 * unknowns or walkers % 2:
        raise SampleError(
            "the ensemble needs more walkers",
            found=f"{walkers} walkers for {unknowns} quantities",
            allowed=f"an even number, at least {2 * unknowns}",
            remedy="start from more samples of the study",
        )


def _chain(density: Callable[[Array], Array], start: Array, seed: int, most_steps: int) -> tuple[Any, float]:
    """Run the chain until it is long enough; return the sampler and its slowest autocorrelation time."""
    import emcee

    sampler = emcee.EnsembleSampler(*start.shape, density, vectorize=True)
    state = emcee.State(start, random_state=np.random.RandomState(seed).get_state())
    slowest = float("inf")
    while sampler.iteration < most_steps:
        state = sampler.run_mcmc(state, min(BLOCK_STEPS, most_steps - sampler.iteration))
        lapse = np.asarray(sampler.get_autocorr_time(tol=0))
        slowest = float(np.max(lapse)) if np.isfinite(lapse).all() else float(sampler.iteration)
        if sampler.iteration > CHAIN_LENGTHS * slowest:
            break
    return sampler, slowest
