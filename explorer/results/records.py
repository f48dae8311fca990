"""What a run found: plain records, on disk as ``summary.json`` and ``samples.parquet``.

Everything a report prints stands in the summary, so that a report can be drawn again without computing.
Values are in SI units; ``unit`` is the SI unit and ``display_unit`` the one the builder used.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from explorer.engine.stages import StageFailure
from explorer.estimators.between_cars import BetweenCars
from explorer.estimators.conformance import Conformance, Verdict, worst_verdict
from explorer.estimators.measuring_outlook import MeasuringPlan
from explorer.estimators.rare import RareFailure
from explorer.estimators.sensitivity import Sensitivity
from explorer.estimators.two_levels import Sureness
from explorer.graph.words import Sentence, Words
from explorer.results.comparison import Comparison
from explorer.results.curves import Curves, RunOverStrip
from explorer.results.exploration import Exploration, HighestSpeeds
from explorer.results.failing_cars import FailingCars, InputMoved, MissedTogether, NearestCar
from explorer.results.histogram import Histogram
from explorer.results.history import EarlierRun
from explorer.results.levers import Levers
from explorer.results.logged_runs import FittedFile, LoggedRunRecord
from explorer.study.builds import Override
from explorer.study.correlations import Correlation
from explorer.study.limits import Output

SCHEMA_VERSION = "5"


@dataclass(frozen=True)
class InputRecord:
    """One input as the study gives it.

    ``key`` is unique: the quantity's name, or ``name@condition`` for an override.  ``low`` and ``high`` are
    the 2.5 % and 97.5 % quantiles.  ``source`` is None when the study does not say where the number is from.
    ``reaches`` lists the names of the limits it can influence.  What ``varies`` is another in every run;
    where it was read on the day, ``any_day`` says what it is on any other.
    """

    key: str
    quantity: str
    summary: str
    unit: str
    display_unit: str
    words: Words
    exact: bool
    nominal: float
    sd: float
    low: float
    high: float
    source: str | None
    default: bool
    condition: str | None
    reaches: tuple[str, ...]
    varies: bool = False
    any_day: Words | None = None


@dataclass(frozen=True)
class ConditionRecord:
    """How the car is being run: name, words for the report, what it sets, and how it is driven."""

    name: str
    words: str
    overrides: tuple[Override, ...]
    throttle: str = "holding"


@dataclass(frozen=True, kw_only=True)
class OutputRecord(Output):
    """Distribution of one quantity in one condition (or of a difference between two).

    ``quantiles`` holds (probability, value) pairs; ``failed`` counts samples without an answer; ``capped``
    those at the cap of a search, where the true value lies beyond.  ``throttle`` says how the car is driven,
    such as "at full throttle", where the quantity hangs on it; ``at_speed`` tells whether it hangs on the
    speed of its condition.
    """

    summary: str
    unit: str
    display_unit: str
    count: int
    failed: int
    capped: int
    nominal: float
    mean: float
    sd: float
    lowest: float
    highest: float
    quantiles: tuple[tuple[float, float], ...]
    histogram: Histogram
    throttle: str = ""
    at_speed: bool = True


@dataclass(frozen=True, kw_only=True)
class LimitRecord(Output):
    """One requirement, what was found, and what drives it.

    SI values from ``low`` to ``high`` hold it, infinite where it is open; ``asked`` says so in words.
    ``output`` is the index of its distribution in ``Summary.outputs``, ``throttle`` as it is there.  Where it
    asks ``sure``, the verdict of ``conformance`` is that of ``sureness``.
    """

    name: str
    low: float
    high: float
    asked: Words
    probability: float
    safety: bool
    why: str
    unit: str
    display_unit: str
    output: int
    conformance: Conformance
    sensitivity: Sensitivity | None
    sureness: Sureness | None = None
    between_cars: BetweenCars | None = None
    throttle: str = ""

    @property
    def ends(self) -> tuple[tuple[str, float], ...]:
        """The ends that it has, each with the word for that side."""
        both = (("at least", self.low), ("at most", self.high))
        return tuple((word, end) for word, end in both if math.isfinite(end))


@dataclass(frozen=True)
class SweepRecord:
    """Bands of one quantity against another (usually speed) in one condition.

    ``low``, ``middle`` and ``high`` are the 5, 50 and 95 % quantiles at each ``x``; ``failed`` the count of
    samples without an answer there.  ``throttle`` is as in an output.
    """

    quantity: str
    summary: str
    unit: str
    display_unit: str
    condition: str
    along: str
    along_unit: str
    along_display_unit: str
    x: tuple[float, ...]
    low: tuple[float, ...]
    middle: tuple[float, ...]
    high: tuple[float, ...]
    failed: tuple[int, ...]
    samples: int
    throttle: str = ""


@dataclass(frozen=True)
class FailureRecord:
    """Samples for which an output had no answer: which quantity gave up first and what that means."""

    output: str
    condition: str
    quantity: str
    meaning: str
    count: int


@dataclass(frozen=True)
class QuantityRecord:
    """Handbook entry of a quantity that the study used."""

    name: str
    subject: str
    unit: str
    summary: str
    description: str
    source: str
    needs: tuple[str, ...]
    given: bool


@dataclass(frozen=True)
class Reproduction:
    """What it takes to get the same numbers again.

    ``fingerprint`` is the digest of all that the numbers of the run depend on; ``findings`` holds that of
    what was added to it, by name.
    """

    study_file: str
    study_sha256: str
    seed: int
    samples: int
    chunk: int
    design: str
    version: str
    python: str
    libraries: tuple[tuple[str, str], ...]
    created: str
    command: str
    fingerprint: str = ""
    findings: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class RareFailureRecord:
    """How seldom a safety limit fails, with the most likely failing car."""

    limit: str
    found: RareFailure
    culprits: tuple[InputMoved, ...]


@dataclass(frozen=True)
class Convergence:
    """Whether two figures of every output's uncertainty stand still.

    ``settled`` and ``open`` name the outputs whose figures do and do not; ``samples_needed`` is about how
    many samples all of them would take, zero where all are settled.
    """

    settled: tuple[str, ...]
    open: tuple[str, ...]
    samples_needed: int


@dataclass(frozen=True)
class Summary:
    """Everything the report prints.

    ``from_catalogue`` maps the catalogue's ways of measuring that were considered for ``measuring`` to their
    labels; ``unread`` has the keys of uncertain inputs that a limit hangs on and no measurement reads.
    ``unfinished`` lists the stages that came to no result: what they would have found is missing.
    ``history`` lists the runs into this folder so far, this one last; it is empty for the first.
    ``warnings`` are about the study, ``cautions_of_cars`` about the cars that its figures are of.
    ``nominal`` maps condition -> quantity -> value with every input at its nominal value (None where the
    model has no answer there).
    """

    title: str
    description: str
    note: str
    reproduction: Reproduction
    inputs: tuple[InputRecord, ...]
    correlations: tuple[Correlation, ...]
    conditions: tuple[ConditionRecord, ...]
    limits: tuple[LimitRecord, ...]
    joint: Conformance | None
    joint_safety: Conformance | None
    outputs: tuple[OutputRecord, ...]
    sweeps: tuple[SweepRecord, ...]
    failures: tuple[FailureRecord, ...]
    nominal: dict[str, dict[str, float | None]]
    handbook: tuple[QuantityRecord, ...]
    assumptions: tuple[str, ...]
    not_modelled: tuple[str, ...]
    cautions: tuple[str, ...]
    warnings: tuple[Sentence, ...]
    cautions_of_cars: tuple[Sentence, ...]
    families: dict[str, tuple[str, ...]]
    display: dict[str, str]
    unfinished: tuple[StageFailure, ...] = ()
    convergence: Convergence | None = None
    rare: tuple[RareFailureRecord, ...] = ()
    measuring: MeasuringPlan | None = None
    from_catalogue: dict[str, str] = field(default_factory=dict)
    unread: tuple[str, ...] = ()
    levers: Levers | None = None
    failing: tuple[FailingCars, ...] = ()
    together: MissedTogether | None = None
    nearest: NearestCar | None = None
    curves: tuple[Curves, ...] = ()
    runs: tuple[RunOverStrip, ...] = ()
    candidates: Comparison | None = None
    design: Exploration | None = None
    highest_speed: HighestSpeeds | None = None
    validation: tuple[LoggedRunRecord, ...] = ()
    fits: tuple[FittedFile, ...] = ()
    history: tuple[EarlierRun, ...] = ()
    schema_version: str = SCHEMA_VERSION

    @property
    def today(self) -> tuple[InputRecord, ...]:
        """What was read on the day."""
        return tuple(one for one in self.inputs if one.any_day is not None)

    @property
    def every_warning(self) -> tuple[Sentence, ...]:
        """What is to be known of the study and of the cars."""
        return (*self.warnings, *self.cautions_of_cars)

    @property
    def safety_names(self) -> tuple[str, ...]:
        """Names of the limits on which someone's safety rests."""
        return tuple(limit.name for limit in self.limits if limit.safety)

    @property
    def verdict(self) -> Verdict:
        """``fail`` when any limit fails, ``undecided`` when any is, else ``pass``."""
        return worst_verdict([limit.conformance.verdict for limit in self.limits])
