"""The commands about results: ``run`` finds them, ``report`` draws them again, ``schema`` is their shape."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from explorer.console.options import (
    DONE,
    NOT_PASSED,
    UNFINISHED,
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
from explorer.console.working import (
    chosen_engine,
    drawing,
    load,
    rendered_into,
    report_of,
    results_place,
    with_kept_values,
)
from explorer.errors import SquatlineError

# Drawn at the most when a run goes on until its limits are decided.
MOST_SAMPLES = 2_000_000


def run(
    study: StudyPath,
    output: Output = None,
    samples: Samples = None,
    workers: Workers = None,
    engine: Engine = None,
    scheduler: Scheduler = None,
    fresh: Fresh = False,
    until: Annotated[
        list[str] | None,
        typer.Option(
            help="'decided': go on until no limit is undecided; 'steady': until the figures of all outputs "
            "stand still. May be given twice; --samples is then the most to draw.",
            metavar=WORD,
            show_default=False,
        ),
    ] = None,
    no_report: NoReport = False,
    stages: Annotated[bool, typer.Option("--stages", help="Print how long each stage took.")] = False,
    details: Details = False,
    strict: Annotated[bool, strict("every limit passes")] = False,
    json: AsJson = False,
    allow_code: AllowCode = False,
) -> None:
    """Draw predicted cars, judge the limits and write the report.

    It ranks what drives the limits, too. A long run that was stopped goes on where it was when the
    command is given again.
    """
    from explorer.engine.stages import Stages

    clock = Stages()
    with clock.stage("reading the study"):
        engine = chosen_engine(engine, workers)
        loaded = load(study, allow_code)
        from explorer.console.terminal import show_changes, show_run, show_stages, summary_as_data
        from explorer.engine.workers import workers_for
        from explorer.pipeline import run as run_study
        from explorer.results.changes import changed_verdicts, earlier_summary, with_history
        from explorer.results.extras import words_on_loss
    folder = output or loaded.folder / "results"
    if until:
        samples = _most_samples(until, samples)
    # How many are drawn until a rule is satisfied, nobody knows.
    expected = loaded.samples if until or samples is None else samples
    with (
        results_place(folder, loaded, expected, fresh) as (place, checkpoint),
        workers_for(engine, workers=workers, scheduler=scheduler) as gathered,
        with_kept_values(loaded, place, engine) as keeping,
        drawing(not no_report) as beside,
        progress_shown(quiet=json) as progress,
    ):
        for words in words_on_loss(folder):
            complain(f"squatline: {words}")
        results = run_study(
            keeping,
            samples=samples,
            execution=replace(gathered, progress=progress, checkpoint=checkpoint),
            until_decided="decided" in (until or ()),
            until_steady="steady" in (until or ()),
        )
        clock.times += results.stages
        note_failures(clock, results)
        earlier = earlier_summary(folder)
        changed = changed_verdicts(earlier, results.summary) if earlier else ()
        results = replace(results, summary=with_history(earlier, results.summary))
        with clock.stage("saving"):
            results = results.put_into(place)
            checkpoint.forget_runs()
        problems = () if no_report else report_of(results, folder, progress, clock, beside)
    if json:
        told = {"changed_verdicts": changed, "stages": dict(clock.times)}
        print_json(summary_as_data(results, folder, problems) | told)
    else:
        show_run(results, folder, details)
        show_changes(changed)
        if stages:
            show_stages(clock.times)
    tell_problems(problems)
    leave(clock, NOT_PASSED if strict and results.summary.verdict != "pass" else DONE)


def _most_samples(until: list[str], samples: int | None) -> int:
    """Check what to go on until, and return the most samples to draw."""
    for one in until:
        if one not in ("decided", "steady"):
            raise SquatlineError(
                "this is nothing to go on until", key="--until", found=one, allowed="decided, steady"
            )
    return samples or MOST_SAMPLES


def report(
    results: Annotated[Path, typer.Argument(help="Folder that a run has written.")],
    html: Annotated[bool, typer.Option("--html", help="Only the HTML page.")] = False,
    pdf: Annotated[bool, typer.Option("--pdf", help="Only the PDF.")] = False,
    paper: Annotated[str, typer.Option(help="Paper of the PDF: A4 or Letter.", metavar=WORD)] = "A4",
    units: Annotated[
        str, typer.Option(help="'as given', metric, 'metric km/h' or imperial.", metavar=WORD)
    ] = "as given",
    purpose: Annotated[
        str,
        typer.Option(
            "--for",
            help="'record': everything; 'review': without models and statistics; 'strip': one sheet.",
            metavar=WORD,
        ),
    ] = "record",
    leave_out: Annotated[
        list[str] | None,
        typer.Option(
            "--leave-out",
            metavar=WORD,
            help="Section to leave out; may be repeated. "
            "One of decision, actions, signatures, glance, verdicts, failing, levers, measuring, "
            "candidates, whatif, hazards, speed_steps, linkage, runs, sweeps, sensitivity, design, "
            "validation, fits, failures, inputs, models, reproduction, glossary, assumptions, "
            "distributions, outputs, sideview, more_sweeps, seldom, push, failing_others, drivers, "
            "steps, measured_alone, history.",
        ),
    ] = None,
    cover_text: Annotated[
        str, typer.Option(help="Text of your own for the first page.", metavar="<text>")
    ] = "",
    logo: Annotated[Path | None, typer.Option(help="Picture of your own for the first page.")] = None,
) -> None:
    """Draw the report of a finished run again, without computing."""
    from explorer.results.folder import results_folder
    from explorer.results.stored import load_results

    forms = tuple(form for form, wanted in (("html", html), ("pdf", pdf)) if wanted) or ("html", "pdf")
    with results_folder(results, new=False) as place:
        for words in place.tidied:
            complain(f"squatline: {words}")
        found = load_results(results)
        with drawing() as beside, progress_shown(quiet=False) as progress:
            rendered = rendered_into(
                found,
                results,
                progress,
                beside,
                forms=forms,
                paper=paper,
                units=units,
                purpose=purpose,
                leave_out=tuple(leave_out or ()),
                cover_text=cover_text,
                logo=logo,
            )
    for path in rendered.paths.values():
        say(path)
    tell_problems(rendered.problems)
    if not rendered.paths or (rendered.problems and (html or pdf)):
        raise typer.Exit(UNFINISHED)


def schema() -> None:
    """Print the JSON schema of the file that programs read."""
    from explorer.results.stored import summary_schema

    print_json(summary_schema())
