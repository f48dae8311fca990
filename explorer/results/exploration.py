"""What an exploration of a design space found: plain records, as they go into the summary and the report.

Values are in SI units.  Tables over one or two variables have rows along the second variable and columns
along the first; over one variable there is one row.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from explorer.estimators.conformance import Conformance, Verdict
from explorer.estimators.design_space import Segment, Stretch
from explorer.estimators.two_levels import Sureness

Grid = tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class VariableRecord:
    """A design variable: range, step (None where any value can be had), and its value as the build stands."""

    name: str
    words: str
    low: float
    high: float
    step: float | None
    now: float | None
    unit: str
    display_unit: str
    spread: str


@dataclass(frozen=True)
class ObjectiveRecord:
    """An objective: what it is about, and which end is the good one."""

    name: str
    words: str
    goal: str
    unit: str
    display_unit: str


@dataclass(frozen=True)
class MapLimit:
    """One limit over a map: conforming probability, and the line at which it reaches the required one."""

    name: str
    required: float
    safety: bool
    probability: Grid
    boundary: tuple[Segment, ...]


@dataclass(frozen=True)
class MapRecord:
    """Conformance over one or two design variables.

    Attributes
    ----------
    around:
        Words of the build whose other inputs are kept.
    values:
        Values along each variable.
    all_limits:
        Probability that they hold at once.
    verdict:
        At each point, of all limits at their required probabilities.
    boundary:
        Line between points that meet every limit and those that do not, as estimated, in pieces
        (x1, y1, x2, y2); empty over one variable.
    stretches:
        Over one variable: where every limit is met; empty over two.
    met:
        Share of the points at which every limit passes.
    """

    name: str
    around: str
    variables: tuple[VariableRecord, ...]
    values: tuple[tuple[float, ...], ...]
    limits: tuple[MapLimit, ...]
    all_limits: Grid
    verdict: tuple[tuple[Verdict, ...], ...]
    boundary: tuple[Segment, ...]
    stretches: tuple[Stretch, ...]
    met: float
    samples: int


@dataclass(frozen=True)
class DesignPoint:
    """One build of a search: values of the variables, means of the objectives, and how it stands.

    Attributes
    ----------
    objectives, objective_errors:
        None where too many samples have no answer.
    probabilities:
        Of each limit.
    on_front:
        True when no other build that meets every limit betters it in all objectives.
    """

    values: tuple[float, ...]
    objectives: tuple[float | None, ...]
    objective_errors: tuple[float | None, ...]
    probabilities: tuple[float, ...]
    all_limits: float
    meets: bool
    verdict: Verdict
    on_front: bool


@dataclass(frozen=True)
class OptimumRecord:
    """The build with the best first objective that meets every limit, checked with fresh samples.

    Attributes
    ----------
    found:
        Mean of the first objective on the samples of the search.
    objectives, objective_errors:
        Means and standard errors on the fresh samples.
    limits, all_limits, sureness:
        Judged on the fresh samples; by name those that ask ``sure``, on fresh cars and their days.
    verdict:
        Of all limits on the fresh samples.
    held_back_by:
        Limits that the optimum touches: what stands in the way of more.
    at_end:
        Variables at an end of their range: more may lie beyond.
    reserve:
        Standard errors of each probability that the search held in reserve for the check.
    tried:
        Builds tried.
    """

    values: tuple[float, ...]
    found: float
    objectives: tuple[float | None, ...]
    objective_errors: tuple[float | None, ...]
    limits: tuple[Conformance, ...]
    all_limits: Conformance
    verdict: Verdict
    held_back_by: tuple[str, ...]
    at_end: tuple[str, ...]
    reserve: float
    tried: int
    samples: int
    sureness: dict[str, Sureness] = field(default_factory=dict)


@dataclass(frozen=True)
class SearchRecord:
    """A look through all design variables at once.

    Attributes
    ----------
    optimum:
        None when no build meets every limit; ``nearest`` then says which came nearest and which limits it
        fails.
    """

    variables: tuple[VariableRecord, ...]
    objectives: tuple[ObjectiveRecord, ...]
    limits: tuple[str, ...]
    required: tuple[float, ...]
    points: tuple[DesignPoint, ...]
    optimum: OptimumRecord | None
    nearest: DesignPoint | None
    nearest_fails: tuple[str, ...]
    samples: int
    notes: tuple[str, ...]


@dataclass(frozen=True)
class OtherLimit:
    """How another limit stands at the value an answer gives."""

    name: str
    required: float
    probability: float
    verdict: Verdict


@dataclass(frozen=True)
class AnswerRecord:
    """Which values of one variable let a limit hold.

    Attributes
    ----------
    around:
        Words of the build whose other inputs are kept.
    stretches:
        Where it holds with the required probability; empty when no value in the range does.
    choose:
        The value that can be had, nearest to what the build has now, at which it holds beyond doubt.
    best, best_probability:
        Value looked at with the highest conforming probability.
    others:
        How the other limits stand at ``choose``.
    values, probabilities:
        What the chart of the answer is drawn from.
    """

    ask: str
    around: str
    variable: VariableRecord
    limit: str
    required: float
    stretches: tuple[Stretch, ...]
    choose: float | None
    best: float
    best_probability: float
    others: tuple[OtherLimit, ...]
    values: tuple[float, ...]
    probabilities: tuple[float, ...]
    samples: int


@dataclass(frozen=True)
class Exploration:
    """Everything an exploration found."""

    build: str
    maps: tuple[MapRecord, ...]
    search: SearchRecord | None
    answers: tuple[AnswerRecord, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class SpeedLimit:
    """A safety limit on the way up.

    ``how`` is "at each speed", "must reach the speed" for a critical speed such as that of front lift-off,
    or "at any speed" where speed does not come in; ``up_to`` is how far it holds by itself, as estimated,
    None when it does not hold at the lowest speed looked at.
    """

    name: str
    how: str
    required: float
    up_to: float | None
    probabilities: tuple[float, ...]


@dataclass(frozen=True)
class Expectation:
    """What to expect of one quantity at a speed step: nine cars in ten lie between low and high."""

    quantity: str
    condition: str
    unit: str
    display_unit: str
    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class SpeedStep:
    """One step of the speed steps.

    Attributes
    ----------
    load_share:
        Air load in terms of that at the highest conforming speed.
    holds:
        Probability that all safety limits hold at this speed.
    """

    speed: float
    load_share: float
    holds: float
    expectations: tuple[Expectation, ...]


@dataclass(frozen=True)
class SpeedResult:
    """The highest conforming speed in one state of the flap, and what the car can run there.

    Attributes
    ----------
    speed, sure, possible:
        Up to here all safety limits hold with their required probabilities: as estimated, beyond doubt, and
        the speed above which one fails beyond doubt.  None where they hold at no speed.
    reachable:
        5 %, 50 % and 95 % quantiles of the top speed in this state; None where it is not computed.
    """

    words: str
    speed: float | None
    sure: float | None
    possible: float | None
    reachable: tuple[float, float, float] | None


@dataclass(frozen=True, kw_only=True)
class StateSpeed(SpeedResult):
    """How that was found, and the steps to get there.

    Attributes
    ----------
    to_the_end:
        True when the limits hold up to the end of the range searched.
    held_back_by:
        The limit that gives way first.
    speeds:
        Where the probabilities of the limits were looked at; ``together`` is that of all at once.
    """

    flap_opening: float | None
    conditions: tuple[str, ...]
    limits: tuple[SpeedLimit, ...]
    to_the_end: bool
    held_back_by: str | None
    speeds: tuple[float, ...]
    together: tuple[float, ...]
    steps: tuple[SpeedStep, ...]


@dataclass(frozen=True)
class HighestSpeeds:
    """The highest conforming speed for each state of the flap: a prediction, never a clearance."""

    build: str
    states: tuple[StateSpeed, ...]
    look_after_each: tuple[str, ...]
    samples: int
    notes: tuple[str, ...]
