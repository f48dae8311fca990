"""What the page needs to answer "what if": some of the run's own samples, packed small.

The page gives every sample a weight instead of computing anew, so only inputs and answers are needed, never a
model.  How the weights come about is told in ``script/whatif.js``.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from explorer.graph.units import known_unit
from explorer.graph.written import System, percent
from explorer.results.records import InputRecord, LimitRecord
from reports.findings import in_both_words, leading_inputs
from reports.formatting import InUnits, scale
from reports.options import SYSTEMS
from reports.report import Report

LEADING = 5
# The page stays small: so many samples at most, and so many numbers in all.
MOST_SAMPLES = 8192
MOST_NUMBERS = 100_000
# With fewer different values than this share of the samples an input is a choice, not a spread.
_FEWEST_DIFFERENT = 0.5
# Fewer samples than this are not worth asking.
FEWEST_SAMPLES = 1000
# Below this effective number of samples an answer is refused.
FEWEST_EFFECTIVE = 400


def payload(report: Report) -> dict[str, Any] | None:
    """Pack samples, limits and leading inputs, or None when the run kept no samples.

    Returns
    -------
    dict
        ``samples``: their number; ``limits`` and ``inputs``: one entry each with its packed column and how to
        show it in each system of units; ``precision``: inverse of the correlation matrix of the inputs'
        normal scores.
    """
    cars = report.results.first_samples(MOST_SAMPLES)
    limits = [limit for limit in report.summary.limits if limit.column in cars]
    if not limits or (count := len(cars[limits[0].column])) < FEWEST_SAMPLES:
        return None
    names = [name for name in leading_inputs(report.summary, 2 * LEADING) if name in cars]
    spread = [name for name in names if np.unique(cars[name]).size > _FEWEST_DIFFERENT * count][:LEADING]
    kept = min(count, MOST_NUMBERS // (len(limits) + len(spread)))
    return {
        "samples": kept,
        "fewest": FEWEST_EFFECTIVE,
        "limits": [_limit(report, limit, cars[limit.column][:kept]) for limit in limits],
        "inputs": [_input(report, report.inputs[name], cars[name][:kept]) for name in spread],
        "precision": _precision(report, spread),
    }


def _packed(values: Any, middle: float, spread: float | None) -> dict[str, Any]:
    """Pack values as half floats of their distance from a middle, in spreads: fine near it, coarse where far.

    Half a thousandth of the distance is lost, never its sign: beside a limit each car stays on its side.
    """
    step = spread if spread and math.isfinite(spread) else 1.0
    most = float(np.finfo("<f2").max)
    places = np.clip(np.where(np.isfinite(values), (values - middle) / step, np.nan), -most, most)
    short = places.astype("<f2")
    return {"middle": middle, "step": step, "packed": base64.b64encode(short.tobytes()).decode("ascii")}


def _scales(of: InUnits, magnitude: float, difference: bool) -> list[dict[str, Any]]:
    def one(system: System) -> dict[str, Any]:
        shown = scale(of, system, magnitude=magnitude, difference=difference)
        unit = known_unit(shown.unit)
        return {
            "symbol": shown.symbol,
            "unit": shown.unit,
            "factor": unit.factor,
            "offset": 0.0 if difference else unit.offset,
        }

    return [one(system) for system in SYSTEMS]


def _limit(report: Report, limit: LimitRecord, values: Any) -> dict[str, Any]:
    found = limit.conformance
    spread = report.output(limit).sd
    return {
        "name": limit.name,
        "low": _or_none(limit.low),
        "high": _or_none(limit.high),
        "required": limit.probability,
        "asked": percent(limit.probability),
        "run": {"probability": found.probability, "low": found.low, "high": found.high},
        "verdict": found.verdict,
        "surely": None if limit.sureness is None else in_both_words(limit.sureness),
        "spread": spread,
        "scales": _scales(limit, limit.ends[0][1], limit.is_difference),
        "values": _packed(values, limit.low if math.isfinite(limit.low) else limit.high, spread),
    }


def _or_none(end: float) -> float | None:
    return end if math.isfinite(end) else None


def _input(report: Report, record: InputRecord, values: Any) -> dict[str, Any]:
    return {
        "name": report.input_name(record.key),
        "quantity": record.quantity,
        "condition": record.condition,
        "scales": _scales(record, record.nominal, difference=False),
        "values": _packed(values, float(np.mean(values)), float(np.std(values))),
    }


def _precision(report: Report, names: Sequence[str]) -> list[list[float]]:
    """Inverse of the correlations among these inputs."""
    known: Mapping[frozenset[str], float] = {
        frozenset((record.first, record.second)): record.value for record in report.summary.correlations
    }
    matrix = np.array(
        [[1.0 if a == b else known.get(frozenset((a, b)), 0.0) for b in names] for a in names]
    ).reshape(len(names), len(names))
    inverse: list[list[float]] = np.linalg.inv(matrix).tolist()
    return inverse
