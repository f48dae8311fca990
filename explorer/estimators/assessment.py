"""How one build stands against its limits, short enough to be kept for thousands of builds.

Beside the share of samples that conform, each limit has three *surpluses*: margins at the ranks at which its
verdict turns.  A surplus of zero or more means that the verdict is reached, and unlike a probability it
tells how far away the turn is, so roots, contours and optima are found on it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from explorer.estimators.conformance import CONFIDENCE, Verdict, binomial_interval, fewest, finite_or_nan
from explorer.graph.arrays import Array

# Places of the three surpluses.
SURE, LIKELY, POSSIBLE = 0, 1, 2
# An objective that more than this share of samples cannot answer is not reckoned with.
MOST_UNANSWERED = 0.01


@dataclass(frozen=True)
class Requirement:
    """With which probability a limit must hold, and whether it is for safety."""

    name: str
    probability: float
    safety: bool


@dataclass(frozen=True)
class Assessment:
    """One build against its limits and objectives.

    Attributes
    ----------
    trials:
        Of what was counted for each limit; then for all and for all safety limits together: samples, but
        cars for a limit that is to hold surely.
    conforming:
        Counts for each limit; then for all limits and for all safety limits together.
    surplus:
        Shape (3, limits): zero or more where the limit passes beyond doubt, where its estimate reaches the
        required probability, and where it does not fail beyond doubt.  Minus infinity where samples without
        an answer, or too few samples, stand in the way.
    spread:
        Standard deviation of each margin.
    objectives, objective_errors:
        Mean of each objective with its standard error, NaN when too many samples have no answer.
    """

    trials: Array
    conforming: Array
    surplus: Array
    spread: Array
    objectives: Array
    objective_errors: Array

    @property
    def probabilities(self) -> Array:
        """Share that conforms: for each limit, for all, for all safety limits."""
        return self.conforming / self.trials

    def on_cars(self, limit: int, surplus: Sequence[float], conforming: int, cars: int) -> Assessment:
        """Return it with one limit judged on cars with all their days."""
        found = replace(
            self, trials=self.trials.copy(), conforming=self.conforming.copy(), surplus=self.surplus.copy()
        )
        found.trials[limit], found.conforming[limit], found.surplus[:, limit] = cars, conforming, surplus
        return found

    @property
    def verdict(self) -> Verdict:
        """Of all limits, each at its required probability."""
        return _verdict(self.surplus)

    def verdict_of(self, limit: int) -> Verdict:
        """Of one limit."""
        return _verdict(self.surplus[:, [limit]])

    def scaled(self, kind: int = LIKELY, scale: Array | None = None) -> Array:
        """Surplus of each limit in units of its own spread (or of a scale given)."""
        spread = self.spread if scale is None else scale
        scaled: Array = self.surplus[kind] / np.where(spread > 0, spread, 1.0)
        return scaled

    def packed(self) -> Array:
        """All of it as one row of numbers."""
        return np.concatenate(
            [
                [len(self.spread), len(self.objectives)],
                self.trials,
                self.conforming,
                self.surplus.ravel(),
                self.spread,
                self.objectives,
                self.objective_errors,
            ]
        )

    @classmethod
    def unpacked(cls, row: Array) -> Assessment:
        """Read such a row back."""
        limits, objectives = (int(number) for number in row[:2])
        lengths = (limits + 2, limits + 2, 3 * limits, limits, objectives, objectives)
        trials, conforming, surplus, *rest = np.split(row[2:], np.cumsum(lengths)[:-1])
        return cls(trials, conforming, surplus.reshape(3, limits), *rest)


def assess(margins: Array, requirements: Sequence[Requirement], objectives: Array) -> Assessment:
    """Assess one build from its samples.

    Parameters
    ----------
    margins:
        Shape (limits, samples); zero or more conforms, what is not finite has no answer and counts against
        the limit.
    requirements:
        One for each limit.
    objectives:
        Values of the objectives, shape (objectives, samples).
    """
    limits, samples = margins.shape
    margins = finite_or_nan(margins)
    holds = margins >= 0
    safe = np.array([one.safety for one in requirements], bool)
    together = [holds.all(axis=0).sum(), holds[safe].all(axis=0).sum()]
    surplus = np.array([surpluses(m, one.probability) for m, one in zip(margins, requirements, strict=True)])
    answered = np.isfinite(objectives)
    counts = answered.sum(axis=1)
    means = np.where(answered, objectives, 0.0).sum(axis=1) / np.maximum(counts, 1)
    squares = np.where(answered, objectives - means[:, None], 0.0) ** 2
    errors = np.sqrt(squares.sum(axis=1)) / np.maximum(counts, 1)
    known = 1 - counts / samples <= MOST_UNANSWERED
    return Assessment(
        trials=np.full(limits + 2, float(samples)),
        conforming=np.concatenate([holds.sum(axis=1), together]).astype(float),
        surplus=surplus.reshape(limits, 3).T,
        spread=np.array([_spread(margin) for margin in margins]),
        objectives=np.where(known, means, np.nan),
        objective_errors=np.where(known, errors, np.nan),
    )


def _verdict(surplus: Array) -> Verdict:
    if np.all(surplus[SURE] >= 0):
        return "pass"
    return "fail" if np.any(surplus[POSSIBLE] < 0) else "undecided"


def _spread(margin: Array) -> float:
    answered = margin[np.isfinite(margin)]
    return float(np.std(answered)) if answered.size else 0.0


def surpluses(margin: Array, required: float) -> tuple[float, float, float]:
    """Return the margins at the ranks at which a verdict turns: sure, likely, possible.

    At least k samples conform exactly when the k-th largest margin is zero or more.
    """
    ranked = np.where(np.isfinite(margin), margin, -np.inf)
    counts = turning_counts(margin.size, required)
    # Counted from below: the k-th largest of n stands at place n - k.
    places = [margin.size - count for count in counts if count is not None]
    ordered = np.partition(ranked, places)
    sure, likely, possible = (
        -math.inf if count is None else float(ordered[margin.size - count]) for count in counts
    )
    return sure, likely, possible


@lru_cache(maxsize=1024)
def turning_counts(samples: int, required: float) -> tuple[int | None, int, int]:
    """Return the fewest conforming samples that pass, that reach the estimate, and that do not fail.

    The first is None when even all of them would not show the required probability.
    """
    sure = fewest(lambda count: binomial_interval(count, samples, CONFIDENCE)[0] >= required, samples)
    possible = fewest(lambda count: binomial_interval(count, samples, CONFIDENCE)[1] >= required, samples)
    likely = math.ceil(required * samples - 1e-9)
    assert possible is not None  # with all samples conforming the upper bound is one
    return sure, max(1, likely), max(1, possible)
