"""Does a limit hold, and how sure is that: counted samples -> probability, interval, verdict.

A margin is how far the quantity lies on the good side of its limit: zero or more conforms.  A margin that
is not finite belongs to a sample for which the model had no answer; it counts against the limit.
Words as in JCGM 106:2012, "The role of measurement uncertainty in conformity assessment".
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from scipy.special import betaincinv, stdtrit

from explorer.errors import SampleError
from explorer.graph.arrays import Array

Verdict: TypeAlias = Literal["pass", "fail", "undecided"]

EXACT = "exact binomial (Clopper-Pearson)"
# Of every interval, unless a caller asks for another.
CONFIDENCE = 0.95
REPLICATES = "replicates (Student t)"

# Beyond this many, an estimate lies so near the requirement that counting will not tell the two apart.
MOST_SAMPLES_WORTH_DRAWING = 10**8
# Fewer of the rarer outcome than this in a replicate, and the spread between replicates says too little.
FEWEST_OF_RARER_OUTCOME = 10


@dataclass(frozen=True)
class Margin:
    """What is known of a margin's distribution, whether kept whole or streamed.

    Attributes
    ----------
    mean, sd, low, median, high:
        Over the samples that have an answer; low and high are the 5 % and 95 % quantiles.
    surplus:
        Quantile at 1 - required, samples without an answer counted as the worst of all; minus infinity when
        these alone are more than the requirement allows.
    """

    mean: float
    sd: float
    low: float
    median: float
    high: float
    surplus: float


@dataclass(frozen=True)
class Conformance:
    """Verdict on one limit, with everything needed to see how firm it is.

    Attributes
    ----------
    probability, low, high, confidence, method:
        Share of samples that conform, its two-sided interval, the confidence of that, and how it was found.
    trials, conforming, failed:
        Samples drawn; those that conform; those without an answer, which count as not conforming.
    required, verdict:
        Probability asked for; "pass" when the whole interval reaches it, "fail" when none of it does.
    decides, more_samples:
        What would decide it, in words, and about how many samples more (None: no number of them).
    margin:
        Its surplus is zero or more where the estimate reaches the required probability.
    """

    probability: float
    low: float
    high: float
    confidence: float
    method: str
    trials: int
    conforming: int
    failed: int
    required: float
    verdict: Verdict
    decides: str
    more_samples: int | None
    margin: Margin

    @property
    def guard_band(self) -> float:
        """How far inside the limit the median must lie for the required probability (JCGM 106:2012, 8.3)."""
        return self.margin.median - self.margin.surplus


def binomial_interval(
    conforming: float, trials: float, confidence: float = CONFIDENCE
) -> tuple[float, float]:
    """Exact two-sided interval of a probability from a count of independent samples.

    Source: Clopper & Pearson, Biometrika 26 (1934) 404, through the beta quantile.
    """
    if not 0 <= conforming <= trials or trials <= 0:
        raise SampleError(
            "a count of conforming samples lies between zero and all of them",
            found=f"{conforming} of {trials}",
            remedy="draw at least one sample",
        )
    tail = (1 - confidence) / 2
    low = 0.0 if conforming == 0 else float(betaincinv(conforming, trials - conforming + 1, tail))
    high = 1.0 if conforming == trials else float(betaincinv(conforming + 1, trials - conforming, 1 - tail))
    return low, high


def replicate_interval(probabilities: Array, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Two-sided Student t interval of the mean of independent, equally good estimates of a probability.

    Each scramble of a Sobol design gives one estimate; their scatter is the honest measure of the error,
    which is far smaller than that of as many independent samples.
    """
    replicates = len(probabilities)
    if replicates < 2:
        raise SampleError(
            "one replicate has no spread", found=f"{replicates} replicates", allowed="2 or more"
        )
    mean = float(np.mean(probabilities))
    factor = float(stdtrit(replicates - 1, (1 + confidence) / 2))
    half = factor * float(np.std(probabilities, ddof=1)) / math.sqrt(replicates)
    return max(0.0, mean - half), min(1.0, mean + half)


def finite_or_nan(values: Array) -> Array:
    """Return values with what is not finite made NaN, no answer: not even an endless margin conforms."""
    values = np.asarray(values, dtype=float)
    finite = np.isfinite(values)
    return values if finite.all() else np.where(finite, values, np.nan)


def summarise_margins(margins: Array, required: float) -> Margin:
    """Summarise margins of any shape; those that are not finite count only in the surplus."""
    answered = margins[np.isfinite(margins)]
    failed = margins.size - answered.size
    if not answered.size:
        return Margin(math.nan, math.nan, math.nan, math.nan, math.nan, -math.inf)
    low, median, high = np.quantile(answered, [0.05, 0.5, 0.95])
    # The failed samples are the lowest ones: the quantile of all is one of the answered at a lower level.
    level = ((1 - required) * margins.size - failed) / answered.size
    surplus = float(np.quantile(answered, level)) if level >= 0 else -math.inf
    sd = float(np.std(answered, ddof=1)) if answered.size > 1 else 0.0
    return Margin(float(np.mean(answered)), sd, float(low), float(median), float(high), surplus)


def judge_margins(margins: Array, required: float) -> Conformance:
    """Judge a limit from its margins.

    Parameters
    ----------
    margins:
        Zero or more conforms, what is not finite has no answer.  Shape (samples,) for independent samples,
        or (replicates, samples) for independent scrambles of a Sobol design.
    required:
        Probability with which the limit must hold, strictly between 0 and 1.

    Raises
    ------
    SampleError
        Without a sample, or with a required probability that no number of samples can show.
    """
    _check_share(required, "required")
    margins = finite_or_nan(margins)
    return judge_counts(
        conforming=int(np.count_nonzero(margins >= 0)),
        trials=margins.size,
        failed=int(np.count_nonzero(np.isnan(margins))),
        required=required,
        margin=summarise_margins(margins, required),
        probabilities=np.mean(margins >= 0, axis=1) if margins.ndim == 2 and margins.size else None,
    )


def judge_counts(
    *,
    conforming: int,
    trials: int,
    failed: int,
    required: float,
    margin: Margin,
    confidence: float = CONFIDENCE,
    probabilities: Array | None = None,
) -> Conformance:
    """Judge a limit from streamed counts.

    Parameters
    ----------
    conforming, trials, failed:
        Counts over all samples; failed ones are among the trials and not among the conforming.
    required, confidence:
        As in ``judge_margins``; of the two-sided interval.
    margin:
        Moments and quantiles of the margin.
    probabilities:
        Conforming share of each independent scramble, when the samples are such replicates.

    Raises
    ------
    SampleError
        As in ``judge_margins``.
    """
    _check_share(required, "required")
    _check_share(confidence, "confidence")
    low, high = binomial_interval(conforming, trials, confidence)
    method = EXACT
    if probabilities is not None and _spread_is_significant(conforming, trials, len(probabilities)):
        low, high = replicate_interval(probabilities, confidence)
        method = REPLICATES
    probability = conforming / trials
    verdict: Verdict = "pass" if low >= required else "fail" if high < required else "undecided"
    more = None
    if verdict == "undecided":
        more = _more_samples(probability, trials, required, confidence, (low, high), method)
    return Conformance(
        probability=probability,
        low=low,
        high=high,
        confidence=confidence,
        method=method,
        trials=trials,
        conforming=conforming,
        failed=failed,
        required=required,
        verdict=verdict,
        decides=_what_decides(verdict, more),
        more_samples=0 if verdict != "undecided" else more,
        margin=margin,
    )


def worst_verdict(verdicts: Collection[Verdict]) -> Verdict:
    """Return "fail" when any fails, "undecided" when any is, else "pass"."""
    order: tuple[Verdict, ...] = ("fail", "undecided")
    return next((word for word in order if word in verdicts), "pass")


def judge_joint(margins: Array, required: float) -> Conformance:
    """Judge several limits at once: a sample conforms only when it holds all of them.

    Parameters
    ----------
    margins:
        Shape (limits, samples), or (limits, replicates, samples).
    required:
        As in ``judge_margins``.

    Returns
    -------
    Conformance
        Its margin is the smallest of the margins, each in units of its own standard deviation.
    """
    return judge_margins(np.min([_in_own_spread(margin) for margin in margins], axis=0), required)


def _in_own_spread(margin: Array) -> Array:
    margin = finite_or_nan(margin)
    answered = margin[np.isfinite(margin)]
    spread = float(np.std(answered)) if answered.size else 0.0
    return margin / spread if spread > 0 else margin


def _spread_is_significant(conforming: int, trials: int, replicates: int) -> bool:
    """Tell whether the rarer outcome is frequent enough for replicates to differ by what they should."""
    rarer = min(conforming, trials - conforming)
    return replicates >= 2 and rarer >= FEWEST_OF_RARER_OUTCOME * replicates


def _more_samples(
    probability: float,
    trials: int,
    required: float,
    confidence: float,
    interval: tuple[float, float],
    method: str,
) -> int | None:
    """How many samples more would decide, were the present estimate the truth."""
    above = probability >= required

    def decided(n: int) -> bool:
        low, high = binomial_interval(probability * n, n, confidence)
        return low >= required if above else high < required

    needed: float | None
    if method == EXACT:
        needed = fewest(decided, MOST_SAMPLES_WORTH_DRAWING, trials)
    else:
        # An interval narrows at least as fast as one over the root of the number of samples.
        distance = abs(probability - required)
        half = probability - interval[0] if above else interval[1] - probability
        needed = trials * (half / distance) ** 2 if distance > 0 else None
    if needed is None or needed > MOST_SAMPLES_WORTH_DRAWING:
        return None
    return max(1, math.ceil(needed - trials))


def fewest(holds: Callable[[int], bool], most: int, least: int = 0) -> int | None:
    """Return the smallest count, none above ``most``, at which a condition that then stays true holds."""
    if not holds(most):
        return None
    low, high = least - 1, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def _what_decides(verdict: Verdict, more: int | None) -> str:
    if verdict != "undecided":
        side = "reaches" if verdict == "pass" else "stays below"
        return f"nothing more: the whole interval {side} the required probability"
    if more is None:
        return (
            "sampling alone will not decide: the probability lies at the requirement; "
            "know an input better or leave more room"
        )
    return f"about {two_digits(more):,} more cars".replace(",", " ")


def two_digits(count: int) -> int:
    """Round up to two figures: the estimate it rests on is no better."""
    step = int(10 ** max(0, len(str(count)) - 2))
    return -(-count // step) * step


def _check_share(value: float, key: str) -> None:
    if not 0 < value < 1:
        raise SampleError(
            "a probability that samples can show lies strictly between 0 and 1",
            key=key,
            found=value,
            allowed="between 0 and 1, both left out",
            remedy="ask for 0.99 or 0.999 rather than 1",
        )
