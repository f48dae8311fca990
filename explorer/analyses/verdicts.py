"""From what a run counted to verdicts: on every limit, on all of them at once, and when to stop drawing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from explorer.engine.montecarlo import Outcome, SoFar
from explorer.engine.streaming import Tally
from explorer.estimators.conformance import CONFIDENCE, Conformance, Margin, judge_counts
from explorer.estimators.stopping import confidence_at_look, next_look
from explorer.estimators.two_levels import Sureness
from explorer.graph.arrays import Array
from explorer.graph.written import percent
from explorer.study.limits import Limit

FIRST_LOOK = 10_000


@dataclass(frozen=True)
class Verdicts:
    """Every limit judged, then all limits at once, and all safety limits at once (None without any)."""

    limits: tuple[Conformance, ...]
    joint: Conformance
    joint_safety: Conformance | None


def judge_outcome(limits: Sequence[Limit], outcome: Outcome, confidence: float = CONFIDENCE) -> Verdicts:
    """Judge every limit of a run; what is asked of all at once is the most that is asked of any.

    A limit that asks ``sure`` is open until cars and days are told apart (``with_sureness``).
    """
    safety = [limit.probability for limit in limits if limit.safety]
    every = len(limits)
    return Verdicts(
        tuple(
            _open_if_sure(limit, _judged(outcome, i, limit.probability, confidence))
            for i, limit in enumerate(limits)
        ),
        _judged(outcome, every, max(limit.probability for limit in limits), confidence),
        _judged(outcome, every + 1, max(safety), confidence) if safety else None,
    )


def with_sureness(verdicts: Verdicts, limits: Sequence[Limit], found: Mapping[str, Sureness]) -> Verdicts:
    """Return the verdicts with those of the limits that ask ``sure`` taken from cars and days drawn apart."""
    judged = (decided(one, found.get(limit.name)) for limit, one in zip(limits, verdicts.limits, strict=True))
    return replace(verdicts, limits=tuple(judged))


def decided(judged: Conformance, found: Sureness | None) -> Conformance:
    """Return what was counted of a limit with the verdict of cars and days told apart, where it has one."""
    if found is None:
        return judged
    if found.verdict != "undecided":
        return replace(judged, verdict=found.verdict, decides="", more_samples=0)
    decides = (
        f"how sure it is lies between {percent(found.low, 3)} and {percent(found.high, 3)}, "
        f"{percent(found.sure)} required: draw more than {found.cars} cars and {found.days} days (cars and "
        "days under [study])"
    )
    return replace(judged, verdict="undecided", decides=decides, more_samples=None)


def _open_if_sure(limit: Limit, judged: Conformance) -> Conformance:
    if limit.sure is None:
        return judged
    return replace(
        judged, verdict="undecided", decides="cars and days are drawn apart by a run", more_samples=None
    )


def _judged(outcome: Outcome, position: int, required: float, confidence: float) -> Conformance:
    tally = outcome.margins[position]
    return judge_counts(
        conforming=outcome.conforming[position],
        trials=outcome.samples,
        failed=outcome.samples - tally.count,
        required=required,
        margin=_summary(outcome, tally, required),
        confidence=confidence,
        probabilities=outcome.shares[:, position] if outcome.scrambled else None,
    )


def _summary(outcome: Outcome, tally: Tally, required: float) -> Margin:
    if tally.count == 0:
        return Margin(math.nan, math.nan, math.nan, math.nan, math.nan, -math.inf)
    # Samples without an answer are the worst of all, so the quantile of the rest is taken lower down.
    level = ((1 - required) * outcome.samples - tally.failed) / tally.count
    low, median, high = (tally.quantile(p) for p in (0.05, 0.5, 0.95))
    surplus = tally.quantile(level) if level >= 0 else -math.inf
    return Margin(tally.mean, tally.sd, low, median, high, surplus)


@dataclass
class Looks:
    """Looks at the verdicts while samples come in, and says when no limit is undecided any more.

    Attributes
    ----------
    limits, cap:
        What is judged, and the most samples that may be drawn.
    count, due:
        Looks taken so far, and the number of samples at which the next one is due.
    """

    limits: tuple[Limit, ...]
    cap: int
    count: int = 0
    due: int = FIRST_LOOK

    @property
    def name(self) -> str:
        """Tell runs that end so from others."""
        return f"decided, {self.cap} at the most"

    @property
    def memory(self) -> Array:
        """What must be known of the looks taken, to take the further ones when they are due."""
        return np.array([self.count, self.due], float)

    def recall(self, memory: Array) -> None:
        """Go on where these looks were."""
        self.count, self.due = (int(number) for number in memory)

    @property
    def confidence(self) -> float:
        """Confidence of the latest look: all looks together keep the one asked for."""
        return confidence_at_look(CONFIDENCE, max(self.count, 1))

    def enough(self, so_far: SoFar) -> bool:
        """Look when a look is due; tell whether to stop."""
        if so_far.samples < min(self.due, self.cap):
            return False
        self.count += 1
        found = judge_outcome(self.limits, so_far.outcome({}), self.confidence).limits
        judged = [one for limit, one in zip(self.limits, found, strict=True) if limit.sure is None]
        look = next_look(judged, so_far.samples, self.cap)
        self.due = look.samples
        return look.stop
