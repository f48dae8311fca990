"""What a plan of measurements holds: each alone, each in its turn, and what they can do for each limit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from explorer.estimators.measuring import Expected, LimitState, Worth

# A set is likely to turn a verdict from this chance on, and hardly ever below the other.
LIKELY = 0.5
SELDOM = 0.005


@dataclass(frozen=True)
class Alone:
    """What one measurement would bring if it were the only one, over all limits together.

    Attributes
    ----------
    measurement, label, hours, cost:
        What is measured, and what it takes.
    gain:
        Loss it saves.
    tied_with:
        Names of measurements whose gain cannot be told from it.
    """

    measurement: str
    label: str
    hours: float
    cost: float
    gain: Expected
    tied_with: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class NextMeasurement(Alone):
    """One measurement in its turn: what it brings then, and which would have done as well.

    Attributes
    ----------
    hours_so_far, cost_so_far:
        Sums up to and with this step.
    limits:
        Where each limit stands before and after this step, all earlier readings known.
    """

    hours_so_far: float
    cost_so_far: float
    limits: Mapping[str, tuple[LimitState, LimitState]]


@dataclass(frozen=True)
class Outlook:
    """What measuring can do for one limit.

    Attributes
    ----------
    limit, required:
        Its name, and the probability with which it must hold.
    now, planned, best:
        Where it stands; after the plan; after the affordable set that turns its verdict most often.
    best_set:
        Names of those of that set that tell anything of the limit.
    everything:
        Chance that it passes once all measurements are made.
    runs:
        As of the stake: with it ``required`` is how sure one must be of a car.
    """

    limit: str
    required: float
    now: LimitState
    planned: LimitState
    best: LimitState
    best_set: tuple[str, ...]
    everything: float
    runs: float | None = None

    @property
    def passes_now(self) -> bool:
        """Whether it passes by the best estimate, before anything is measured."""
        return self.now.passes.value == 1

    @property
    def design_must_change(self) -> bool:
        """True when it fails and no affordable set is likely to show that it passes."""
        return not self.passes_now and max(self.planned.passes.value, self.best.passes.value) < LIKELY

    @property
    def fails_clearly(self) -> bool:
        """True when it fails and hardly anything that can be measured would show that it passes."""
        chances = (self.now.passes.value, self.planned.passes.value, self.best.passes.value, self.everything)
        return max(chances) < SELDOM


@dataclass(frozen=True)
class MeasuringPlan:
    """What to measure, in order.

    Attributes
    ----------
    budget_hours, budget_cost, hours, cost:
        What may be spent, and what the steps take together.
    steps:
        In the order to make them; empty when no affordable measurement would save anything.
    gain:
        Loss that all steps save together, summed over the limits.
    worths:
        Each measurement alone, for each limit.
    alone:
        Each measurement alone, over all limits together, the most useful first.
    outlooks:
        What measuring can do for each limit.
    complete:
        Whether all sets were weighed that could be best.
    """

    budget_hours: float
    budget_cost: float
    hours: float
    cost: float
    steps: tuple[NextMeasurement, ...]
    gain: Expected
    worths: tuple[Worth, ...]
    alone: tuple[Alone, ...]
    outlooks: tuple[Outlook, ...]
    complete: bool
