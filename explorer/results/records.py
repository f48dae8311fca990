"""What a run found: plain records, on disk as ``summary.json`` and ``samples.parquet``.

Everything a report prints stands in the summary, so that a report can be drawn again without computing.
Values are in SI units; ``unit`` is the SI unit and ``display_unit`` the one the builder used.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from explorer.engine.stages import StageFailure
from explorer.engine.storage import HELD_AT_ONCE, SampleFiles, write_samples
from explorer.errors import ResultsError, with_file
from explorer.estimators.between_cars import BetweenCars
from explorer.estimators.conformance import Conformance
from explorer.estimators.measuring_outlook import MeasuringPlan
from explorer.estimators.rare import RareFailure
from explorer.estimators.sensitivity import Sensitivity
from explorer.estimators.two_levels import Sureness
from explorer.files.characters import require_visible
from explorer.files.reading import Wanted
from explorer.graph.words import Sentence, Words
from explorer.results.comparison import Comparison
from explorer.results.curves import Curves, RunOverStrip
from explorer.results.exploration import Exploration, HighestSpeeds
from explorer.results.failing_cars import FailingCars, MissedTogether, NearestCar
from explorer.results.folder import NAMES, ResultsFolder, marked_json, results_folder
from explorer.results.histogram import Histogram
from explorer.results.history import EarlierRun
from explorer.results.json import from_json, json_schema, json_text
from explorer.results.levers import Levers
from explorer.results.logged_runs import FittedFile, LoggedRunRecord
from explorer.study.builds import Override
from explorer.study.limits import Output
from explorer.study.study import Correlation

if TYPE_CHECKING:
    import pandas as pd

SCHEMA_VERSION = "4"
SUMMARY_FILE = "summary.json"
DIGEST = "sha256"
SAMPLES_FILE = "samples.parquet"
TIMINGS_FILE = "timings.json"
SUMMARY = Wanted("summary", 500_000_000, missing="run the study first", raising=ResultsError)
TIMINGS = Wanted("list of times", 100_000, raising=ResultsError)
SAMPLES = Wanted("file of kept samples", 2**50, raising=ResultsError)


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
    such as "at full throttle", where the quantity hangs on it.
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
class Culprit:
    """One input of the most likely failing car, in SI units, and its share of the way there."""

    key: str
    quantity: str
    value: float
    nominal: float
    spreads: float
    share: float
    unit: str
    display_unit: str


@dataclass(frozen=True)
class RareFailureRecord:
    """How seldom a safety limit fails, with the most likely failing car."""

    limit: str
    found: RareFailure
    culprits: tuple[Culprit, ...]


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
    def safety_names(self) -> tuple[str, ...]:
        """Names of the limits on which someone's safety rests."""
        return tuple(limit.name for limit in self.limits if limit.safety)

    @property
    def verdict(self) -> str:
        """``fail`` when any limit fails, ``undecided`` when any is, else ``pass``."""
        verdicts = {limit.conformance.verdict for limit in self.limits}
        return next((word for word in ("fail", "undecided") if word in verdicts), "pass")


def summary_schema() -> dict[str, Any]:
    """Return the JSON schema of ``summary.json``."""
    return json_schema(Summary)


def load_summary(folder: Path) -> Summary:
    """Read a results folder's summary.

    Raises
    ------
    ResultsError
        When the folder holds no summary, or one of another schema version.
    """
    from pydantic import ValidationError

    path = folder / SUMMARY_FILE
    text = SUMMARY.text(path)
    try:
        data = json.loads(text)
        version = data["schema_version"]
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise ResultsError(
            "this is not a results folder",
            file=str(path),
            found=f"{type(error).__name__}: {error}"[:200],
            remedy="run the study first",
        ) from None
    if version != SCHEMA_VERSION:
        raise ResultsError(
            "these results were written by another version",
            file=str(path),
            key="schema_version",
            found=version,
            allowed=SCHEMA_VERSION,
            remedy="run the study again",
        )
    with with_file(str(path)):
        require_visible(data, ResultsError)
    try:
        summary = from_json(Summary, text)
    except ValidationError as error:
        first = error.errors()[0]
        raise ResultsError(
            "the summary does not fit its schema",
            file=str(path),
            key=".".join(str(part) for part in first["loc"]),
            found=first["msg"],
            remedy="run the study again",
        ) from None
    data.pop("written_by", None)
    if data.pop(DIGEST, None) != _digest(data):
        raise ResultsError(
            "the summary was changed after it was written",
            file=str(path),
            key=DIGEST,
            allowed="only what a run has written, so that every number can be traced to its study",
            remedy="change the study and run it again; words of your own go onto the cover with --cover-text",
        )
    return summary


def summary_text(summary: Summary) -> str:
    """Write a summary as JSON, with the digest of all that stands in it."""
    data = json.loads(json_text(summary))
    return json_text(data | {DIGEST: _digest(data)})


def _digest(data: Any) -> str:
    """Digest of plain data, however they are laid out in the file."""
    return hashlib.sha256(json.dumps(data, sort_keys=True).encode()).hexdigest()


@dataclass(frozen=True)
class Results:
    """A finished run: the summary, the kept samples and the stage times.

    ``samples`` is None when they were not kept, and when they are too many to hold at once: then ``files``
    reads them by the column.  ``errors`` holds what the unfinished stages raised, in this process only.
    """

    summary: Summary
    samples: pd.DataFrame | None
    stages: tuple[tuple[str, float], ...] = ()
    files: SampleFiles | None = None
    errors: tuple[Exception, ...] = ()

    def first_samples(self, rows: int) -> pd.DataFrame | None:
        """Return the first of the kept samples, or None when none were kept."""
        if self.files is None:
            return None if self.samples is None else self.samples.iloc[:rows]
        import pandas as pd

        return pd.DataFrame(self.files.first(rows))

    @property
    def limits(self) -> pd.DataFrame:
        """One row a limit: required, found, interval, verdict."""
        import pandas as pd

        rows = [
            {
                "limit": limit.name,
                "quantity": limit.quantity,
                "condition": limit.condition,
                "required": limit.probability,
                "probability": limit.conformance.probability,
                "low": limit.conformance.low,
                "high": limit.conformance.high,
                "margin_mean": limit.conformance.margin_mean,
                "margin_sd": limit.conformance.margin_sd,
                "unit": limit.unit,
                "safety": limit.safety,
                "verdict": limit.conformance.verdict,
            }
            for limit in self.summary.limits
        ]
        return pd.DataFrame(rows).set_index("limit")

    @property
    def sensitivity(self) -> pd.DataFrame:
        """One row a limit and input: first-order and total share of the margin's variance, with bounds."""
        import pandas as pd

        rows = [
            {
                "limit": limit.name,
                "input": index.name,
                "first": index.first.value,
                "first_low": index.first.low,
                "first_high": index.first.high,
                "total": index.total.value,
                "total_low": index.total.low,
                "total_high": index.total.high,
            }
            for limit in self.summary.limits
            if limit.sensitivity
            for index in limit.sensitivity.indices
        ]
        columns = ["limit", "input", "first", "first_low", "first_high", "total", "total_low", "total_high"]
        return pd.DataFrame(rows, columns=columns).set_index(["limit", "input"])

    @property
    def outputs(self) -> pd.DataFrame:
        """One row an output: mean, standard deviation and quantiles in SI units."""
        import pandas as pd

        rows = [
            {
                "quantity": output.quantity,
                "condition": output.condition,
                "minus": output.minus,
                "unit": output.unit,
                "nominal": output.nominal,
                "mean": output.mean,
                "sd": output.sd,
                **{f"q{p:g}": value for p, value in output.quantiles},
                "failed": output.failed,
                "capped": output.capped,
            }
            for output in self.summary.outputs
        ]
        return pd.DataFrame(rows).set_index(["quantity", "condition"])

    def _repr_html_(self) -> str:
        from html import escape

        head = f"<p><strong>{escape(self.summary.title)}</strong>: {escape(self.summary.verdict)}</p>"
        return head + self.limits.to_html()

    def save(self, folder: Path) -> Results:
        """Write summary, samples and stage times into a results folder, in the place of earlier results.

        Returns
        -------
        Results
            The same, with samples in files where they now lie.

        Raises
        ------
        ResultsError
            When something else is in the way, another command is at work there, or it cannot be written.
        """
        with results_folder(folder) as place:
            return self.put_into(place)

    def put_into(self, place: ResultsFolder) -> Results:
        """Do the same where this process has the folder to itself already."""
        mark = _mark(self.summary)
        timings = json.dumps(dict(self.stages), indent=1)
        files: dict[str, Callable[[Path], object]] = {
            SUMMARY_FILE: lambda file: file.write_text(marked_json(summary_text(self.summary)), "utf-8"),
            TIMINGS_FILE: lambda file: file.write_text(marked_json(timings), "utf-8"),
        }
        samples, lying = self.samples, self.files
        if samples is not None:
            columns = {str(name): samples[name].to_numpy() for name in samples}
            files[SAMPLES_FILE] = lambda file: write_samples(columns, file, mark)
        if lying is not None:
            files[SAMPLES_FILE] = lambda file: lying.write(file, mark)
        place.put(files, gone=NAMES)
        return replace(self, files=None if lying is None else SampleFiles((place.path / SAMPLES_FILE,), mark))


def _mark(summary: Summary) -> str:
    """Return what the samples of a run are marked with."""
    return f"{summary.reproduction.fingerprint} {summary.reproduction.samples}"


def load_results(folder: str | Path) -> Results:
    """Read a results folder."""
    folder = Path(folder)
    summary = load_summary(folder)
    samples, files = _kept_in(folder / SAMPLES_FILE, _mark(summary))
    return Results(summary, samples, _times_in(folder / TIMINGS_FILE), files)


def _times_in(file: Path) -> tuple[tuple[str, float], ...]:
    """Read how long each stage took; nothing hangs on it, so what cannot be read is left out."""
    try:
        times = json.loads(TIMINGS.text(file))
        return tuple((name, value) for name, value in times.items() if isinstance(value, float))
    except (ResultsError, ValueError, AttributeError, RecursionError):
        return ()


def _kept_in(file: Path, mark: str) -> tuple[pd.DataFrame | None, SampleFiles | None]:
    """Read the kept samples, if there are any and they are not too many."""
    if not os.path.lexists(file):
        return None, None
    SAMPLES.size(file)
    files = SampleFiles((file,), mark)
    if files.rows > HELD_AT_ONCE:
        return None, files
    import pandas as pd

    return pd.DataFrame(files.first(HELD_AT_ONCE)), None
