"""The commands about choosing what to build: ``compare`` and ``explore``.

Both keep finished parts, so that a stopped command goes on where it was, and add what they find to the
results and the report of the study's run, which they make first where there is none.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from explorer.console.options import (
    DONE,
    NOT_PASSED,
    WORD,
    AllowCode,
    AsJson,
    Details,
    Engine,
    Fresh,
    NoReport,
    Output,
    Samples,
    Scheduler,
    StudyPath,
    Workers,
    strict,
)
from explorer.console.telling import (
    complain,
    leave,
    note_failures,
    print_json,
    progress_shown,
    say,
    tell_problems,
)
from explorer.console.working import chosen_engine, load, report_of, results_place

_AFTER_COMPARING = (
    "To go on with a build put what it sets under [inputs] and run the study again; measure first what "
    "could change the choice. A pass is a prediction, never a clearance to run."
)
_AFTER_EXPLORING = (
    "To take a value up put it under [inputs] and run the study again; on the track raise the speed in these "
    "steps. All of it is a prediction, never a clearance to run."
)
_DETAILS = "Run with --details to have tables and differences here; the report has them all."

if TYPE_CHECKING:
    from explorer.engine.execution import Execution
    from explorer.graph.arrays import Array
    from explorer.results.comparison import Comparison
    from explorer.results.exploration import Exploration, HighestSpeeds
    from explorer.results.folder import ResultsFolder
    from explorer.study.study import Study
    from reports.report import Report


def compare(
    study: StudyPath,
    output: Output = None,
    samples: Samples = None,
    workers: Workers = None,
    engine: Engine = None,
    scheduler: Scheduler = None,
    fresh: Fresh = False,
    no_report: NoReport = False,
    details: Details = False,
    strict: Annotated[bool, strict("a candidate meets every limit")] = False,
    json: AsJson = False,
    allow_code: AllowCode = False,
) -> None:
    """Set candidate builds and the car as it stands side by side.

    All are tried on the same predicted cars: verdicts, differences, which to build, what to measure first.
    """
    from explorer.design.comparison import compare
    from explorer.results.json import json_data
    from reports.sections import candidates
    from reports.terminal import show, show_blocks

    loaded = load(study, allow_code)
    folder = output or loaded.folder / "results"
    with _way(folder, loaded, ("candidates",), workers, engine, scheduler, fresh, quiet=json) as (
        place,
        execution,
    ):
        found, values = compare(loaded, samples=samples, execution=execution)
        kept = {"candidates": values.columns()} if loaded.keep_samples else {}
        report, problems = _filed(loaded, place, execution, no_report, kept, candidates=found)
    if json:
        named = report.summary.candidates
        data = {"headline": candidates.headline(named or found), **json_data(found)}
        print_json({**data, "folder": str(folder), "problems": problems})
        tell_problems(problems)
    else:
        if details:
            show([candidates.build(report)])
        else:
            show_blocks(candidates.in_short(report))
        _say_where(folder, problems, _AFTER_COMPARING if details else f"{_AFTER_COMPARING} {_DETAILS}")
    leave(execution.stages, NOT_PASSED if strict and not found.recommended else DONE)


def explore(
    study: StudyPath,
    output: Output = None,
    candidate: Annotated[
        str | None,
        typer.Option(
            help="Candidate to explore around; the study as it stands by default.", metavar="<name>"
        ),
    ] = None,
    samples: Samples = None,
    only: Annotated[
        list[str] | None,
        typer.Option(
            help="Part to do: speed, questions, maps or search; may be repeated. All by default.",
            metavar=WORD,
        ),
    ] = None,
    workers: Workers = None,
    engine: Engine = None,
    scheduler: Scheduler = None,
    fresh: Fresh = False,
    no_report: NoReport = False,
    details: Details = False,
    strict: Annotated[bool, strict("every part finds something that meets the limits")] = False,
    json: AsJson = False,
    allow_code: AllowCode = False,
) -> None:
    """Find allowed speeds, values that are enough, and the best build.

    The steps of a test day, your own questions, maps of what conforms, and a search over all levers.
    """
    from explorer.console.terminal import speeds_as_data
    from explorer.design.exploration import explore, found_conforming, parts_named
    from explorer.results.extras import kept_parts
    from explorer.results.json import json_data
    from explorer.study.builds import find_build
    from reports.sections import design, speed_steps
    from reports.terminal import show, show_blocks, words

    parts = parts_named(only)
    loaded = load(study, allow_code)
    build = find_build(loaded, candidate)
    folder = output or loaded.folder / "results"
    renewed = ("design", "highest_speed")
    with _way(folder, loaded, renewed, workers, engine, scheduler, fresh, quiet=json) as (place, execution):
        exploration, speeds = explore(loaded, build=build, parts=parts, samples=samples, execution=execution)
        if exploration is not None and only:
            exploration = kept_parts(folder, loaded, exploration)
        report, problems = _filed(
            loaded, place, execution, no_report, design=exploration, highest_speed=speeds
        )
    if json:
        data = {}
        if exploration is not None:
            headline = words(design.headline(report.summary.design or exploration, report.limit_names))
            data["design"] = {"headline": headline, **json_data(exploration)}
        if speeds is not None:
            data |= speeds_as_data(report)
        print_json({**data, "folder": str(folder), "problems": problems})
        tell_problems(problems)
    else:
        found = [(speed_steps, speeds), (design, exploration)]
        if details:
            show([section.build(report) for section, one in found if one is not None])
        else:
            show_blocks(
                [block for section, one in found if one is not None for block in section.in_short(report)]
            )
        _say_where(folder, problems, _AFTER_EXPLORING if details else f"{_AFTER_EXPLORING} {_DETAILS}")
    leave(execution.stages, NOT_PASSED if strict and not found_conforming(exploration, speeds) else DONE)


@contextmanager
def _way(
    folder: Path,
    study: Study,
    renewed: Sequence[str],
    workers: int | None,
    engine: str | None,
    scheduler: str | None,
    fresh: bool,
    *,
    quiet: bool,
) -> Iterator[tuple[ResultsFolder, Execution]]:
    """Gather workers, a progress bar and the checkpoint; tell what becomes of results that are there."""
    from explorer.engine.workers import workers_for
    from explorer.results.extras import words_on_change

    chosen = chosen_engine(engine, workers)
    try:
        with (
            results_place(folder, study, study.samples, fresh) as (place, checkpoint),
            workers_for(chosen, workers=workers, scheduler=scheduler) as gathered,
            progress_shown(quiet) as progress,
        ):
            for words in words_on_change(folder, study, renewed):
                complain(f"squatline: {words}")
            yield place, replace(gathered, progress=progress, checkpoint=checkpoint)
    except KeyboardInterrupt:
        complain("squatline: finished parts are kept; the same command goes on from there")
        raise


def _filed(
    study: Study,
    place: ResultsFolder,
    execution: Execution,
    no_report: bool,
    samples: Mapping[str, Mapping[str, Array]] | None = None,
    **findings: Comparison | Exploration | HighestSpeeds | None,
) -> tuple[Report, tuple[str, ...]]:
    """Add findings to the results of the study's run, made first where there is none, and to its report."""
    from explorer.pipeline import run as run_study
    from explorer.results.extras import add_findings, run_there
    from explorer.results.stored import Results, load_results
    from reports.report import Report

    if run_there(place.path, study) is None:
        results = run_study(study, execution=execution)
        results.put_into(place)
        execution.checkpoint.forget_runs()
        note_failures(execution.stages, results)
    found = {name: one for name, one in findings.items() if one is not None}
    summary = add_findings(place, study, found, samples)
    problems = (
        ()
        if no_report
        else report_of(load_results(place.path), place.path, execution.progress, execution.stages)
    )
    return Report(Results(summary, None)), problems


def _say_where(folder: Path, problems: tuple[str, ...], closing: str) -> None:
    from reports.blocks import Paragraph
    from reports.terminal import show_blocks

    for name in ("report.html", "report.pdf", "candidates.json", "design.json", "highest_speed.json"):
        if (folder / name).exists():
            say(folder / name)
    show_blocks((Paragraph((closing,)),))
    tell_problems(problems)
