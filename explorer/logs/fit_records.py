"""Fits as records: for ``squatline fit``, in words and as JSON, and beside the file that a study includes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from explorer.files.reading import Source
from explorer.graph.words import Sentence
from explorer.logs.fits import Fitted
from explorer.logs.fitting.fit import Fit, Known, LackOfFit, Residuals
from explorer.logs.fitting.input_block import Contradiction
from explorer.logs.kinds.task import LoggedRun
from explorer.logs.shared_errors import Shared
from explorer.results.logged_runs import Belief
from explorer.study.study import Study

# Points of a residual plot; more of them cannot be told apart on paper.
MOST_POINTS = 1000


@dataclass(frozen=True, kw_only=True)
class FittedLog(Source):
    """A log that was fitted: its rows, those dropped by reason; every stride-th good one was kept."""

    rows_read: int
    rows: int
    dropped: dict[str, int]
    stride: int
    notes: tuple[str, ...]


@dataclass(frozen=True)
class EstimateRecord:
    """What a fit found of one quantity, and what the study believed of it.

    ``low`` and ``high`` are the 95 % interval; ``given_back`` tells whether the study takes it;
    ``distance`` from the belief is in combined standard uncertainties.
    """

    name: str
    unit: str
    display_unit: str
    value: float
    standard_uncertainty: float
    low: float
    high: float
    degrees_of_freedom: float
    given_back: bool
    believed: Belief | None
    distance: float | None


@dataclass(frozen=True)
class EstimatePair:
    """Correlation of two estimates."""

    first: str
    second: str
    value: float


@dataclass(frozen=True)
class OwnValue:
    """What only a log has, as a run's first speed, in SI units."""

    value: float
    standard_uncertainty: float


@dataclass(frozen=True)
class ResidualPoints:
    """Residuals for a plot, as in ``Residuals``, thinned to a thousand points."""

    abscissa: tuple[float, ...]
    observed: tuple[float, ...]
    predicted: tuple[float, ...]
    residual: tuple[float, ...]
    weight: tuple[float, ...]
    run: tuple[int, ...]
    channel: tuple[int, ...]
    abscissa_name: str
    channel_names: tuple[str, ...]
    channel_units: tuple[str, ...]


@dataclass(frozen=True)
class UpdatedInput:
    """An input before and after the study's samples were weighted by a log."""

    name: str
    unit: str
    display_unit: str
    before: Belief
    after: Belief


@dataclass(frozen=True)
class UpdateRecord:
    """The study's own samples weighted by a log, and how many equally weighted ones they are worth."""

    effective_samples: float
    estimates: tuple[UpdatedInput, ...]
    notes: tuple[Sentence, ...]


@dataclass(frozen=True)
class FitRecord:
    """A fit, in SI units.

    Attributes
    ----------
    name, kind, file, included:
        Its name, what it does in words, where it is written, and whether the study includes that file.
    logs, estimates, correlations, shared, known, log_values:
        What was read; what was found; how the estimates go with each other and with inputs of the study that
        were taken as known; what was taken from elsewhere; and what had to be found besides.
    rows, effective_rows, outliers, residual_sd, lack_of_fit:
        As in ``Fit``.
    contradiction:
        How far the log lies from what the study believed; None where it believed nothing.
    notes, weakness:
        In words; a weakness is why the result should not be used.
    residuals, update:
        None where there are none.
    """

    name: str
    kind: str
    file: str
    included: bool
    logs: tuple[FittedLog, ...]
    estimates: tuple[EstimateRecord, ...]
    correlations: tuple[EstimatePair, ...]
    shared: tuple[Shared, ...]
    known: tuple[Known, ...]
    log_values: dict[str, OwnValue]
    rows: int
    effective_rows: float
    outliers: int
    residual_sd: tuple[float, ...]
    lack_of_fit: LackOfFit | None
    contradiction: Contradiction | None
    notes: tuple[Sentence, ...]
    weakness: Sentence
    residuals: ResidualPoints | None
    update: UpdateRecord | None


@dataclass(frozen=True)
class WrittenFit:
    """What lies beside the file of a fit: its record, and the digest of that file."""

    fit: FitRecord
    block_sha256: str


def fit_record(fitted: Fitted) -> FitRecord:
    """Return the record of a fit."""
    fit = fitted.fit
    of_logs = [note for run in fitted.finding.runs for note in run.log.notes]
    return FitRecord(
        name=fitted.name,
        kind=fitted.kind,
        file=fitted.file,
        included=fitted.included,
        logs=tuple(map(_log, fitted.finding.runs)),
        estimates=tuple(_estimates(fitted)),
        correlations=tuple(_correlations(fit)),
        shared=fitted.shared,
        known=fit.known,
        log_values={name: OwnValue(value, spread) for name, (value, spread) in fit.log_values.items()},
        rows=fit.rows,
        effective_rows=fit.effective_rows,
        outliers=fit.outliers,
        residual_sd=fit.residual_sd,
        lack_of_fit=fit.lack_of_fit,
        contradiction=fitted.contradiction,
        notes=tuple(dict.fromkeys([*fit.notes, *of_logs])),
        weakness=fitted.result.weakness,
        residuals=None if fit.residuals is None else _residuals(fit.residuals),
        update=_update(fitted, fitted.study),
    )


def _log(run: LoggedRun) -> FittedLog:
    log = run.log
    return FittedLog(
        **vars(replace(log.source, file=run.entry.file)),
        rows_read=log.rows_read,
        rows=log.rows,
        dropped=dict(log.dropped),
        stride=log.stride,
        notes=log.notes,
    )


def _estimates(fitted: Fitted) -> Iterator[EstimateRecord]:
    fit, study = fitted.fit, fitted.study
    intervals = fit.interval()
    for i, name in enumerate(fit.names):
        believed = fitted.believed.get(name)
        yield EstimateRecord(
            name=name,
            unit=fit.units[i],
            display_unit=study.unit_of(name) if name in study.graph else fit.units[i],
            value=float(fit.estimates[i]),
            standard_uncertainty=float(fit.standard_uncertainties[i]),
            low=float(intervals[i, 0]),
            high=float(intervals[i, 1]),
            degrees_of_freedom=float(fit.degrees_of_freedom[i]),
            given_back=name in fitted.inputs,
            believed=None
            if believed is None
            else Belief(believed.value, believed.standard_uncertainty, believed.source),
            distance=None if fitted.contradiction is None else fitted.contradiction.distances.get(name),
        )


def _correlations(fit: Fit) -> Iterator[EstimatePair]:
    matrix = fit.correlation
    for i, first in enumerate(fit.names):
        for j in range(i + 1, len(fit.names)):
            yield EstimatePair(first, fit.names[j], float(matrix[i, j]))


def _residuals(residuals: Residuals) -> ResidualPoints:
    shown = slice(None, None, max(1, math.ceil(len(residuals.residual) / MOST_POINTS)))
    thinned: dict[str, Any] = {
        name: tuple(value[shown].tolist()) if isinstance(value, np.ndarray) else value
        for name, value in vars(residuals).items()
    }
    return ResidualPoints(**thinned)


def _update(fitted: Fitted, study: Study) -> UpdateRecord | None:
    update = fitted.update
    if update is None:
        return None
    return UpdateRecord(
        effective_samples=update.effective_samples,
        estimates=tuple(
            UpdatedInput(
                name,
                study.graph[name].unit,
                study.unit_of(name),
                Belief(float(update.before_mean[i]), float(update.before_sd[i]), None),
                Belief(float(update.mean[i]), float(update.sd[i]), None),
            )
            for i, name in enumerate(update.names)
        ),
        notes=fitted.result.notes,
    )
