"""What a comparison of candidates found: plain records, as they go into the summary and the report."""

from __future__ import annotations

from dataclasses import dataclass, field

from explorer.estimators.conformance import Conformance, Verdict
from explorer.estimators.paired_comparison import (
    Better,
    DecisionGain,
    Difference,
    Dominance,
    PairedVerdict,
    Ranking,
)
from explorer.estimators.two_levels import Sureness
from explorer.results.exploration import ObjectiveRecord, SpeedResult
from explorer.results.histogram import Histogram
from explorer.study.builds import Override
from explorer.study.limits import Output


@dataclass(frozen=True, kw_only=True)
class Subject(Output):
    """One thing that is compared: a limited quantity or an objective.

    ``better`` is the good end of its values; a limit with two bounds is compared by its margin.
    """

    label: str
    unit: str
    display_unit: str
    better: Better
    by_margin: bool


@dataclass(frozen=True)
class ObjectiveResult:
    """One objective for one candidate: mean, standard error, 5 % and 95 % quantiles, samples unanswered.

    For the objective to hold a limit, low and high are the interval of its probability.
    """

    name: str
    mean: float
    error: float
    low: float
    high: float
    unanswered: int


@dataclass(frozen=True)
class CandidateResult:
    """One candidate on its own.

    Attributes
    ----------
    overrides:
        What it sets in place of the study's own inputs.
    without_effect:
        Overrides that no limit and no objective depends on.
    limits:
        In the order of ``Comparison.limits``.
    objectives:
        In the order of ``Comparison.objectives``.
    verdict:
        Of all limits, each at its required probability: "fail" when any fails, "undecided" when any is.
    dominated_by:
        Names of candidates that are at least as good everywhere and better somewhere, beyond doubt.
    speeds:
        Highest conforming speed in each state of the flap that has a safety limit.
    sureness:
        How sure each limit that asks for it is: its verdict is that.
    """

    name: str
    words: str
    overrides: tuple[Override, ...]
    without_effect: tuple[str, ...]
    limits: tuple[Conformance, ...]
    joint: Conformance
    joint_safety: Conformance | None
    verdict: Verdict
    objectives: tuple[ObjectiveResult, ...]
    dominated_by: tuple[str, ...]
    speeds: tuple[SpeedResult, ...]
    sureness: dict[str, Sureness] = field(default_factory=dict)


@dataclass(frozen=True)
class DifferenceResult:
    """Difference of one subject between two candidates, with the bars of its distribution."""

    subject: int
    difference: Difference
    histogram: Histogram


@dataclass(frozen=True)
class PairResult:
    """Two candidates side by side, first less second."""

    first: str
    second: str
    differences: tuple[DifferenceResult, ...]
    verdicts: tuple[PairedVerdict, ...]
    all_limits: PairedVerdict
    first_as_good: Dominance
    second_as_good: Dominance


@dataclass(frozen=True)
class RankingResult:
    """Ranks of the candidates by one score: the value times ``sign``, so that more is better."""

    by: str
    unit: str
    display_unit: str
    sign: float
    ranking: Ranking


@dataclass(frozen=True)
class InformationResult:
    """What knowing one input exactly would be worth to the decision.

    ``label`` says which; ``candidate`` is the one whose own part it is, None for what candidates share.
    """

    stream: str
    label: str
    candidate: str | None
    worth: DecisionGain


@dataclass(frozen=True)
class MeasurementResult:
    """What one measurement of the study would be worth to the decision.

    ``candidate`` is the one whose own parts are measured; None for what all of them share.
    """

    name: str
    label: str
    candidate: str | None
    hours: float
    worth: DecisionGain


@dataclass(frozen=True)
class DecisionResult:
    """Which candidate to build, as things stand, and what would change that.

    Attributes
    ----------
    by, unit, display_unit:
        What is reckoned, and in which unit.
    payoffs:
        Expected payoff of each candidate, in the order of the candidates.
    best:
        Candidate with the highest expected payoff among those that pass every safety limit; None when none
        does.  What is worth knowing is weighed for the choice between these.
    everything:
        Worth of knowing everything before choosing: no measurement can be worth more.
    inputs:
        Worth of knowing one input exactly, most worth first; those that would not pay are left out.
    measurements:
        Worth of each measurement of the study, as well as its instrument reads, most worth first.
    """

    by: str
    unit: str
    display_unit: str
    payoffs: tuple[float, ...]
    best: str | None
    everything: DecisionGain
    inputs: tuple[InformationResult, ...]
    measurements: tuple[MeasurementResult, ...]


@dataclass(frozen=True)
class Comparison:
    """Everything a comparison found; values in SI units.

    Attributes
    ----------
    recommended:
        The candidate with the best first objective among those that pass every limit; None when none does.
    """

    samples: int
    seed: int
    limits: tuple[str, ...]
    required: tuple[float, ...]
    safety: tuple[bool, ...]
    subjects: tuple[Subject, ...]
    objectives: tuple[ObjectiveRecord, ...]
    candidates: tuple[CandidateResult, ...]
    pairs: tuple[PairResult, ...]
    rankings: tuple[RankingResult, ...]
    decision: DecisionResult
    recommended: str | None
    notes: tuple[str, ...]
