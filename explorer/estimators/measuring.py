"""What a measurement is worth before it is made, limit by limit, from the run's own samples.

Every sample is a car that might be the real one. Give each the reading its instrument would show, ask what a
builder would then expect of the margin (``explorer.estimators.regression``), take the verdict that follows,
and count what it costs where it is wrong. An input that matters much but can be measured only roughly, or
whose limit is clear already, is worth little; the numbers show it.

The verdict is the limit's own: a pass where the probability of conforming reaches the required p.  That is
the cheaper decision exactly when passing wrongly costs p/(1 - p) times as much as turning down wrongly
(DeGroot, Optimal Statistical Decisions, 8.11: accept where the expected loss is smaller), so losses are
counted in that ratio, a good car turned down being worth the limit's weight.  The two risks are the global
ones of JCGM 106:2012, 9.3.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import stdtrit

from explorer.errors import SampleError
from explorer.estimators.conformance import finite_or_nan
from explorer.estimators.regression import cross_fitted, index_of_conforming, normal_scores, probability_given
from explorer.graph.arrays import Array, Mask

# Differences within so many standard errors are no difference.
SIGNIFICANT = 2.0
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
    weight:
        Loss of turning down a car that conforms, against that of another limit.
    runs:
        Where ``required`` is how sure one must be of a car: share of its runs that must hold the limit.
    """

    limit: str
    required: float
    weight: float = 1.0
    runs: float | None = None

    @property
    def wrong_pass(self) -> float:
        """Loss of passing a car that does not conform: the ratio p/(1 - p) makes p the threshold."""
        return self.weight * self.required / (1 - self.required)


@dataclass(frozen=True)
class Expected:
    """An expectation over the samples with its standard error."""

    value: float
    error: float


@dataclass(frozen=True)
class LimitState:
    """Where one limit stands, now or once some readings are known.

    Attributes
    ----------
    variance:
        Of the margin, in its unit squared; after readings, what is left of it on average.
    passes:
        Chance that the verdict is a pass: zero or one as things stand.
    consumer_risk, producer_risk:
        Chance of passing a car that does not conform, and of turning down one that does.
    loss:
        Expected loss of the verdict, in cars turned down wrongly at weight one.
    """

    variance: Expected
    passes: Expected
    consumer_risk: Expected
    producer_risk: Expected
    loss: Expected

    @property
    def wrong(self) -> float:
        """Chance that the verdict at the required probability is wrong, either way."""
        return self.consumer_risk.value + self.producer_risk.value


@dataclass(frozen=True)
class Worth:
    """What one measurement is worth for one limit.

    Attributes
    ----------
    measurement, limit, hours:
        Names, and what it takes.
    before, after:
        Where the limit stands now and, on average, after the measurement.
    variance_removed, loss_saved:
        Differences of the two with their standard errors, which are smaller than those of either: the same
        samples are in both.
    turns:
        Chance that the verdict comes out other than it stands now.
    rank, tied_with:
        By loss saved on this limit; measurements whose difference lies within its error are tied.
    """

    measurement: str
    limit: str
    hours: float
    before: LimitState
    after: LimitState
    variance_removed: Expected
    loss_saved: Expected
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
    conforms, likely, probability:
        Whether the sample conforms; what the readings let one expect of that, by plain regression; and the
        probability it is given.
    """

    margin: Array
    expected: Array
    conforms: Array
    likely: Array
    probability: Array

    def losses(self, stake: Stake) -> Array:
        """Loss in each sample of passing it where its probability reaches the required one."""
        passed = self.probability >= stake.required
        return np.where(passed, stake.wrong_pass * (1 - self.conforms), stake.weight * self.conforms)

    def deviations(self) -> Array:
        """Squared distance of each answered margin from what was expected of it."""
        return (self.margin - self.expected)[np.isfinite(self.margin)] ** 2

    @cached_property
    def apart(self) -> Array:
        """Probabilities from a fit to each batch of the samples: their scatter is the error of a fit."""
        if np.ptp(self.expected) == 0 or np.ptp(self.conforms) == 0:
            return self.probability
        index = index_of_conforming(self.expected, self.likely, self.conforms, parts=BATCHES, own=True)
        return probability_given(index, self.conforms, parts=BATCHES, own=True)

    def outcome(self, stake: Stake) -> LimitState:
        """Average over the samples."""
        apart = self.apart

        def mean_where(counted: Callable[[Array], Array | Mask]) -> Expected:
            """Mean of what hangs on where a probability lies, with the error of the fit in it."""
            value = mean_of(counted(self.probability)).value
            return Expected(value, batch_error(counted(apart), value))

        return LimitState(
            variance=mean_of(self.deviations()),
            passes=mean_where(lambda p: p >= stake.required),
            consumer_risk=mean_where(lambda p: (p >= stake.required) * (1 - self.conforms)),
            producer_risk=mean_where(lambda p: (p < stake.required) * self.conforms),
            loss=mean_of(self.losses(stake)),
        )

    def turns(self, stake: Stake) -> Expected:
        """Chance that the verdict against the required probability is other than without the readings."""
        now = float(np.mean(self.conforms)) >= stake.required
        turned = (self.probability >= stake.required) != now
        value = mean_of(turned).value
        return Expected(value, batch_error((self.apart >= stake.required) != now, value))


def mean_of(values: Array | Mask) -> Expected:
    """Mean over independent samples with its standard error; scrambled Sobol samples do no worse."""
    count = max(1, values.size)
    error = float(np.std(values)) / math.sqrt(count) if values.size else 0.0
    return Expected(float(np.sum(values)) / count, error)


def batch_error(values: Array | Mask, whole: float) -> float:
    """Find the standard error of what a fit to all samples says, from fits to batches, each every BATCHES-th.

    Scatter between the batches is known from few of them, so it counts as much as Student's t makes of it. A
    fit to few samples is off to one side as well, and how far the batches lie from the whole shows by how
    much: that is added, which makes it conservative, since the whole is off by less.
    """
    means = [float(np.mean(values[batch::BATCHES])) for batch in range(BATCHES)]
    factor = float(stdtrit(BATCHES - 1, 0.975)) / SIGNIFICANT
    scatter = factor * float(np.std(means, ddof=1)) / math.sqrt(BATCHES)
    return math.hypot(scatter, float(np.mean(means)) - whole)


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
    likely = np.full(margin.shape, float(np.mean(conforms)))
    return Calls(margin, np.full(margin.shape, expected), conforms, likely, likely)


def calls_after(scores: Array, margins: Array) -> tuple[Calls, ...]:
    """Know the readings: one expectation and one probability for each sample and limit.

    Parameters
    ----------
    scores:
        Normal scores of all readings taken together, shape (readings, samples).
    margins:
        Shape (limits, samples).
    """
    conforming = (margins >= 0).astype(float)
    expected = cross_fitted(scores, np.concatenate([margins, conforming]))
    found = []
    for k, (margin, conforms) in enumerate(zip(margins, conforming, strict=True)):
        guess, likely = expected[k], expected[len(margins) + k]
        # Of what is the same in every sample, readings tell nothing.
        if np.ptp(conforms) == 0:
            likely = probability = conforms
        else:
            probability = probability_given(index_of_conforming(guess, likely, conforms), conforms)
        found.append(Calls(margin, guess, conforms, likely, probability))
    return tuple(found)


def worth_of_calls(
    margins: Sequence[Array],
    measurements: Sequence[Measurement],
    stakes: Sequence[Stake],
    after: Sequence[Sequence[Calls]],
) -> tuple[Worth, ...]:
    """Weigh each measurement alone from the calls that it would lead to.

    Parameters
    ----------
    margins:
        In the order of the stakes, shape (samples,) each.
    measurements, stakes:
        What could be measured, and what hangs on each limit; the result has the order of the stakes.
    after:
        What would be known after each measurement, limit by limit.
    """
    worths: list[Worth] = []
    for k, stake in enumerate(stakes):
        before = calls_before(margins[k])
        now = before.outcome(stake)
        loss = before.losses(stake)
        saved = np.stack([loss - calls[k].losses(stake) for calls in after]) if after else np.empty((0, 1))
        ranks, ties = ranked(saved)
        found = [
            _worth(measurement, stake, before, now, calls[k], rank, tuple(measurements[j].name for j in tied))
            for measurement, calls, rank, tied in zip(measurements, after, ranks, ties, strict=True)
        ]
        worths += sorted(found, key=lambda worth: -worth.loss_saved.value)
    return tuple(worths)


def _worth(
    measurement: Measurement,
    stake: Stake,
    before: Calls,
    now: LimitState,
    after: Calls,
    rank: int,
    tied_with: tuple[str, ...],
) -> Worth:
    return Worth(
        measurement=measurement.name,
        limit=stake.limit,
        hours=measurement.hours,
        before=now,
        after=after.outcome(stake),
        variance_removed=mean_of(before.deviations() - after.deviations()),
        loss_saved=mean_of(before.losses(stake) - after.losses(stake)),
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
    better = means[:, None] - means[None, :] > SIGNIFICANT * error
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
                remedy="run the study with more cars, and keep them",
            )
    return finite_or_nan(np.stack([np.asarray(margins[stake.limit], float) for stake in stakes]))
