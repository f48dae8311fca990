"""Findings beyond the run: put into the summary that the report is drawn from, and beside it as JSON."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from explorer.errors import ResultsError
from explorer.files import write_whole
from explorer.results.json import json_text
from explorer.results.records import SUMMARY_FILE, load_summary
from explorer.study.study import Study

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


def plain(record: DataclassInstance) -> dict[str, Any]:
    """Return a record as plain data for JSON: lists for tuples, None for what is not a finite number."""
    found: dict[str, Any] = finite_data(asdict(record))
    return found


def finite_data(value: Any) -> Any:
    """Return nested data as JSON has them, as ``plain`` does with a record."""
    if isinstance(value, dict):
        return {str(key): finite_data(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [finite_data(inner) for inner in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value


def is_run_of(folder: Path, study: Study) -> bool:
    """Tell whether a folder holds results of this very study."""
    try:
        found = load_summary(folder).reproduction
    except ResultsError:
        return False
    return (found.study_sha256, found.seed) == (study.sha256, study.seed)


def kept_parts(folder: Path, study: Study, fresh: dict[str, Any]) -> dict[str, Any]:
    """Fill what an exploration left out with what an earlier one of the same build has found.

    Parameters
    ----------
    fresh:
        The new exploration as plain data.

    """
    if not is_run_of(folder, study):
        return fresh
    earlier = load_summary(folder).extra.get("design")
    if earlier is None or earlier["build"] != fresh["build"]:
        return fresh
    filled = {part: fresh[part] or earlier[part] for part in ("maps", "answers", "search")}
    headline = (filled["search"] or fresh)["headline"]
    return {**fresh, **filled, "headline": headline}


def add_findings(folder: Path, findings: dict[str, dict[str, Any]]) -> None:
    """Add findings to the summary of a results folder, and write each as a JSON file of its name.

    Raises
    ------
    ResultsError
        When the folder holds no summary, or cannot be written.

    """
    summary = load_summary(folder)
    summary = replace(summary, extra={**summary.extra, **findings})
    for name, finding in findings.items():
        text = json.dumps(finding, indent=1, allow_nan=False, ensure_ascii=False)
        write_whole(folder / f"{name}.json", text)
    write_whole(folder / SUMMARY_FILE, json_text(summary))
