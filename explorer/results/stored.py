"""A run in its folder: the summary as text, sealed by its digest, beside the kept samples and times."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Mapping
from dataclasses import astuple, dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from explorer.engine.storage import HELD_AT_ONCE, SampleFiles, first_rows, write_samples
from explorer.errors import ResultsError, with_file
from explorer.files.characters import require_visible
from explorer.files.reading import Wanted
from explorer.graph.arrays import Array
from explorer.results.folder import NAMES, ResultsFolder, marked_json, results_folder
from explorer.results.json import from_json, json_schema, json_text
from explorer.results.records import SCHEMA_VERSION, Summary

if TYPE_CHECKING:
    import pandas as pd


SUMMARY_FILE = "summary.json"
DIGEST = "sha256"
SAMPLES_FILE = "samples.parquet"
TIMINGS_FILE = "timings.json"
SUMMARY = Wanted("summary", 500_000_000, missing="run the study first", raising=ResultsError)
TIMINGS = Wanted("list of times", 100_000, raising=ResultsError)
SAMPLES = Wanted("file of kept samples", 2**50, raising=ResultsError)


def summary_schema() -> dict[str, Any]:
    """Return the JSON schema of ``summary.json``."""
    return json_schema(Summary)


def load_summary(folder: Path) -> Summary:
    """Read a results folder's summary.

    Raises
    ------
    ResultsError
        When the folder holds no summary, or one of another schema version.
    """
    from pydantic import ValidationError

    path = folder / SUMMARY_FILE
    text = SUMMARY.text(path)
    try:
        data = json.loads(text)
        version = data["schema_version"]
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise ResultsError(
            "this is not a results folder",
            file=str(path),
            found=f"{type(error).__name__}: {error}"[:200],
            remedy="run the study first",
        ) from None
    if version != SCHEMA_VERSION:
        raise ResultsError(
            "these results were written by another version",
            file=str(path),
            key="schema_version",
            found=version,
            allowed=SCHEMA_VERSION,
            remedy="run the study again",
        )
    with with_file(str(path)):
        require_visible(data, ResultsError)
    try:
        summary = from_json(Summary, text)
    except ValidationError as error:
        first = error.errors()[0]
        raise ResultsError(
            "the summary does not fit its schema",
            file=str(path),
            key=".".join(str(part) for part in first["loc"]),
            found=first["msg"],
            remedy="run the study again",
        ) from None
    data.pop("written_by", None)
    if data.pop(DIGEST, None) != _digest(data):
        raise ResultsError(
            "the summary was changed after it was written",
            file=str(path),
            key=DIGEST,
            allowed="only what a run has written, so that every number can be traced to its study",
            remedy="change the study and run it again; words of your own go onto the cover with --cover-text",
        )
    return summary


def summary_text(summary: Summary) -> str:
    """Write a summary as JSON, with the digest of all that stands in it."""
    data = json.loads(json_text(summary))
    return json_text(data | {DIGEST: _digest(data)})


def _digest(data: Any) -> str:
    """Digest of plain data, however they are laid out in the file."""
    return hashlib.sha256(json.dumps(data, sort_keys=True).encode()).hexdigest()


@dataclass(frozen=True)
class Results:
    """A finished run: the summary, the kept samples by column if there are any, and the stage times.

    ``errors`` holds what the unfinished stages raised, in this process only.
    """

    summary: Summary
    kept: Mapping[str, Array] | None
    stages: tuple[tuple[str, float], ...] = ()
    errors: tuple[Exception, ...] = ()

    @cached_property
    def samples(self) -> pd.DataFrame | None:
        """One row a car; None when they were not kept, or are too many to hold: ``kept`` reads a column."""
        kept = self.kept
        if kept is None or (isinstance(kept, SampleFiles) and kept.rows > HELD_AT_ONCE):
            return None
        import pandas as pd

        return pd.DataFrame(kept.first(HELD_AT_ONCE) if isinstance(kept, SampleFiles) else kept)

    def first_samples(self, rows: int) -> Mapping[str, Array]:
        """Return the first of the kept samples by column, of which there are none where none were kept."""
        return first_rows(self.kept or {}, rows)

    @property
    def limits(self) -> pd.DataFrame:
        """One row a limit: required, found, interval, verdict."""
        import pandas as pd

        rows = [
            {
                "limit": limit.name,
                "quantity": limit.quantity,
                "condition": limit.condition,
                "required": limit.probability,
                "probability": limit.conformance.probability,
                "low": limit.conformance.low,
                "high": limit.conformance.high,
                "margin_mean": limit.conformance.margin.mean,
                "margin_sd": limit.conformance.margin.sd,
                "unit": limit.unit,
                "safety": limit.safety,
                "verdict": limit.conformance.verdict,
            }
            for limit in self.summary.limits
        ]
        return pd.DataFrame(rows).set_index("limit")

    @property
    def sensitivity(self) -> pd.DataFrame:
        """One row a limit and input: first-order and total share of the margin's variance, with bounds."""
        import pandas as pd

        rows = [
            (limit.name, index.name, *astuple(index.first), *astuple(index.total))
            for limit in self.summary.limits
            if limit.sensitivity
            for index in limit.sensitivity.indices
        ]
        columns = ["limit", "input", "first", "first_low", "first_high", "total", "total_low", "total_high"]
        return pd.DataFrame(rows, columns=columns).set_index(["limit", "input"])

    @property
    def outputs(self) -> pd.DataFrame:
        """One row an output: mean, standard deviation and quantiles in SI units."""
        import pandas as pd

        rows = [
            {
                "quantity": output.quantity,
                "condition": output.condition,
                "minus": output.minus,
                "unit": output.unit,
                "nominal": output.nominal,
                "mean": output.mean,
                "sd": output.sd,
                **{f"q{p:g}": value for p, value in output.quantiles},
                "failed": output.failed,
                "capped": output.capped,
            }
            for output in self.summary.outputs
        ]
        return pd.DataFrame(rows).set_index(["quantity", "condition"])

    def _repr_html_(self) -> str:
        from html import escape

        head = f"<p><strong>{escape(self.summary.title)}</strong>: {escape(self.summary.verdict)}</p>"
        return head + self.limits.to_html()

    def save(self, folder: Path) -> Results:
        """Write summary, samples and stage times into a results folder, in the place of earlier results.

        Returns
        -------
        Results
            The same, with samples in files where they now lie.

        Raises
        ------
        ResultsError
            When something else is in the way, another command is at work there, or it cannot be written.
        """
        with results_folder(folder) as place:
            return self.put_into(place)

    def put_into(self, place: ResultsFolder) -> Results:
        """Do the same where this process has the folder to itself already."""
        mark = _mark(self.summary)
        timings = json.dumps(dict(self.stages), indent=1)
        files: dict[str, Callable[[Path], object]] = {
            SUMMARY_FILE: lambda file: file.write_text(marked_json(summary_text(self.summary)), "utf-8"),
            TIMINGS_FILE: lambda file: file.write_text(marked_json(timings), "utf-8"),
        }
        kept = self.kept
        if isinstance(kept, SampleFiles):
            files[SAMPLES_FILE] = lambda file: kept.write(file, mark)
        elif kept is not None:
            files[SAMPLES_FILE] = lambda file: write_samples(kept, file, mark)
        place.put(files, gone=NAMES)
        lie_there = isinstance(kept, SampleFiles)
        return replace(self, kept=SampleFiles((place.path / SAMPLES_FILE,), mark) if lie_there else kept)


def _mark(summary: Summary) -> str:
    """Return what the samples of a run are marked with."""
    return f"{summary.reproduction.fingerprint} {summary.reproduction.samples}"


def load_results(folder: str | Path) -> Results:
    """Read a results folder."""
    folder = Path(folder)
    summary = load_summary(folder)
    kept = _kept_in(folder / SAMPLES_FILE, _mark(summary))
    return Results(summary, kept, _times_in(folder / TIMINGS_FILE))


def _times_in(file: Path) -> tuple[tuple[str, float], ...]:
    """Read how long each stage took; nothing hangs on it, so what cannot be read is left out."""
    try:
        times = json.loads(TIMINGS.text(file))
        return tuple((name, value) for name, value in times.items() if isinstance(value, float))
    except (ResultsError, ValueError, AttributeError, RecursionError):
        return ()


def _kept_in(file: Path, mark: str) -> SampleFiles | None:
    """Find the kept samples, if there are any, and see that they are of this run."""
    if not os.path.lexists(file):
        return None
    SAMPLES.size(file)
    files = SampleFiles((file,), mark)
    files.first(1)
    return files
