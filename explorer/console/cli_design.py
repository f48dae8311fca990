"""The commands about choosing what to build: ``compare`` and ``explore``.

Both keep finished parts, so that a stopped command goes on where it was, and add what they find to the
results and the report of the study's run, which they make first where there is none.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from explorer.console.cli import (
    DONE,
    NOT_PASSED,
    AllowCode,
    AsJson,
    Engine,
    Fresh,
    Scheduler,
    StudyPath,
    Workers,
    _complain,
    _engine,
    _leave,
    _load,
    _note_failures,
    _print_json,
    _progress,
    _report_of,
    _say,
    _tell,
    app,
    strict,
)

if TYPE_CHECKING:
    from explorer.design.resuming import Way
    from explorer.results.comparison import Comparison
    from explorer.results.exploration import Exploration, HighestSpeeds
    from explorer.study.study import Study
    from reports.report import Report

Output = Annotated[
    Path | None,
    typer.Option("--output", "-o", help="Folder of the results; 'results' beside the study by default."),
]
NoReport = Annotated[bool, typer.Option("--no-report", help="Leave the data, draw no report.")]


@app.command()
def compare(
    study: StudyPath,
    output: Output = None,
    samples: Annotated[
        int | None, typer.Option(min=100, max=100_000_000, help="Samples instead of the study's own.")
    ] = None,
    workers: Workers = None,
    engine: Engine = None,
    scheduler: Scheduler = None,
    fresh: Fresh = False,
    no_report: NoReport = False,
    strict: Annotated[bool, strict("a candidate meets every limit")] = False,
    json: AsJson = False,
    allow_code: AllowCode = False,
) -> None:
    """Compare the candidates of a study: verdicts side by side, differences, ranks, what to measure first."""
    from explorer.design.comparison import run_comparison
    from explorer.results.json import json_data
    from reports.sections import candidates
    from reports.terminal import show

    loaded = _load(study, allow_code)
    folder = output or loaded.folder / "results"
    with _way(folder, loaded, workers, engine, scheduler, fresh, quiet=json) as way:
        found, values = run_comparison(loaded, samples=samples, way=way)
        report, problems = _filed(loaded, folder, way, no_report, candidates=found)
        if loaded.keep_samples:
            values.frame().to_parquet(folder / "candidates.parquet", index=False)
    if json:
        data = {"headline": candidates.headline(found), **json_data(found)}
        _print_json({**data, "folder": str(folder), "problems": problems})
        _tell(problems)
    else:
        show([candidates.build(report)])
        _say_where(folder, problems)
    _leave(way.stages, NOT_PASSED if strict and not found.recommended else DONE)


@app.command()
def explore(
    study: StudyPath,
    output: Output = None,
    candidate: Annotated[
        str | None, typer.Option(help="Candidate to explore around; the study as it stands by default.")
    ] = None,
    only: Annotated[
        list[str] | None,
        typer.Option(help="Part to do: speed, questions, maps or search; may be repeated. All by default."),
    ] = None,
    workers: Workers = None,
    engine: Engine = None,
    scheduler: Scheduler = None,
    fresh: Fresh = False,
    no_report: NoReport = False,
    strict: Annotated[bool, strict("every part finds something that meets the limits")] = False,
    json: AsJson = False,
    allow_code: AllowCode = False,
) -> None:
    """Explore what to build: highest conforming speed, inverse questions, maps, trade-offs, best build."""
    from explorer.design.exploration import found_conforming, parts_named, run_exploration
    from explorer.results.extras import kept_parts
    from explorer.results.json import json_data
    from explorer.study.builds import find_build
    from reports.sections import design, speed_steps
    from reports.terminal import show, words

    parts = parts_named(only)
    loaded = _load(study, allow_code)
    build = find_build(loaded, candidate)
    folder = output or loaded.folder / "results"
    with _way(folder, loaded, workers, engine, scheduler, fresh, quiet=json) as way:
        exploration, speeds = run_exploration(loaded, build=build, parts=parts, way=way)
        if exploration is not None and only:
            exploration = kept_parts(folder, loaded, exploration)
        report, problems = _filed(loaded, folder, way, no_report, design=exploration, highest_speed=speeds)
    if json:
        data = {}
        if exploration is not None:
            headline = words(design.headline(exploration, report.limit_names))
            data["design"] = {"headline": headline, **json_data(exploration)}
        if speeds is not None:
            headline = words(speed_steps.headline(speeds, report.speed_unit))
            data["highest_speed"] = {"headline": headline, **json_data(speeds)}
        _print_json({**data, "folder": str(folder), "problems": problems})
        _tell(problems)
    else:
        show(
            [
                speed_steps.build(report) if speeds is not None else None,
                design.build(report) if exploration is not None else None,
            ]
        )
        _say_where(folder, problems)
    _leave(way.stages, NOT_PASSED if strict and not found_conforming(exploration, speeds) else DONE)


@contextmanager
def _way(
    folder: Path,
    study: Study,
    workers: int | None,
    engine: str | None,
    scheduler: str | None,
    fresh: bool,
    *,
    quiet: bool,
) -> Iterator[Way]:
    """Gather workers, a progress bar and the store; tell a user who stops a long run how to go on."""
    from explorer.design.resuming import Way
    from explorer.engine.checkpoint import open_store
    from explorer.engine.execution import crew

    chosen = _engine(engine, workers)
    try:
        with (
            crew(chosen, workers=workers, scheduler=scheduler) as gathered,
            _progress(quiet) as progress,
            open_store(folder, study, fresh=fresh) as store,
        ):
            yield Way(gathered.workers, gathered.executor, progress, store)
    except KeyboardInterrupt:
        _complain("squatline: finished parts are kept; the same command goes on from there")
        raise


def _filed(
    study: Study,
    folder: Path,
    way: Way,
    no_report: bool,
    *,
    candidates: Comparison | None = None,
    design: Exploration | None = None,
    highest_speed: HighestSpeeds | None = None,
) -> tuple[Report, tuple[str, ...]]:
    """Add findings to the results of the study's run, made first where there is none, and to its report."""
    from explorer.results.extras import add_findings, is_run_of
    from explorer.results.records import Results, load_results
    from reports.report import Report

    if not is_run_of(folder, study):
        _run_first(study, folder, way)
    summary = add_findings(folder, candidates=candidates, design=design, highest_speed=highest_speed)
    problems = () if no_report else _report_of(load_results(folder), folder, way.progress, way.stages)
    return Report(Results(summary, None)), problems


def _run_first(study: Study, folder: Path, way: Way) -> None:
    from explorer.engine.ledger import forget_runs, store_for_run
    from explorer.pipeline import run as run_study

    with store_for_run(folder, study, study.samples) as store:
        results = run_study(
            study, workers=way.workers, executor=way.executor, progress=way.progress, store=store
        )
        results.save(folder)
        forget_runs(store)
    _note_failures(way.stages, results)


def _say_where(folder: Path, problems: tuple[str, ...]) -> None:
    for name in ("report.html", "report.pdf", "candidates.json", "design.json", "highest_speed.json"):
        if (folder / name).exists():
            _say(folder / name)
    _tell(problems)
