"""Predictions held against logged runs, as records: for ``--json`` and for the summary of a run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.units import spread_to_si, to_si
from explorer.logs.logged_runs import ComparedRun
from explorer.results.logged_runs import Departure, LoggedRunRecord, RunJudged
from explorer.study.study import Study

# Points of a chart; more of them cannot be told apart on paper.
MOST_POINTS = 600


def track_records(study: Study, tracked: Sequence[ComparedRun]) -> tuple[LoggedRunRecord, ...]:
    """Return the records of all logged runs."""
    return tuple(_record(study, one) for one in tracked)


def _record(study: Study, tracked: ComparedRun) -> LoggedRunRecord:
    entry, found, log, band = tracked.entry, tracked.validation, tracked.log, tracked.validation.band
    quantity = study.graph[entry.quantity]
    along_si = {"time": "s", "distance": "m"}.get(entry.along, "m/s")
    order = np.argsort(found.band.at, kind="stable")
    order = order[:: max(1, -(-len(order) // MOST_POINTS))]

    def values(shown: Array) -> tuple[float, ...]:
        return tuple(np.asarray(to_si(shown[order], tracked.unit, quantity.unit)).tolist())

    def spread(size: float) -> float:
        return float(spread_to_si(size, tracked.unit, quantity.unit))

    def place(shown: float) -> float:
        return float(to_si(shown, tracked.along_unit, along_si))

    judged = {field.name: getattr(found, field.name) for field in fields(RunJudged)}
    in_si = {
        "bias": spread(found.bias),
        "noise": spread(found.noise),
        "stretches": tuple(
            Departure(place(one.start), place(one.end), one.side, spread(one.furthest))
            for one in found.stretches
        ),
    }
    return LoggedRunRecord(
        **judged | in_si,
        name=tracked.name,
        title=entry.words or tracked.name.replace("_", " "),
        quantity=entry.quantity,
        summary=quantity.summary,
        unit=quantity.unit,
        display_unit=tracked.unit,
        along=entry.along,
        along_unit=along_si,
        along_display_unit=tracked.along_unit,
        condition=entry.condition,
        condition_words=study.conditions[entry.condition].words,
        log=replace(log.source, file=entry.file),
        explained_by=tracked.explained_by,
        samples=tracked.samples,
        unanswered=tracked.unanswered,
        at=tuple(map(place, band.at[order].tolist())),
        logged=values(found.logged),
        lower=values(band.lower),
        median=values(band.median),
        upper=values(band.upper),
    )
