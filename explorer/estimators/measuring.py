"""What a measurement is worth before it is made, limit by limit, from the run's own samples.

Every sample is a car that might be the real one. Give each the reading its instrument would show, ask what a
builder would then expect of the margin (``explorer.estimators.regression``), and count how often the call
made on that expectation is wrong. An input that matters much but can be measured only roughly, or whose
limit is clear already, is worth little; the numbers show it.

A *call* is the likelier of "it conforms" and "it does not".  Risks are the global ones of JCGM 106:2012, 9.3:
over all cars that might be the real one, accepting when the probability reaches the required one.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from explorer.errors import SampleError
from explorer.estimators.conformance import finite_or_nan
from explorer.estimators.regression import Marks, cross_fitted, normal_scores, probability_given
from explorer.graph.quantity import Array

# Differences within so many standard errors are no difference.
TELLING = 2.0
FEWEST_SAMPLES = 400
# Parts of the samples that are fitted apart to see how far a fit can be off.
BATCHES = 8


@dataclass(frozen=True)
class Accuracy:
    """How well one measurement reads one input, in SI units.

    Attributes
    ----------
    noise, relative:
        Standard deviation of one reading: fixed, and as a share of the true value; they add in quadrature.
    bias:
        Standard uncertainty of what all repeats share (calibration); repeating does not reduce it.
    repeats:
        Readings averaged.
    leaves:
        In place of all these: the standard uncertainty that would be left of the input.
    """

    noise: float = 0.0
    relative: float = 0.0
    bias: float = 0.0
    repeats: int = 1
    leaves: float | None = None


@dataclass(frozen=True)
class Measurement:
    """Something the builder could measure.

    Attributes
    ----------
    name, label:
        Its name in the study, and what is measured in words that follow "measure the".
    reads:
        Accuracy for each input it improves.
    hours, cost:
        What it takes, in hours of work and in the builder's own money.
    """

    name: str
    label: str
    reads: Mapping[str, Accuracy]
    hours: float
    cost: float = 0.0


@dataclass(frozen=True)
class Stake:
    """What hangs on one limit.

    Attributes
    ----------
    limit:
        Its name in the study.
    required:
        Probability with which it must hold.
    false_pass, false_fail:
        Cost of taking a car as good that does not conform, and of turning one down that does; None when the
        builder has named none.
    weight:
        How much a wrong call on this limit counts against one on another.
    """

    limit: str
    required: float
    false_pass: float | None = None
    false_fail: float | None = None
    weight: float = 1.0


@dataclass(frozen=True)
class Expected:
    """An expectation over the samples with its standard error."""

    value: float
    error: float


@dataclass(frozen=True)
class Outcome:
    """Where one limit stands, now or once some readings are known.

    Attributes
    ----------
    variance:
        Of the margin, in its unit squared; after readings, what is left of it on average.
    wrong_call:
        Probability that the likelier call is wrong.
    passes, fails:
        Chance that the limit is then known to hold, or not to hold, with the required probability.
    consumer_risk, producer_risk:
        Chance of accepting a car that does not conform, and of turning down one that does.
    cost:
        Expected cost of the cheaper decision; None where no costs are given.
    """

    variance: Expected
    wrong_call: Expected
    passes: Expected
    fails: Expected
    consumer_risk: Expected
    producer_risk: Expected
    cost: Expected | None

    @property
    def settled(self) -> float:
        """Chance that the limit is settled either way."""
        return self.passes.value + self.fails.value


@dataclass(frozen=True)
class Worth:
    """What one measurement is worth for one limit.

    Attributes
    ----------
    measurement, limit, hours:
        Names, and what it takes.
    before, after:
        Where the limit stands now and, on average, after the measurement.
    variance_removed, wrong_calls_avoided, cost_saved:
        Differences of the two with their standard errors, which are smaller than those of either: the same
        samples are in both.  ``cost_saved`` is None where no costs are given.
    turns:
        Chance that the verdict against the required probability comes out other than it stands now.
    rank, tied_with:
        By wrong calls avoided on this limit; measurements whose difference lies within its error are tied.
    """

    measurement: str
    limit: str
    hours: float
    before: Outcome
    after: Outcome
    variance_removed: Expected
    wrong_calls_avoided: Expected
    cost_saved: Expected | None
    turns: Expected
    rank: int
    tied_with: tuple[str, ...]


@dataclass(frozen=True)
class Calls:
    """What each sample's builder would know of one limit, and what acting on it would bring.

    Attributes
    ----------
    margin, expected:
        True margin (NaN without an answer), and what is expected of it.
    conforms, probability:
        Whether the sample conforms, and the probability it is given.
    """

    margin: Array
    expected: Array
    conforms: Array
    probability: Array

    def wrong(self) -> Array:
        """Whether the likelier call is wrong, nought or one for each sample."""
        return np.not_equal(self.conforms, self.probability >= 0.5).astype(float)

    def costs(self, stake: Stake) -> Array | None:
        """Cost of the cheaper decision in each sample, or None where no costs are given."""
        if stake.false_pass is None or stake.false_fail is None:
            return None
        accepted = self.probability * stake.false_fail >= (1 - self.probability) * stake.false_pass
        return np.where(accepted, stake.false_pass * (1 - self.conforms), stake.false_fail * self.conforms)

    def deviations(self) -> Array:
        """Squared distance of each answered margin from what was expected of it."""
        return (self.margin - self.expected)[np.isfinite(self.margin)] ** 2

    @cached_property
    def apart(self) -> Array:
        """Probabilities from a fit to each batch of the samples: their scatter is the error of a fit."""
        if np.ptp(self.expected) == 0:
            return self.probability
        return probability_given(self.expected, self.conforms, parts=BATCHES, own=True)

    def outcome(self, stake: Stake) -> Outcome:
        """Average over the samples."""
        costs, apart = self.costs(stake), self.apart

        def mean_where(counted: Callable[[Array], Array | Marks]) -> Expected:
            """Mean of what hangs on where a probability lies, with the error of the fit in it."""
            return Expected(mean_of(counted(self.probability)).value, batch_error(counted(apart)))

        return Outcome(
            variance=mean_of(self.deviations()),
            wrong_call=mean_of(self.wrong()),
            passes=mean_where(lambda p: p >= stake.required),
            fails=mean_where(lambda p: p <= 1 - stake.required),
            consumer_risk=mean_where(lambda p: (p >= stake.required) * (1 - self.conforms)),
            producer_risk=mean_where(lambda p: (p < stake.required) * self.conforms),
            cost=None if costs is None else mean_of(costs),
        )

    def settled(self, stake: Stake) -> float:
        """Chance that the limit is known to hold, or not to hold, with the required probability."""
        surest = np.maximum(self.probability, 1 - self.probability)
        return float(np.mean(surest >= stake.required))

    def turns(self, stake: Stake) -> Expected:
        """Chance that the verdict against the required probability is other than without the readings."""
        now = float(np.mean(self.conforms)) >= stake.required
        turned = (self.probability >= stake.required) != now
        return Expected(mean_of(turned).value, batch_error((self.apart >= stake.required) != now))


def mean_of(values: Array | Marks) -> Expected:
    """Mean over independent samples with its standard error; scrambled Sobol samples do no worse."""
    count = max(1, values.size)
    error = float(np.std(values)) / math.sqrt(count) if values.size else 0.0
    return Expected(float(np.sum(values)) / count, error)


def batch_error(values: Array | Marks) -> float:
    """Find the standard error of a mean from the scatter between batches, each every BATCHES-th sample."""
    means = [float(np.mean(values[batch::BATCHES])) for batch in range(BATCHES)]
    return float(np.std(means, ddof=1)) / math.sqrt(BATCHES)


def take_readings(measurement: Measurement, samples: Mapping[str, Array], seed: int) -> Array:
    """Simulate the readings a measurement would give in each sample.

    Parameters
    ----------
    measurement:
        What is measured, and how well.
    samples:
        Values of every uncertain input, shape (samples,) each.
    seed:
        The run's; the noise also hangs on the names, so that another measurement changes nothing here.

    Returns
    -------
    Array
        Normal scores of the readings, shape (inputs read, samples).

    Raises
    ------
    SampleError
        When an input was not sampled.
    """
    scores = []
    for name, accuracy in measurement.reads.items():
        if name not in samples:
            raise SampleError(
                f"the measurement reads {name!r}, which is not an uncertain input of this run",
                key=measurement.name,
                found=name,
                allowed=", ".join(sorted(samples)),
                remedy="give that input a distribution, or leave it out of the measurement",
            )
        truth = np.asarray(samples[name], float)
        digest = hashlib.blake2b(f"{measurement.name}/{name}".encode(), digest_size=8).digest()
        generator = np.random.Generator(np.random.Philox(key=[seed, int.from_bytes(digest)]))
        scores.append(normal_scores(_reading(truth, accuracy, generator.standard_normal(truth.size))))
    return np.stack(scores)


def _reading(truth: Array, accuracy: Accuracy, noise: Array) -> Array:
    """Add the instrument's error to the truth; noise is standard normal."""
    if accuracy.leaves is None:
        spread = (accuracy.noise**2 + (accuracy.relative * truth) ** 2) / accuracy.repeats + accuracy.bias**2
        return np.asarray(truth + np.sqrt(spread) * noise)
    known = float(np.std(truth))
    if accuracy.leaves >= known:
        # What would leave no less than is known already teaches nothing.
        return noise
    # Two sources of knowledge add their reciprocal variances (normal distributions).
    return (
        np.asarray(truth + noise / math.sqrt(1 / accuracy.leaves**2 - 1 / known**2))
        if accuracy.leaves
        else truth
    )


def calls_before(margin: Array) -> Calls:
    """Know nothing but the run: every sample is given the mean margin and the plain probability."""
    conforms = (margin >= 0).astype(float)
    answered = margin[np.isfinite(margin)]
    expected = float(np.mean(answered)) if answered.size else 0.0
    return Calls(
        margin, np.full(margin.shape, expected), conforms, np.full(margin.shape, float(np.mean(conforms)))
    )


def calls_after(scores: Array, margins: Array) -> tuple[Calls, ...]:
    """Know the readings: one expectation and one probability for each sample and limit.

    Parameters
    ----------
    scores:
        Normal scores of all readings taken together, shape (readings, samples).
    margins:
        Shape (limits, samples).
    """
    expected = cross_fitted(scores, margins)
    found = []
    for margin, guess in zip(margins, expected, strict=True):
        conforms = (margin >= 0).astype(float)
        found.append(Calls(margin, guess, conforms, probability_given(guess, conforms)))
    return tuple(found)


def worth_of_calls(
    stacked: Array,
    measurements: Sequence[Measurement],
    stakes: Sequence[Stake],
    after: Sequence[Sequence[Calls]],
) -> tuple[Worth, ...]:
    """Weigh each measurement alone from the calls that it would lead to.

    Parameters
    ----------
    stacked:
        Margins in the order of the stakes, shape (limits, samples).
    measurements, stakes:
        What could be measured, and what hangs on each limit; the result has the order of the stakes.
    after:
        What would be known after each measurement, limit by limit.
    """
    worths: list[Worth] = []
    for k, stake in enumerate(stakes):
        before = calls_before(stacked[k])
        now = before.outcome(stake)
        avoided = (
            np.stack([before.wrong() - calls[k].wrong() for calls in after]) if after else np.empty((0, 1))
        )
        ranks, ties = ranked(avoided)
        found = [
            _worth(measurement, stake, before, now, calls[k], rank, tuple(measurements[j].name for j in tied))
            for measurement, calls, rank, tied in zip(measurements, after, ranks, ties, strict=True)
        ]
        worths += sorted(found, key=lambda worth: -worth.wrong_calls_avoided.value)
    return tuple(worths)


def _worth(
    measurement: Measurement,
    stake: Stake,
    before: Calls,
    now: Outcome,
    after: Calls,
    rank: int,
    tied_with: tuple[str, ...],
) -> Worth:
    costs_before, costs_after = before.costs(stake), after.costs(stake)
    saved = None
    if costs_before is not None and costs_after is not None:
        saved = mean_of(costs_before - costs_after)
    return Worth(
        measurement=measurement.name,
        limit=stake.limit,
        hours=measurement.hours,
        before=now,
        after=after.outcome(stake),
        variance_removed=mean_of(before.deviations() - after.deviations()),
        wrong_calls_avoided=mean_of(before.wrong() - after.wrong()),
        cost_saved=saved,
        turns=after.turns(stake),
        rank=rank,
        tied_with=tied_with,
    )


def ranked(gains: Array) -> tuple[list[int], list[tuple[int, ...]]]:
    """Rank rows of gains by their mean over samples, rows alike within their error sharing a rank.

    Parameters
    ----------
    gains:
        Shape (rows, samples): the same samples in every row, so that differences are paired.

    Returns
    -------
    ranks, ties:
        One more than the number of rows beyond doubt better; and the rows that cannot be told from each.
    """
    rows, count = gains.shape
    means = gains.mean(axis=1)
    covariance = np.atleast_2d(np.cov(gains)) if rows else np.empty((0, 0))
    spread = np.diag(covariance)[:, None] + np.diag(covariance)[None, :] - 2 * covariance
    error = np.sqrt(np.maximum(spread, 0) / count)
    better = means[:, None] - means[None, :] > TELLING * error
    ranks = [1 + int(better[:, j].sum()) for j in range(rows)]
    ties = [
        tuple(i for i in range(rows) if i != j and not (better[i, j] or better[j, i])) for j in range(rows)
    ]
    return ranks, ties


def stacked_margins(margins: Mapping[str, Array], stakes: Sequence[Stake]) -> Array:
    """Stack the margins in the order of the stakes, finite or NaN: shape (limits, samples)."""
    for stake in stakes:
        if stake.limit not in margins:
            raise SampleError(
                "the run has no such limit", found=stake.limit, allowed=", ".join(sorted(margins))
            )
        if margins[stake.limit].size < FEWEST_SAMPLES:
            raise SampleError(
                "too few samples to tell what a measurement is worth",
                found=margins[stake.limit].size,
                allowed=f"{FEWEST_SAMPLES} or more",
                remedy="run the study with more samples, and keep them",
            )
    return finite_or_nan(np.stack([np.asarray(margins[stake.limit], float) for stake in stakes]))
