"""Fits as plain data: for ``squatline fit --json``, and beside the file that a study includes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from explorer.logs.fits import Fitted
from explorer.logs.fitting.fit import INSEPARABLE, Fit, Residuals
from explorer.logs.kinds.task import LoggedRun
from explorer.results.json import json_data
from explorer.study.study import Study

# Points of a residual plot; more of them cannot be told apart on paper.
MOST_POINTS = 1000


def fit_record(fitted: Fitted) -> dict[str, Any]:
    """Return a fit as plain data: SI values, lists, None for what there is not.

    Returns
    -------
    dict
        name, kind, file, included:
            Its name, what it does in words, where it is written, and whether the study includes that file.
        logs:
            List of file, date, sha256, synthetic, rows_read, rows, dropped (reason -> rows), stride, notes.
        estimates:
            List of name, unit, display_unit, value, standard_uncertainty, low and high (95 %),
            degrees_of_freedom, given_back (whether the study takes it), believed (mean, sd, source), and
            distance from that in combined standard uncertainties.
        correlations, shared:
            Lists of first, second, value: between estimates (with separated: whether the log tells them
            apart), and with inputs of the study that were taken as known.
        known:
            List of name, value, standard_uncertainty, unit, source.
        log_values:
            Name -> value and standard_uncertainty of what only this log has.
        rows, effective_rows, outliers, residual_sd, lack_of_fit:
            As in ``Fit``.
        contradicts:
            Whether the log lies too far from what the study believed; None where it believed nothing.
        notes, weakness:
            In words; a weakness is why the result should not be used.
        residuals:
            Lists abscissa, observed, predicted, residual, weight, run and channel, thinned to a thousand
            points, with abscissa_name, channel_names and channel_units.
        update:
            method, effective_samples, notes, and estimates: list of name, unit, display_unit, and mean and sd
            before and after.
    """
    fit, study = fitted.fit, fitted.study
    return plain_record(
        {
            "name": fitted.name,
            "kind": fitted.kind,
            "file": fitted.file,
            "included": fitted.included,
            "logs": [_log(run) for run in fitted.finding.runs],
            "estimates": list(_estimates(fitted)),
            "correlations": list(_correlations(fit)),
            "shared": [
                {"first": one.estimate, "second": one.input, "value": one.value} for one in fitted.shared
            ],
            "known": [
                {
                    "name": known.name,
                    "value": known.value,
                    "standard_uncertainty": known.standard_uncertainty,
                    "unit": known.unit,
                    "source": known.source,
                }
                for known in fit.known
            ],
            "log_values": {
                name: {"value": value, "standard_uncertainty": spread}
                for name, (value, spread) in fit.log_values.items()
            },
            "rows": fit.rows,
            "effective_rows": fit.effective_rows,
            "outliers": fit.outliers,
            "residual_sd": list(fit.residual_sd),
            "lack_of_fit": None if fit.lack_of_fit is None else vars(fit.lack_of_fit),
            "contradicts": None if fitted.contradiction is None else fitted.contradiction.contradicts,
            "notes": notes_of(fitted),
            "weakness": fitted.result.weakness,
            "residuals": None if fit.residuals is None else _residuals(fit.residuals),
            "update": _update(fitted, study),
        }
    )


def notes_of(fitted: Fitted) -> list[str]:
    """Return all notes of a fit and its logs, each once."""
    of_logs = [note for run in fitted.finding.runs for note in run.log.notes]
    return list(dict.fromkeys([*fitted.fit.notes, *of_logs]))


def plain_record(record: dict[str, Any]) -> dict[str, Any]:
    """Return a record as JSON has it."""
    found: dict[str, Any] = json_data(record)
    return found


def _log(run: LoggedRun) -> dict[str, Any]:
    log = run.log
    return {
        "file": run.entry.file,
        "date": log.source.date,
        "sha256": log.source.sha256,
        "synthetic": log.source.synthetic,
        "rows_read": log.rows_read,
        "rows": log.rows,
        "dropped": dict(log.dropped),
        "stride": log.stride,
        "notes": list(log.notes),
    }


def _estimates(fitted: Fitted) -> Iterator[dict[str, Any]]:
    fit, study = fitted.fit, fitted.study
    intervals = fit.interval()
    for i, name in enumerate(fit.names):
        believed = fitted.believed.get(name)
        yield {
            "name": name,
            "unit": fit.units[i],
            "display_unit": study.unit_of(name) if name in study.graph else fit.units[i],
            "value": float(fit.estimates[i]),
            "standard_uncertainty": float(fit.standard_uncertainties[i]),
            "low": float(intervals[i, 0]),
            "high": float(intervals[i, 1]),
            "degrees_of_freedom": float(fit.degrees_of_freedom[i]),
            "given_back": name in fitted.inputs,
            "believed": None
            if believed is None
            else {"mean": believed.value, "sd": believed.standard_uncertainty, "source": believed.source},
            "distance": None if fitted.contradiction is None else fitted.contradiction.distances.get(name),
        }


def _correlations(fit: Fit) -> Iterator[dict[str, Any]]:
    matrix = fit.correlation
    for i, first in enumerate(fit.names):
        for j in range(i + 1, len(fit.names)):
            value = float(matrix[i, j])
            yield {
                "first": first,
                "second": fit.names[j],
                "value": value,
                "separated": abs(value) <= INSEPARABLE,
            }


def _residuals(residuals: Residuals) -> dict[str, Any]:
    step = max(1, math.ceil(len(residuals.residual) / MOST_POINTS))
    lists = {
        name: getattr(residuals, name)[::step].tolist()
        for name in ("abscissa", "observed", "predicted", "residual", "weight", "run", "channel")
    }
    return lists | {
        "abscissa_name": residuals.abscissa_name,
        "channel_names": list(residuals.channel_names),
        "channel_units": list(residuals.channel_units),
    }


def _update(fitted: Fitted, study: Study) -> dict[str, Any] | None:
    update = fitted.update
    if update is None:
        return None
    return {
        "effective_samples": update.effective_samples,
        "estimates": [
            {
                "name": name,
                "unit": study.graph[name].unit,
                "display_unit": study.unit_of(name),
                "before": {"mean": float(update.before_mean[i]), "sd": float(update.before_sd[i])},
                "after": {"mean": float(update.mean[i]), "sd": float(update.sd[i])},
            }
            for i, name in enumerate(update.names)
        ],
        "notes": list(fitted.result.notes),
    }
