"""Bands of quantities against one input, usually speed: the fan charts of the report."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from explorer.engine.plan import CHUNK, Plan, Progress, make_plan, no_progress
from explorer.graph.arrays import Array
from explorer.results.records import SweepRecord
from explorer.study.asked_for import Sweep
from explorer.study.distributions import Exact
from explorer.study.limits import Output
from explorer.study.study import Input, Study
from explorer.study.throttle import throttle_words

# Bands are drawn from one chunk: the eye cannot tell them from those of the whole run.
SAMPLES = CHUNK
BAND = (0.05, 0.5, 0.95)


def run_sweeps(study: Study, *, progress: Progress = no_progress) -> tuple[SweepRecord, ...]:
    """Evaluate the sweeps of a study on the first samples of its run."""
    total = sum(len(sweep.conditions) for sweep in study.sweeps)
    records: list[SweepRecord] = []
    done = 0
    for sweep in study.sweeps:
        for condition in sweep.conditions:
            records.extend(_swept(study, sweep, condition))
            done += 1
            progress("sweeps", done, total)
    return tuple(records)


def sweep_plan(study: Study, sweep: Sweep, condition: str) -> Plan:
    """Return the plan of a sweep: each of its values is a condition of its own, named by its place."""
    given = study.given_in(condition)
    scopes = {
        f"{place}": {**given, sweep.along: Input(sweep.along, sweep.along, Exact(value), sweep.display_unit)}
        for place, value in enumerate(sweep.values)
    }
    return make_plan(study, [(q, name) for q in sweep.quantities for name in scopes], scopes=scopes)


def stacked(plan: Plan, sweep: Sweep, drawn: Mapping[str, Array]) -> dict[str, Array]:
    """Return, for each quantity of a sweep, its values on drawn inputs: shape (values, samples)."""
    found = plan.evaluate(drawn)
    return {
        q: np.stack([found[q, f"{place}"] for place in range(len(sweep.values))]) for q in sweep.quantities
    }


def swept_values(study: Study, sweep: Sweep, condition: str, samples: int = SAMPLES) -> dict[str, Array]:
    """Return, for each quantity of a sweep, its samples at every value: shape (values, samples)."""
    plan = sweep_plan(study, sweep, condition)
    return stacked(plan, sweep, plan.random_chunk(0, samples))


def _swept(study: Study, sweep: Sweep, condition: str) -> list[SweepRecord]:
    return [
        _record(study, sweep, condition, quantity, values)
        for quantity, values in swept_values(study, sweep, condition).items()
    ]


def _record(study: Study, sweep: Sweep, condition: str, quantity: str, values: Array) -> SweepRecord:
    entry = study.graph[quantity]
    failed = np.count_nonzero(~np.isfinite(values), axis=1)
    low, middle, high = (_band(values, p) for p in BAND)
    return SweepRecord(
        quantity=quantity,
        summary=entry.summary,
        unit=entry.unit,
        display_unit=study.unit_of(quantity, _largest(values)),
        condition=condition,
        along=sweep.along,
        along_unit=study.graph[sweep.along].unit,
        along_display_unit=sweep.display_unit,
        x=sweep.values,
        low=low,
        middle=middle,
        high=high,
        failed=tuple(int(n) for n in failed),
        samples=values.shape[1],
        throttle=throttle_words(study, Output(quantity, condition)),
    )


def _band(values: Array, probability: float) -> tuple[float, ...]:
    """Quantile at each value over the samples that have an answer; NaN where none has."""
    rows = (row[np.isfinite(row)] for row in values)
    return tuple(float(np.quantile(row, probability)) if row.size else float("nan") for row in rows)


def _largest(values: Array) -> float:
    return float(np.max(np.abs(values), initial=0.0, where=np.isfinite(values)))
