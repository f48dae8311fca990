"""Findings beyond the run: put into the summary that the report is drawn from, and beside it as JSON."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from explorer.errors import ResultsError
from explorer.files import write_whole
from explorer.results.comparison import Comparison
from explorer.results.exploration import Exploration, HighestSpeeds
from explorer.results.json import json_text
from explorer.results.records import SUMMARY_FILE, Summary, load_summary, summary_text
from explorer.study.study import Study


def is_run_of(folder: Path, study: Study) -> bool:
    """Tell whether a folder holds results of this very study."""
    try:
        found = load_summary(folder).reproduction
    except ResultsError:
        return False
    return (found.study_sha256, found.seed) == (study.sha256, study.seed)


def kept_parts(folder: Path, study: Study, fresh: Exploration) -> Exploration:
    """Fill what an exploration left out with what an earlier one of the same build has found."""
    earlier = load_summary(folder).design if is_run_of(folder, study) else None
    if earlier is None or earlier.build != fresh.build:
        return fresh
    return replace(
        fresh,
        maps=fresh.maps or earlier.maps,
        answers=fresh.answers or earlier.answers,
        search=fresh.search or earlier.search,
    )


def add_findings(
    folder: Path,
    *,
    candidates: Comparison | None = None,
    design: Exploration | None = None,
    highest_speed: HighestSpeeds | None = None,
) -> Summary:
    """Put findings into the summary of a results folder, and write each as a JSON file of its name.

    Returns
    -------
    Summary
        With these findings, and those of the kinds that were not handed over as they were.

    Raises
    ------
    ResultsError
        When the folder holds no summary, or cannot be written.

    """
    before = load_summary(folder)
    summary = replace(
        before,
        candidates=candidates or before.candidates,
        design=design or before.design,
        highest_speed=highest_speed or before.highest_speed,
    )
    found = {"candidates": candidates, "design": design, "highest_speed": highest_speed}
    for name, finding in found.items():
        if finding is not None:
            write_whole(folder / f"{name}.json", json_text(finding))
    write_whole(folder / SUMMARY_FILE, summary_text(summary))
    return summary
