"""What long commands share: the study, workers, a folder of results to oneself, and its report."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from explorer.console.telling import complain
from explorer.errors import SquatlineError

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from explorer.engine.checkpoint import Checkpoint
    from explorer.engine.plan import Progress
    from explorer.engine.stages import Stages
    from explorer.results.folder import ResultsFolder
    from explorer.results.stored import Results
    from explorer.study.study import Study
    from reports import Rendered


def load(path: Path, allow_code: bool) -> Study:
    """Read a study."""
    from explorer.study.study import load_study

    return load_study(path, allow_code=allow_code)


def chosen_engine(engine: str | None, workers: int | None) -> str:
    """Choose where to compute; worker processes begin to start while the study is still being read."""
    from explorer.engine.processes import default_workers, warm_up

    several = (workers or default_workers()) > 1
    chosen = engine or ("processes" if several and sys.platform == "linux" else "threads")
    if chosen == "processes":
        warm_up()
    return chosen


@contextmanager
def results_place(
    folder: Path, study: Study, samples: int, fresh: bool
) -> Iterator[tuple[ResultsFolder, Checkpoint]]:
    """Have the folder for the results to oneself, with what an earlier call has finished there."""
    from explorer.engine.checkpoint import Checkpoint, remove_parts
    from explorer.engine.fingerprint import ASKED, CHOOSING, fingerprint
    from explorer.engine.kept_values import VALUES, KeptValues
    from explorer.engine.montecarlo import room_for_samples
    from explorer.results.folder import ROOM_FOR_REPORT, results_folder

    with results_folder(folder, room=ROOM_FOR_REPORT + room_for_samples(study, samples)) as place:
        for words in place.tidied:
            complain(f"squatline: {words}")
        if fresh:
            remove_parts(place.hidden)
            KeptValues(place.hidden / VALUES, "").forget()
        with Checkpoint(place.hidden, fingerprint(study, (*CHOOSING, *ASKED))) as checkpoint:
            if checkpoint.dropped:
                complain("squatline: finished parts of the study with other inputs were thrown away")
            yield place, checkpoint


@contextmanager
def with_kept_values(study: Study, place: ResultsFolder, engine: str) -> Iterator[Study]:
    """Have the study find what an earlier run has computed of its cars, and keep what is computed now."""
    from explorer.engine.fingerprint import ASKED, CHOOSING, fingerprint
    from explorer.engine.kept_values import VALUES, KeptValues

    if engine == "dask":
        yield study  # its workers may lie where this folder is another one
        return
    kept = KeptValues(place.hidden / VALUES, fingerprint(study, (*CHOOSING, *ASKED)))
    kept.tidy()
    try:
        yield replace(study, kept=kept)
    finally:
        kept.tidy()


@contextmanager
def drawing(wanted: bool = True) -> Iterator[Executor | None]:
    """Start what draws charts beside this process, while this one has other things to do."""
    if not wanted:
        yield None
        return
    from reports.chart_worker import drawing_beside

    with drawing_beside() as executor:
        yield executor


def report_of(
    results: Results, folder: Path, progress: Progress, stages: Stages, beside: Executor | None = None
) -> tuple[str, ...]:
    """Draw the report of results that are written; return what it lacks."""
    with stages.analysis("report"):
        rendered = rendered_into(results, folder, progress, beside)
        if rendered.paths:
            return rendered.problems
        raise SquatlineError(rendered.problems[0])
    return (stages.failures[-1].words,)


def rendered_into(
    results: Results, folder: Path, progress: Progress, beside: Executor | None = None, **wanted: Any
) -> Rendered:
    """Draw the report of results into their folder, as wanted."""
    from explorer.engine.kept_values import VALUES, KeptValues
    from explorer.results.folder import HIDDEN
    from reports import ReportOptions, render

    progress("report", 0, 1)
    forms = wanted.pop("forms", ("html", "pdf"))
    with nullcontext(beside) if beside else drawing() as executor:
        rendered = render(
            results,
            folder,
            forms=forms,
            options=ReportOptions(**wanted),
            executor=executor,
            kept=KeptValues(folder / HIDDEN / VALUES, ""),
        )
    progress("report", 1, 1)
    return rendered
