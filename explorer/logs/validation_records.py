"""Predictions held against logged runs, as plain data: for ``--json`` and for the summary of a run."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from explorer.graph.quantity import Array
from explorer.graph.units import spread_to_si, to_si
from explorer.logs.fit_records import plain_record
from explorer.logs.logged_runs import Tracked
from explorer.study.study import Study

# Points of a chart; more of them cannot be told apart on paper.
MOST_POINTS = 600


def track_records(study: Study, tracked: Sequence[Tracked]) -> list[dict[str, Any]]:
    """Return the records for ``Summary.extra["validation"]``, one for each track.

    Returns
    -------
    list of dict
        name, headline:
            The track, and one sentence that says whether the model explains it, and if not, where.
        quantity, summary, unit, display_unit:
            What was predicted and logged; unit is SI, as all values are.
        along, along_unit, along_display_unit:
            What it is laid along: speed, time or distance.
        condition, condition_words:
            How the study says the car was run.
        log:
            file, date, sha256, synthetic.
        explains, words, notes:
            The verdict, in plain words in the units shown, and what weakens it.
        coverage, share, expected_low, expected_high:
            Share of points in the band, the probability of the band, and between what the coverage of a run
            of the predicted kind lies.
        bias, bias_in_spreads, noise, chance, rows, outside_range, effective_rows:
            As in ``Validation``.
        stretches:
            List of start, end, side, furthest: where the run leaves the band.
        samples, unanswered:
            Cars it was held against, and those without an answer.
        at, logged, lower, median, upper:
            Lists for the chart, rising along ``at``, thinned to a few hundred points.
    """
    return [_record(study, one) for one in tracked]


def headline(tracked: Tracked) -> str:
    """Say in one sentence whether the study explains a track."""
    words = tracked.entry.words or tracked.name.replace("_", " ")
    return f"{words}: {tracked.validation.words}"


def _record(study: Study, tracked: Tracked) -> dict[str, Any]:
    entry, found, log = tracked.entry, tracked.validation, tracked.log
    quantity = study.graph[entry.quantity]
    along_si = {"time": "s", "distance": "m"}.get(entry.along, "m/s")

    def value(values: Array) -> Array:
        return np.asarray(to_si(values, tracked.unit, quantity.unit))

    def spread(size: float) -> float:
        return float(spread_to_si(size, tracked.unit, quantity.unit))

    def place(values: Array) -> Array:
        return np.asarray(to_si(values, tracked.along_unit, along_si))

    order = np.argsort(found.at, kind="stable")
    order = order[:: max(1, -(-len(order) // MOST_POINTS))]
    return plain_record(
        {
            "name": tracked.name,
            "headline": headline(tracked),
            "quantity": entry.quantity,
            "summary": quantity.summary,
            "unit": quantity.unit,
            "display_unit": tracked.unit,
            "along": entry.along,
            "along_unit": along_si,
            "along_display_unit": tracked.along_unit,
            "condition": entry.condition,
            "condition_words": study.conditions[entry.condition].words,
            "log": {
                "file": entry.file,
                "date": log.source.date,
                "sha256": log.source.sha256,
                "synthetic": log.source.synthetic,
            },
            "explains": found.explains,
            "words": found.words,
            "notes": list(found.notes),
            "coverage": found.coverage,
            "share": found.share,
            "expected_low": found.expected_low,
            "expected_high": found.expected_high,
            "bias": spread(found.bias),
            "bias_in_spreads": found.bias_in_spreads,
            "noise": spread(found.noise),
            "chance": found.chance,
            "rows": found.rows,
            "outside_range": found.outside_range,
            "effective_rows": found.effective_rows,
            "stretches": [
                {
                    "start": float(place(np.array(one.start))),
                    "end": float(place(np.array(one.end))),
                    "side": one.side,
                    "furthest": spread(one.furthest),
                }
                for one in found.stretches
            ],
            "samples": tracked.samples,
            "unanswered": tracked.unanswered,
            "at": place(found.at[order]).tolist(),
            **{
                name: value(getattr(found, name)[order]).tolist()
                for name in ("logged", "lower", "median", "upper")
            },
        }
    )
