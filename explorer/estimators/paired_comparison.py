"""Which of several builds is better, and how sure is that: paired comparison on common random numbers.

All builds are evaluated on the same samples, so a sample is one state of the world in which each of them is
tried.  What the builds share cancels in the difference, sample by sample.  A sample for which a build has no
answer (NaN) is the worst that can happen to that build; it is never left out of a count in silence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from scipy.special import bdtr, ndtr, ndtri

from explorer.estimators.conformance import CONFIDENCE, binomial_interval
from explorer.estimators.measuring import Expected, mean_of
from explorer.estimators.regression import cross_fitted
from explorer.graph.arrays import Array, Mask

Better: TypeAlias = Literal["higher", "lower"]


@dataclass(frozen=True)
class Difference:
    """How far the first build's value lies above the second's, sample by sample.

    Attributes
    ----------
    mean, error, sd, low, median, high:
        Of the difference over the samples in which both have an answer; ``error`` is the standard error of
        the mean, low and high are the 5 % and 95 % quantiles.
    better, better_low, better_high:
        Share of all samples in which the first is the better one, with its exact interval.
    unanswered:
        Samples in which at least one build has no answer; that build is the worse one there.
    """

    mean: float
    error: float
    sd: float
    low: float
    median: float
    high: float
    better: float
    better_low: float
    better_high: float
    unanswered: int
    samples: int


@dataclass(frozen=True)
class PairedVerdict:
    """One limit held against two builds in the same samples.

    Attributes
    ----------
    both, only_first, only_second, neither:
        Counts of samples in which the limit holds for these builds.
    difference, low, high:
        Conforming probability of the first less that of the second, with its interval.
    p_value:
        Of the exact McNemar test that both hold the limit equally often.
    surer:
        Which build holds it more often, as far as the samples can tell; all verdicts of a comparison together
        are wrong no more often than the confidence leaves.
    """

    both: int
    only_first: int
    only_second: int
    neither: int
    difference: float
    low: float
    high: float
    p_value: float
    surer: Literal["first", "second", "neither"]


@dataclass(frozen=True)
class Pick:
    """The build with the best expectation, and at least how sure it is that no other has a better one."""

    chosen: int
    confidence: float


@dataclass(frozen=True)
class Ranking:
    """How often each build takes each rank, and which one to expect the most of.

    Attributes
    ----------
    shares:
        ``shares[build][rank]``, rank 0 the best; builds that tie share their ranks evenly.
    best_low, best_high:
        Interval of each build's probability of being the best, all at once.
    pick:
        None when no sample has an answer for every build.
    """

    shares: tuple[tuple[float, ...], ...]
    best_low: tuple[float, ...]
    best_high: tuple[float, ...]
    pick: Pick | None


@dataclass(frozen=True)
class Dominance:
    """Whether one build is at least as good as another in everything.

    Attributes
    ----------
    probability, low, high:
        Share of samples in which it is at least as good in every score and holds every limit that the other
        holds, with its exact interval.
    everywhere:
        True when no expectation and no conforming probability is worse beyond doubt, and at least one is
        better beyond doubt, all comparisons taken together.
    """

    probability: float
    low: float
    high: float
    everywhere: bool


@dataclass(frozen=True)
class DecisionGain:
    """What knowing something first is worth to a choice: the expected gain, and how often it turns it."""

    gain: Expected
    turns: Expected


def paired_difference(first: Array, second: Array, better: Better = "higher") -> Difference:
    """Compare a quantity of two builds.

    Parameters
    ----------
    first, second:
        Values in the same samples, shape (samples,); NaN has no answer.
    better:
        Which end of the quantity is the good one.
    """
    apart = (first - second)[np.isfinite(first) & np.isfinite(second)]
    order = np.sign(_worst_without_answer(first, better) - _worst_without_answer(second, better))
    wins = int(np.count_nonzero(order > 0))
    low, high = binomial_interval(wins, first.size)
    mean = mean_of(apart)
    quantiles = np.quantile(apart, [0.05, 0.5, 0.95]) if apart.size else np.full(3, math.nan)
    return Difference(
        mean=mean.value if apart.size else math.nan,
        error=mean.error if apart.size else math.nan,
        sd=float(np.std(apart, ddof=1)) if apart.size > 1 else math.nan,
        low=float(quantiles[0]),
        median=float(quantiles[1]),
        high=float(quantiles[2]),
        better=wins / first.size,
        better_low=low,
        better_high=high,
        unanswered=first.size - apart.size,
        samples=first.size,
    )


def _worst_without_answer(values: Array, better: Better) -> Array:
    """Turn values so that higher is better; no answer becomes a finite worst, so that two such are equal."""
    turned = values if better == "higher" else -values
    return np.where(np.isfinite(turned), turned, -np.finfo(float).max / 4)


def paired_verdict(first_holds: Mask, second_holds: Mask, *, verdicts: int = 1) -> PairedVerdict:
    """Compare how often two builds hold one limit.

    Parameters
    ----------
    first_holds, second_holds:
        True where the limit holds, in the same samples, shape (samples,).
    verdicts:
        How many such verdicts are given side by side.  Which build is the surer one is said only where it
        holds for all of them together (Bonferroni); interval and p-value are of this one alone.

    Notes
    -----
    Exact McNemar test: Fleiss, Levin & Paik, Statistical Methods for Rates and Proportions (2003), 13.1.
    Interval: Agresti & Min, Statistics in Medicine 24 (2005) 729, half an observation added to each cell.
    """
    first, second = first_holds, second_holds
    only_first = int(np.count_nonzero(first & ~second))
    only_second = int(np.count_nonzero(~first & second))
    both = int(np.count_nonzero(first & second))
    low, high = difference_interval(only_first, only_second, first.size)
    p_value = mcnemar(only_first, only_second)
    surer: Literal["first", "second", "neither"] = "neither"
    if p_value <= (1 - CONFIDENCE) / verdicts:
        surer = "first" if only_first > only_second else "second"
    return PairedVerdict(
        both,
        only_first,
        only_second,
        first.size - both - only_first - only_second,
        (only_first - only_second) / first.size,
        low,
        high,
        p_value,
        surer,
    )


def mcnemar(only_first: int, only_second: int) -> float:
    """Two-sided exact p-value that either build alone is equally likely to hold the limit."""
    fewer, told_apart = min(only_first, only_second), only_first + only_second
    return min(1.0, 2 * float(bdtr(fewer, told_apart, 0.5))) if told_apart else 1.0


def difference_interval(
    only_first: int, only_second: int, samples: int, confidence: float = CONFIDENCE
) -> tuple[float, float]:
    """Interval of the difference of two paired probabilities."""
    one, other, total = only_first + 0.5, only_second + 0.5, samples + 2
    middle = (one - other) / total
    half = float(ndtri((1 + confidence) / 2)) * math.sqrt((one + other) - (one - other) ** 2 / total) / total
    return max(-1.0, middle - half), min(1.0, middle + half)


def ranking(scores: Array) -> Ranking:
    """Rank builds by a score of which more is better.

    Parameters
    ----------
    scores:
        Shape (builds, samples); NaN has no answer and ranks last.
    """
    shares = rank_shares(scores)
    builds, samples = scores.shape
    # Each interval at a higher confidence, so that all of them hold together (Bonferroni).
    each = 1 - (1 - CONFIDENCE) / builds
    intervals = [binomial_interval(float(share) * samples, samples, each) for share in shares[:, 0]]
    return Ranking(
        shares=tuple(tuple(float(share) for share in row) for row in shares),
        best_low=tuple(low for low, _ in intervals),
        best_high=tuple(high for _, high in intervals),
        pick=pick_of(scores),
    )


def rank_shares(scores: Array) -> Array:
    """Share of samples in which each build takes each rank: shape (builds, ranks), the best rank first."""
    builds, samples = scores.shape
    filled = np.where(np.isfinite(scores), scores, -np.inf)
    shares = np.zeros((builds, builds))
    for k, own in enumerate(filled):
        ahead = np.count_nonzero(filled > own, axis=0)
        level = np.count_nonzero(filled == own, axis=0)
        for rank in range(builds):
            shares[k, rank] = np.sum(((ahead <= rank) & (rank < ahead + level)) / level) / samples
    return shares


def pick_of(scores: Array) -> Pick | None:
    """Pick the build with the best mean score over the samples in which every build has an answer.

    Notes
    -----
    Paired differences to all others, their doubts added up (Bonferroni).
    """
    complete = scores[:, np.isfinite(scores).all(axis=0)]
    if complete.shape[1] < 2:
        return None
    chosen = int(np.argmax(complete.mean(axis=1)))
    others = [other for other in range(len(complete)) if other != chosen]
    doubt = sum(_chance_below_nought(mean_of(complete[chosen] - complete[other])) for other in others)
    return Pick(chosen, max(0.0, 1 - doubt))


def _chance_below_nought(gap: Expected) -> float:
    if gap.error > 0:
        return float(ndtr(-gap.value / gap.error))
    return 0.0 if gap.value > 0 else 0.5


def dominance(
    scores: tuple[Array, Array],
    holds: tuple[Mask, Mask],
    *,
    verdicts: int = 1,
) -> Dominance:
    """Tell whether the first build is at least as good as the second in everything.

    Parameters
    ----------
    scores:
        Of the first and of the second build, shape (scores, samples) each; more is better, NaN is worst.
    holds:
        True where a limit holds, shape (limits, samples) each.
    verdicts:
        How many such statements are made side by side; all of them hold together (Bonferroni).
    """
    first, second = (np.where(np.isfinite(score), score, -np.inf) for score in scores)
    as_good = np.all(first >= second, axis=0) & np.all(holds[0] >= holds[1], axis=0)
    count, samples = int(np.count_nonzero(as_good)), as_good.size
    low, high = binomial_interval(count, samples)
    comparisons = max(1, len(first) + len(holds[0]))
    each = 1 - (1 - CONFIDENCE) / (comparisons * verdicts)
    intervals = [_mean_interval(a - b, each) for a, b in zip(*scores, strict=True)]
    for a, b in zip(*holds, strict=True):
        intervals.append(difference_interval(int(np.sum(a & ~b)), int(np.sum(b & ~a)), samples, each))
    everywhere = all(high >= 0 for _, high in intervals) and any(low > 0 for low, _ in intervals)
    return Dominance(count / samples, low, high, everywhere)


def _mean_interval(values: Array, confidence: float) -> tuple[float, float]:
    mean = mean_of(values[np.isfinite(values)])
    half = float(ndtri((1 + confidence) / 2)) * mean.error
    return mean.value - half, mean.value + half


def gain_to_decision(payoffs: Array, scores: Array | None = None) -> DecisionGain:
    """Weigh what it is worth to know some readings, or everything, before choosing a build.

    Parameters
    ----------
    payoffs:
        What each build would bring in each sample, shape (builds, samples), all finite.
    scores:
        Normal scores of the readings, shape (readings, samples); None for perfect knowledge of the sample.

    Notes
    -----
    Expected value of (partial) perfect or of sample information for the choice: Raiffa & Schlaifer, Applied
    Statistical Decision Theory (1961); by regression: Strong et al., Medical Decision Making 34 (2014) 311.
    """
    now = int(np.argmax(payoffs.mean(axis=1)))
    expected = payoffs if scores is None else cross_fitted(scores, payoffs)
    # The choice stays as it is unless another build is expected to do better.
    turned = expected.max(axis=0) > expected[now]
    then = np.where(turned, expected.argmax(axis=0), now)
    gain = np.take_along_axis(payoffs, then[None], axis=0)[0] - payoffs[now]
    return DecisionGain(mean_of(gain), mean_of(turned.astype(float)))
