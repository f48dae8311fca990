"""The shape of a study file, section by section (pydantic)."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from explorer.errors import StudyError


def _value(raw: Any) -> Any:
    if isinstance(raw, bool) or not isinstance(raw, str | float | int):
        raise PydanticCustomError("value", 'a value is a number, or a text with a unit such as "325 mm"')
    return raw


def _share(raw: Any) -> Any:
    """Read "80 %" as 0.8, and say how a share is written where it is none."""
    from explorer.graph.units import parse

    try:
        share = parse(raw, None, "1")[0] if isinstance(raw, str) else raw
    except StudyError:
        share = None
    if isinstance(share, bool) or not isinstance(share, float | int) or not 0 < share < 1:
        meant = f"{share:g}" if isinstance(share, float | int) and 1 < share < 100 else "95"
        raise PydanticCustomError(
            "share", f'a probability lies between 0 and 1: write {float(meant) / 100:g}, or "{meant} %"'
        )
    return share


Value = Annotated[str | float | int, BeforeValidator(_value)]
NAME = r"^[a-z][a-z0-9_]*$"
Name = Annotated[str, Field(pattern=NAME, max_length=60)]
# More of anything is a slip, or several studies: what is done for each of them takes its time.
Quantities = Annotated[list[str], Field(min_length=1, max_length=200)]
Conditions = Annotated[list[str], Field(min_length=1, max_length=50)]


class Keys(BaseModel):
    """A section refuses keys it does not know."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, allow_inf_nan=False)


class StudyEntry(Keys):
    """``[study]``: what is asked, and how hard to look."""

    title: str = Field(min_length=1, max_length=200)
    description: str = ""
    note: str = ""
    seed: int = Field(default=1, ge=0, lt=2**63)
    samples: int = Field(default=100_000, ge=100, le=1_000_000_000)
    keep_samples: bool = True
    design: Literal["random", "sobol"] = "random"
    replicates: int = Field(default=16, ge=4, le=256)
    sensitivity_samples: int = Field(default=512, ge=32, le=2**20)
    sensitivity_replicates: int = Field(default=64, ge=8, le=1024)
    sensitivity_pairs: bool = False
    cars: int | None = Field(default=None, ge=64, le=2**20)
    days: int | None = Field(default=None, ge=16, le=2**14)
    own_quantities: str | None = None
    assumptions: list[str] = []
    not_modelled: list[str] = []

    @model_validator(mode="after")
    def _power_of_two(self) -> StudyEntry:
        if self.sensitivity_samples & (self.sensitivity_samples - 1):
            raise ValueError("sensitivity_samples is a power of two, such as 256, 512 or 1024")
        return self


class ConditionEntry(Keys):
    """``[conditions.NAME]``: words, a condition to start from, how it is driven, and overrides of inputs."""

    model_config = ConfigDict(extra="allow", frozen=True)
    words: str = ""
    like: str | None = None
    throttle: Literal["coasting", "holding", "full"] | None = None

    @property
    def overrides(self) -> dict[str, Any]:
        """The inputs it overrides, as they stand in the file."""
        return dict(self.model_extra or {})


class LimitEntry(Keys):
    """``[[limits]]``: a requirement.

    ``standing_counts`` lets a limit of safety be met also by a car that stands on a point of its body.
    With ``sure`` it is to hold with its probability in the runs of one car, and that is to be so surely, over
    all that is not known of the car.
    """

    name: str = ""
    quantity: str
    condition: str
    minus: str | None = None
    at_least: Value | None = None
    at_most: Value | None = None
    target: Value | None = None
    tolerance: Value | None = None
    unit: str | None = None
    probability: Annotated[float, BeforeValidator(_share)] = 0.95
    sure: Annotated[float, BeforeValidator(_share)] | None = None
    safety: bool = False
    standing_counts: bool = False
    why: str = ""
    weight: float = Field(default=1.0, gt=0)


class MeasuringEntry(Keys):
    """``[measuring]``: what may be spent on measuring, and how many samples weigh it.

    ``catalogue`` says whether the home methods of the catalogue are weighed for the inputs that no listed
    measurement reads.  Where it does not stand they are, exactly in a study that lists no ``[measurements]``.
    """

    budget_hours: float = Field(default=4.0, gt=0)
    budget_cost: float | None = Field(default=None, ge=0)
    catalogue: bool | None = None
    samples: int = Field(default=20_000, ge=1000, le=2_000_000)


class SweepEntry(Keys):
    """``[[sweeps]]``: quantities shown against one input."""

    along: str = "speed"
    start: Value = Field(alias="from")
    to: Value
    unit: str | None = None
    steps: int = Field(default=11, ge=2, le=200)
    quantities: Quantities
    conditions: Conditions


class OutputEntry(Keys):
    """``[[outputs]]``: quantities to report beyond the limited ones."""

    quantities: Quantities
    conditions: Conditions


class CorrelationEntry(Keys):
    """``[[correlations]]``: between two inputs, on their normal scores."""

    between: tuple[str, str]
    value: float = Field(gt=-1, lt=1)
    source: str | None = None


class ModelErrorEntry(Keys):
    """``[model_errors]``: a factor on what a model computes or an offset beyond it, and its source."""

    factor: Any = None
    offset: Any = None
    source: str | None = None

    @model_validator(mode="after")
    def _one_of_two(self) -> ModelErrorEntry:
        if (self.factor is None) == (self.offset is None):
            raise ValueError(
                "a model error is either a factor, such as { factor = { mean = 1.0, sd = 0.03 } }, or an "
                "offset in the quantity's unit"
            )
        return self

    @property
    def kind(self) -> Literal["factor", "offset"]:
        """Which of the two it is."""
        return "offset" if self.factor is None else "factor"


class IncludedFile(Keys):
    """A file that the study includes: what may stand in it."""

    inputs: dict[str, Any] = {}
    correlations: list[CorrelationEntry] = []
    model_errors: dict[str, ModelErrorEntry] = {}


class TableEntry(Keys):
    """``[tables.NAME]``: a CSV file and the unit of each column that is not in SI units."""

    file: str
    units: dict[str, str] = {}


class CandidateEntry(Keys):
    """``[candidates.NAME]``: a build, as words and any overrides of the common inputs.

    An uncertain override keeps the random stream of the input it replaces, unless it is named under
    ``independent``: a part of its own, whose error has nothing to do with that of the other builds.
    """

    model_config = ConfigDict(extra="allow", frozen=True)
    words: str = ""
    independent: list[str] = []

    @property
    def overrides(self) -> dict[str, Any]:
        """The inputs it overrides, as they stand in the file."""
        return dict(self.model_extra or {})


class ObjectiveEntry(Keys):
    """``[[objectives]]``: what to want more or less of, or a limit to hold as surely as can be."""

    name: str = ""
    quantity: str | None = None
    condition: str | None = None
    minus: str | None = None
    goal: Literal["highest", "lowest"] = "highest"
    limit: str | None = None

    @model_validator(mode="after")
    def _one_of_two(self) -> ObjectiveEntry:
        if (self.limit is None) == (self.quantity is None):
            raise ValueError("an objective names either a quantity with its condition, or a limit to hold")
        if self.quantity is not None and self.condition is None:
            raise ValueError("an objective for a quantity says in which condition")
        if self.limit is not None and self.model_fields_set & {"goal", "condition", "minus"}:
            raise ValueError("a limit is to hold as surely as can be: it takes no goal and no condition")
        return self


class DecisionEntry(Keys):
    """``[decision]``: what the choice between candidates goes by.

    A car that breaks a limit is reckoned as bad as one with ``broken_limit_counts_as`` of the objective.
    """

    objective: str
    broken_limit_counts_as: Value
    unit: str | None = None


class DesignEntry(Keys):
    """``[design.NAME]``: an input the builder is free to choose, with its range.

    ``spread`` says what becomes of the input's uncertainty around the value chosen: kept as it is, scaled in
    proportion to the value, or none.
    """

    words: str = ""
    low: Value
    high: Value
    step: Value | None = None
    unit: str | None = None
    spread: Literal["kept", "scaled", "none"] = "kept"


class MapEntry(Keys):
    """``[[maps]]``: conformance over one or two design variables, around a candidate or the study itself."""

    name: str = ""
    around: str | None = None
    over: list[str] = Field(min_length=1, max_length=2)
    points: int | None = Field(default=None, ge=2, le=10_000)
    limits: list[str] = []
    samples: int = Field(default=4096, ge=100, le=1_000_000)


class SearchEntry(Keys):
    """``[search]``: how hard to look through all design variables for trade-offs and the best build."""

    points: int = Field(default=256, ge=8, le=2**16)
    samples: int = Field(default=4096, ge=100, le=1_000_000)
    starts: int = Field(default=3, ge=1, le=50)
    verify: int = Field(default=50_000, ge=100, le=10_000_000)


class HighestSpeedEntry(Keys):
    """``[highest_speed]``: where to look for the highest speed at which all safety limits hold."""

    start: Value = Field(default="10 m/s", alias="from")
    to: Value | None = None
    unit: str | None = None
    samples: int = Field(default=20_000, ge=100, le=1_000_000)
    steps: int = Field(default=5, ge=2, le=20)


class QuestionEntry(Keys):
    """``[[questions]]``: which values of a design variable let a limit hold, all else as in one build."""

    ask: str = ""
    around: str | None = None
    vary: str
    limit: str
    samples: int = Field(default=20_000, ge=100, le=1_000_000)


class ColumnEntry(Keys):
    """``columns.QUANTITY``: which column holds a quantity, in which unit, which way pitch counts.

    Without a column it is the one named like the quantity; without a unit it is the one the log says.
    """

    column: str = ""
    unit: str = ""
    positive: Literal["nose_up", "nose_down"] | None = None


class LoggedFile(Keys):
    """What may be said of any log beside its file.

    ``between`` are two times that cut it; ``part`` is the run to read where the clock starts again.
    ``separator`` and ``decimal`` say how it is written where that cannot be told from the log.
    """

    between: tuple[Value, Value] | None = None
    date: str | None = None
    separator: Literal[",", ";", "tab", "space"] | None = None
    decimal: Literal[".", ","] | None = None
    part: int | None = Field(default=None, ge=1)

    @property
    def said(self) -> dict[str, Any]:
        """All of that by key."""
        return {key: getattr(self, key) for key in LoggedFile.model_fields}


class LogEntry(LoggedFile):
    """One log of a fit: its file, and how the car was run; ``direction`` is 1 or -1 along the track."""

    file: str
    direction: Literal[1, -1] = 1
    flap: str = "closed"
    condition: str | None = None
    columns: dict[str, ColumnEntry] = {}


class FitEntry(LoggedFile):
    """``[fits.NAME]``: logs to be turned into inputs; what else may stand here depends on the kind.

    ``known`` gives what is true of the day and the bench of the log, in place of what the study says.
    """

    model_config = ConfigDict(extra="allow", frozen=True)
    kind: str
    file: str | None = None
    runs: list[LogEntry] = []
    columns: dict[str, ColumnEntry] = {}
    known: dict[str, Any] = {}

    @model_validator(mode="after")
    def _one_of_two(self) -> FitEntry:
        if (self.file is None) == (not self.runs):
            raise ValueError("a fit names either the file of one log, or several as runs")
        return self

    @property
    def options(self) -> dict[str, Any]:
        """What stands there beside the keys that every kind has."""
        return dict(self.model_extra or {})


class LoggedRunEntry(LoggedFile):
    """``[logged_runs.NAME]``: a logged run, to be held against what the study predicts of it."""

    words: str = ""
    file: str
    columns: dict[str, ColumnEntry]
    quantity: str
    condition: str
    along: Literal["speed", "distance", "time"] = "speed"
    noise: Value | None = None


class StudyFile(Keys):
    """The whole file."""

    study: StudyEntry
    models: dict[str, str] = {}
    families: dict[Literal["element", "point"], Annotated[list[Name], Field(max_length=40)]] = {}
    inputs: dict[str, Any] = {}
    today: dict[str, Any] = {}
    tables: dict[str, TableEntry] = {}
    conditions: dict[Name, ConditionEntry] = Field(min_length=1, max_length=50)
    correlations: list[CorrelationEntry] = []
    model_errors: dict[str, ModelErrorEntry] = {}
    limits: list[LimitEntry] = Field(min_length=1)
    measurements: dict[Name, dict[str, Any]] = {}
    measuring: MeasuringEntry = MeasuringEntry()
    sweeps: list[SweepEntry] = []
    outputs: list[OutputEntry] = []
    display: dict[str, str] = {}
    candidates: dict[Name, CandidateEntry] = {}
    objectives: list[ObjectiveEntry] = []
    decision: DecisionEntry | None = None
    design: dict[Name, DesignEntry] = {}
    maps: list[MapEntry] = []
    search: SearchEntry = SearchEntry()
    highest_speed: HighestSpeedEntry = HighestSpeedEntry()
    questions: list[QuestionEntry] = []
    fits: dict[Name, FitEntry] = {}
    logged_runs: dict[Name, LoggedRunEntry] = {}
