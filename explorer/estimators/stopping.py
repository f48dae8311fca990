"""How many samples are enough: for the figures of a result, and for the verdict on a limit.

Figures: the adaptive procedure of JCGM 101:2008, 7.9.  Batches of equal size are drawn until twice the
standard error of the mean, of the standard uncertainty and of both ends of the coverage interval is no more
than half a unit of the last figure that is worth printing.  Twice holds for many batches; for few it is
Student's t at the same confidence, because two that agree by luck would end the procedure too soon (compare
Wuebbeler, Harris, Cox & Elster, Metrologia 47 (2010) 317).

Verdicts: look at the interval of the conformance probability as samples come in, and stop when none of the
limits is undecided.  Looking often makes a chance verdict likelier, so each look is judged at a confidence
that leaves all looks together what was asked for.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Literal, TypeAlias

import numpy as np
from scipy.special import ndtr, stdtrit

from explorer.errors import SampleError
from explorer.estimators.conformance import Conformance
from explorer.graph.arrays import Array

Reason: TypeAlias = Literal["decided", "cap reached", "sampling alone will not decide", "go on"]

# Trials in one batch, for a coverage of 95 % (JCGM 101:2008, 7.9.4 b).
BATCH = 10_000
# Steps from look to look: large enough to be few, small enough not to waste.
SMALLEST_GROWTH = 1.5
LARGEST_GROWTH = 8.0


@dataclass(frozen=True)
class Batch:
    """Figures of one batch: mean, standard deviation, and ends of the coverage interval."""

    mean: float
    sd: float
    low: float
    high: float


@dataclass(frozen=True)
class Batches:
    """What batches add up to: their number, and for each figure its mean and sum of squared deviations.

    ``means`` and ``squares`` hold mean, standard deviation, low and high end, shape (4,).  Batches are added
    one by one (Welford, Technometrics 4 (1962) 419), so that none need be kept.
    """

    count: int
    means: Array
    squares: Array

    @classmethod
    def none(cls) -> Batches:
        """Return what no batch at all adds up to."""
        return cls(0, np.zeros(4), np.zeros(4))

    @property
    def row(self) -> Array:
        """Everything as one row of numbers."""
        return np.array([self.count, *self.means, *self.squares], float)

    @classmethod
    def of_row(cls, row: Array) -> Batches:
        """Return the batches of a row."""
        return cls(int(row[0]), row[1:5], row[5:9])

    @classmethod
    def of(cls, batches: Iterable[Batch]) -> Batches:
        """Add up batches at hand."""
        return reduce(cls.added, batches, cls.none())

    def added(self, batch: Batch) -> Batches:
        """Add a batch."""
        figures = np.array([batch.mean, batch.sd, batch.low, batch.high])
        count = self.count + 1
        apart = figures - self.means
        means = self.means + apart / count
        return Batches(count, means, self.squares + apart * (figures - means))


@dataclass(frozen=True)
class Stability:
    """Whether the figures of an output stand still.

    Attributes
    ----------
    settled:
        True when nothing below exceeds the tolerance.
    tolerance:
        Half a unit in the last significant figure of the standard uncertainty (JCGM 101:2008, 7.9.2).
    mean, sd, low, high:
        Half-width of the interval of each, from the scatter between batches; infinite for a single batch.
    batches, batches_needed:
        How many there are, and about how many it takes.
    """

    settled: bool
    tolerance: float
    mean: float
    sd: float
    low: float
    high: float
    batches: int
    batches_needed: int


@dataclass(frozen=True)
class Look:
    """What one look at the verdicts says about going on.

    Attributes
    ----------
    stop, reason:
        Whether to stop, and why.
    samples:
        Total to have drawn by the next look; what is drawn already when stopping.
    undecided:
        Places of the limits still undecided.
    """

    stop: bool
    reason: Reason
    samples: int
    undecided: tuple[int, ...]


def numerical_tolerance(uncertainty: float, figures: int = 2) -> float:
    """Half a unit in the last of so many significant figures of an uncertainty (JCGM 101:2008, 7.9.2).

    Zero for an uncertainty of zero: such a figure stands still at once.
    """
    if uncertainty == 0:
        return 0.0
    # As a decimal text, because a rounding up (9.96 to 10) moves the figure's place.
    exponent = int(f"{uncertainty:.{figures - 1}e}".partition("e")[2])
    return float(f"0.5e{exponent - figures + 1}")


def stability(batches: Batches, *, figures: int = 2, uncertainty: float | None = None) -> Stability:
    """Judge from the batches so far whether more are needed (JCGM 101:2008, 7.9.4 e to l).

    Parameters
    ----------
    batches:
        At least one, of equal size.
    figures:
        Significant figures of the standard uncertainty to get right; one or two.
    uncertainty:
        Standard uncertainty over all trials; by default the mean of that of the batches.

    Raises
    ------
    SampleError
        Without a batch, or when a figure is not a finite number.
    """
    count = batches.count
    if not count:
        raise SampleError("no batch has been drawn")
    if not np.isfinite(batches.squares).all():
        raise SampleError(
            "a batch has no finite figures",
            remedy="leave out samples without an answer, and state how many there were",
        )
    known = float(batches.means[1]) if uncertainty is None else uncertainty
    tolerance = numerical_tolerance(known, figures)
    if count == 1:
        return Stability(False, tolerance, math.inf, math.inf, math.inf, math.inf, 1, 2)
    errors = np.sqrt(batches.squares / (count - 1) / count)
    worst = float(errors.max())
    settled = _factor(count) * worst <= tolerance
    needed = count if settled else _batches_needed(count, worst, tolerance)
    mean, sd, low, high = (float(one) for one in _factor(count) * errors)
    return Stability(settled, tolerance, mean, sd, low, high, count, needed)


def _factor(batches: int) -> float:
    """Half-width of an interval over its standard error: two for many batches, Student's t for few."""
    return float(stdtrit(batches - 1, ndtr(2.0)))


def _batches_needed(count: int, error: float, tolerance: float) -> int:
    """Foresee how many batches bring a standard error, now from so many, within the tolerance."""
    if tolerance == 0:
        return count + 1

    def wanted(factor: float) -> int:
        return max(count + 1, math.ceil(count * (factor * error / tolerance) ** 2))

    # The factor falls as the batches grow, and the batches with the factor: a few rounds agree.
    needed = wanted(2.0)
    for _ in range(4):
        needed = wanted(_factor(needed))
    return needed


def confidence_at_look(confidence: float, look: int) -> float:
    """Confidence to judge the first, second, ... look at, so that all looks together keep the one asked for.

    The doubt is dealt out as 1/2, 1/6, 1/12, ...: 1 / (k (k + 1)) adds up to one over any number of looks,
    and the chance of any wrong verdict is at most the sum of the chances (union bound).
    """
    if look < 1:
        raise SampleError("looks are counted from one", found=look, allowed="1, 2, 3 ...")
    return 1 - (1 - confidence) / (look * (look + 1))


def next_look(judged: Sequence[Conformance], drawn: int, cap: int) -> Look:
    """Decide from the verdicts at this look whether to go on, and to how many samples.

    Parameters
    ----------
    judged:
        Every limit, judged at ``confidence_at_look``.
    drawn, cap:
        Samples drawn so far, and the most that may be drawn.
    """
    undecided = tuple(k for k, one in enumerate(judged) if one.verdict == "undecided")
    if not undecided:
        return Look(True, "decided", drawn, ())
    if drawn >= cap:
        return Look(True, "cap reached", drawn, undecided)
    more = [judged[k].more_samples for k in undecided]
    wanted = [count for count in more if count is not None]
    if not wanted:
        return Look(True, "sampling alone will not decide", drawn, undecided)
    # The nearest to a verdict comes first: it may be all that can be decided below the cap.
    smallest, largest = math.ceil(SMALLEST_GROWTH * drawn), math.ceil(LARGEST_GROWTH * drawn)
    return Look(False, "go on", min(cap, max(smallest, min(drawn + min(wanted), largest))), undecided)
