"""What fitted logs have changed in a study: the inputs that included files replaced, before and after."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from explorer.logs.fit_records import plain_record
from explorer.study.study import Included, Input, Study


def replaced_inputs(study: Study) -> dict[str, Any] | None:
    """Return what included files have changed, for ``Summary.extra["fits"]``; None where there are none.

    Returns
    -------
    dict
        headline:
            One sentence.
        files:
            List of file, inputs, and log: the record of the fit that wrote the file, as ``fit_record`` has
            it; None when there is none, or when the file was changed since.
        files.inputs:
            List of quantity, summary, unit, display_unit, before (None where nothing gave it), after,
            moved_by (shift over the spread before) and narrowed_to (spread after over spread before).
        files.inputs.before, files.inputs.after:
            words, nominal, mean, sd, low and high (2.5 and 97.5 %) and source; SI values.
    """
    if not study.included:
        return None
    files = [
        {
            "file": one.file,
            "inputs": [_replaced(study, name, before) for name, before in one.before.items()],
            "log": _log_of(study, one),
        }
        for one in study.included
    ]
    return plain_record({"headline": _headline(files), "files": files})


def _replaced(study: Study, name: str, before: Input | None) -> dict[str, Any]:
    quantity, after = study.graph[name], _described(study.inputs[name])
    was = None if before is None or before.default else _described(before)
    spread = was["sd"] if was is not None else 0.0
    return {
        "quantity": name,
        "summary": quantity.summary,
        "unit": quantity.unit,
        "display_unit": study.unit_of(name),
        "before": was,
        "after": after,
        "moved_by": (after["mean"] - was["mean"]) / spread if was is not None and spread > 0 else None,
        "narrowed_to": after["sd"] / spread if spread > 0 else None,
    }


def _described(given: Input) -> dict[str, Any]:
    distribution = given.distribution
    low, high = (float(distribution.quantile(np.array([p]))[0]) for p in (0.025, 0.975))
    return {
        "words": distribution.words(given.display_unit),
        "nominal": float(distribution.nominal),
        "mean": float(distribution.mean),
        "sd": float(distribution.sd),
        "low": low,
        "high": high,
        "source": given.source,
    }


def _log_of(study: Study, included: Included) -> dict[str, Any] | None:
    """Return what the fit noted beside its file, if it still belongs to it."""
    path = study.folder / included.file
    record = _read_record(path.with_suffix(".json"))
    try:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return None
    return record if record is not None and record.get("block_sha256") == digest else None


def _read_record(path: Path) -> dict[str, Any] | None:
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return record if isinstance(record, dict) else None


def _headline(files: Sequence[Mapping[str, Any]]) -> str:
    inputs = [one for file in files for one in file["inputs"]]
    compared = [one for one in inputs if one["moved_by"] is not None]
    counted = f"{len(inputs)} inputs of this study come from fitted logs"
    if len(inputs) == 1:
        counted = "1 input of this study comes from a fitted log"
    if not compared:
        return counted
    farthest = max(compared, key=lambda one: abs(one["moved_by"]))
    side = "up" if farthest["moved_by"] > 0 else "down"
    return (
        f"{counted}; the {farthest['quantity'].replace('_', ' ')} moved most: {side} by "
        f"{abs(farthest['moved_by']):.1f} times the spread it had, and its spread is now "
        f"{100 * farthest['narrowed_to']:.0f} % of what it was"
    )
