"""Findings beyond the run: put into the summary that the report is drawn from, and beside it as JSON."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from explorer.engine.fingerprint import CHOOSING, fingerprint
from explorer.engine.storage import write_samples
from explorer.errors import ResultsError
from explorer.graph.arrays import Array
from explorer.results.exploration import Exploration
from explorer.results.folder import NAMES, ResultsFolder, marked_json
from explorer.results.json import json_text
from explorer.results.records import Summary
from explorer.results.stored import SUMMARY_FILE, load_summary, summary_text
from explorer.study.study import Study


def run_there(folder: Path, study: Study) -> Summary | None:
    """Return the summary in a folder, if its numbers are those of this study."""
    try:
        summary = load_summary(folder)
    except ResultsError:
        return None
    return summary if summary.reproduction.fingerprint == fingerprint(study, CHOOSING) else None


def words_on_change(folder: Path, study: Study, renewed: Collection[str]) -> Iterator[str]:
    """Say what has changed since the results in a folder were made, and what becomes of them.

    Parameters
    ----------
    renewed:
        Names of the findings that are about to be added to them.
    """
    if not (folder / SUMMARY_FILE).exists():
        return
    summary = run_there(folder, study)
    if summary is None:
        yield (
            f"the results in {folder} are of other inputs, limits or versions: the study is run again, and "
            "what it finds takes their place"
        )
        return
    made = summary.reproduction
    if made.study_sha256 != study.sha256:
        yield (
            "the study has changed since its run, but nothing that the run depends on: its results are kept, "
            "with the words they have; 'squatline run' takes up new ones"
        )
    stale = [name for name, of in made.findings.items() if name not in renewed and of != fingerprint(study)]
    if stale:
        yield f"kept as found before the study was changed: {', '.join(stale)}"


def words_on_loss(folder: Path) -> Iterator[str]:
    """Say what a new run takes away that other commands have added to the earlier results."""
    try:
        added = load_summary(folder).reproduction.findings
    except ResultsError:
        return
    if added:
        yield (
            f"the earlier results go with what was added to them: {', '.join(added)}; 'squatline compare' "
            "and 'squatline explore' add theirs again, from the parts that they have finished"
        )


def kept_parts(folder: Path, study: Study, fresh: Exploration) -> Exploration:
    """Fill what an exploration left out with what an earlier one of the same build has found."""
    summary = run_there(folder, study)
    earlier = summary.design if summary is not None else None
    if summary is None or earlier is None or earlier.build != fresh.build:
        return fresh
    if summary.reproduction.findings.get("design") != fingerprint(study):
        return fresh
    return replace(
        fresh,
        maps=fresh.maps or earlier.maps,
        answers=fresh.answers or earlier.answers,
        search=fresh.search or earlier.search,
    )


def add_findings(
    place: ResultsFolder,
    study: Study,
    findings: Mapping[str, Any],
    samples: Mapping[str, Mapping[str, Array]] | None = None,
) -> Summary:
    """Put findings into the summary of a results folder, and write each as a JSON file of its name.

    Parameters
    ----------
    findings:
        Field of the summary -> record.
    samples:
        Columns of samples to be kept beside a finding, by its name; those kept earlier go.

    Returns
    -------
    Summary
        With these findings, and those of the kinds that were not handed over as they were.

    Raises
    ------
    ResultsError
        When the folder holds no summary, or cannot be written.
    """
    before, mark = load_summary(place.path), fingerprint(study)
    of = {**before.reproduction.findings, **dict.fromkeys(findings, mark)}
    summary = replace(before, reproduction=replace(before.reproduction, findings=of), **findings)
    texts = {f"{name}.json": json_text(finding) for name, finding in findings.items()}
    texts[SUMMARY_FILE] = summary_text(summary)
    files: dict[str, Callable[[Path], object]] = {
        name: partial(Path.write_text, data=marked_json(text), encoding="utf-8")
        for name, text in texts.items()
    }
    for name, columns in (samples or {}).items():
        files[f"{name}.parquet"] = partial(write_samples, columns, mark=mark)
    place.put(files, {f"{name}.parquet" for name in findings} & set(NAMES))
    return summary
