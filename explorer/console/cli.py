"""The command line: thin, and quick to answer; everything heavy is imported when it is needed.

Exit status: as ``EXIT_STATUS`` says; besides, 3 a fault of the program, 141 nobody reads its output any more.
"""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from explorer.console.plain_output import write_plainly
from explorer.console.room import require_room
from explorer.errors import Faults, SquatlineError, with_file
from explorer.files.characters import visible

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from explorer.engine.checkpoint import Checkpoint
    from explorer.engine.plan import Progress
    from explorer.engine.stages import Stages
    from explorer.results.folder import ResultsFolder
    from explorer.results.records import Results
    from explorer.study.study import Study
    from reports import Rendered

# Drawn at the most when a run goes on until its limits are decided.
MOST_SAMPLES = 2_000_000

DONE, NOT_PASSED, WRONG_INPUT, FAULT, INTERRUPTED, UNREAD = 0, 1, 2, 3, 130, 141
# As for wrong input: what was asked for is not all there.
UNFINISHED = WRONG_INPUT
EXIT_STATUS = (
    "Exit status: 0 the command did its work, whatever it found; 1 with --strict, where a limit does not "
    "pass; 2 the input was wrong, or not all that was asked for could be done; 130 interrupted."
)

app = typer.Typer(
    name="squatline",
    help="Explore the design of a fast model car with a movable rear wing: what it will do, how sure that "
    "is, and what to measure first. A pass is a prediction, never a clearance to run.",
    epilog=EXIT_STATUS,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

GREETING = """squatline: what a fast model car with a movable rear wing will do, how sure that is, and what to
measure first. A pass is a prediction, never a clearance to run. To begin with:

  squatline new my-car      write a study, commented line by line, that runs as it is
  squatline check my-car    after each change: what it understood
  squatline run my-car      draw the cars, judge the limits, write the report

'squatline --help' lists the other commands; 'squatline explain spring' looks words up."""

StudyPath = Annotated[
    Path, typer.Argument(help="Folder with a study.toml, or the file itself.", show_default=False)
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of tables.")]
AllowCode = Annotated[
    bool, typer.Option("--allow-code", help="Run the Python file of own quantities that the study names.")
]
Workers = Annotated[
    int | None, typer.Option(min=1, max=1024, help="Workers to compute with; one a processor by default.")
]
Engine = Annotated[
    str | None,
    typer.Option(
        help="Where to compute: threads, processes or dask; by default processes where there are several "
        "processors. The numbers are the same.",
        show_default=False,
    ),
]
Scheduler = Annotated[
    str | None,
    typer.Option(
        help="Address of a Dask scheduler, such as tcp://10.0.0.5:8786; without one, dask starts a cluster "
        "on this machine.",
        show_default=False,
    ),
]
Fresh = Annotated[bool, typer.Option("--fresh", help="Compute again what an earlier call has finished.")]


def strict(unless: str) -> Any:
    """Return the option by which a command judges with its exit status what it has found."""
    return typer.Option("--strict", help=f"End with status 1 unless {unless}.")


def main() -> None:
    """Run the command line and leave with its exit status; a user never sees a traceback."""
    # Threads of the linear algebra library cost more than they bring beside those of the engine.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    write_plainly()
    try:
        require_room()
        sys.exit(_status())
    except SquatlineError as error:
        from explorer.study.places import placed

        _complain(f"squatline: {placed(error)}")
        sys.exit(WRONG_INPUT)
    except (KeyboardInterrupt, typer.Abort) as error:
        if isinstance(error.__cause__, EOFError):  # the library takes a lost process for a closed input
            _usage_or_fault(error)
        _complain(
            "squatline: interrupted; nothing was left half-written, and a long command goes on where it was "
            "when it is given again"
        )
        sys.exit(INTERRUPTED)
    except BrokenPipeError:
        # The reader of a pipe has gone; Python would complain again while flushing at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(UNREAD)
    except Exception as error:
        _usage_or_fault(error)


def _status() -> int:
    """Do as told; outside its own standalone mode the library hands even an interruption back as a status."""
    status: int = app(standalone_mode=False) or DONE
    if status == INTERRUPTED:
        raise KeyboardInterrupt
    return status


def _usage_or_fault(error: BaseException) -> NoReturn:
    if hasattr(error, "format_message") and hasattr(error, "exit_code"):
        _complain(
            f"squatline: {error.format_message()}\n"
            "  remedy:  'squatline --help' lists the commands and options"
        )
        sys.exit(WRONG_INPUT)
    if os.environ.get("SQUATLINE_TRACE"):
        raise error
    from explorer.console.refusals import refusal

    if told := refusal(error):
        _complain(f"squatline: {told}")
        sys.exit(WRONG_INPUT)
    _complain(
        f"squatline: a fault of the program itself: {type(error).__name__}: {error}\n"
        "  remedy:  run again with SQUATLINE_TRACE=1 in the environment and report what it prints"
    )
    sys.exit(FAULT)


def _say(text: object) -> None:
    print(visible(str(text)))


def _complain(text: str) -> None:
    print(visible(text), file=sys.stderr)


def _load(path: Path, allow_code: bool) -> Study:
    from explorer.study.study import load_study

    return load_study(path, allow_code=allow_code)


def _print_json(value: Any) -> None:
    from explorer.results.json import json_text

    print(json_text(value))


@contextmanager
def _progress(quiet: bool) -> Iterator[Progress]:
    """Show a bar with the time left on a terminal, and nothing elsewhere."""
    from explorer.console.terminal import progress_bar

    with progress_bar(hidden=quiet) as report:
        yield report


def _tell_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        _say(f"squatline {version('squatline')}")
        raise typer.Exit(DONE)


@app.callback(invoke_without_command=True)
def begin(
    context: typer.Context,
    version: Annotated[
        bool,
        typer.Option("--version", callback=_tell_version, is_eager=True, help="Say which version it is."),
    ] = False,
) -> None:
    """Greet who gives no command."""
    if context.invoked_subcommand is None:
        _say(GREETING)


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="Folder to write the study into; it must not hold one.")],
    flaps: Annotated[int, typer.Option(help="Flaps on one servo whose mechanism is looked at: 0 to 3.")] = 0,
    drive: Annotated[str, typer.Option(help="power: shaft power; electric: battery, motor, gear.")] = "power",
    wake: Annotated[bool, typer.Option("--wake", help="It follows another car.")] = False,
    brakes: Annotated[
        str | None, typer.Option(help="ideal, balance, fitted or none; left out, stopping is not looked at.")
    ] = None,
    suspension: Annotated[
        str, typer.Option(help="wheel-rate: rates at the wheel; spring: springs, motion ratios, tyres.")
    ] = "wheel-rate",
) -> None:
    """Write a commented study of what the car has, which runs as it is."""
    from explorer.study.template import CarHas, write_template

    written = write_template(folder, CarHas(flaps, drive, brakes, suspension, wake))
    _say(
        f"wrote {written}\nnext: put your numbers in, then 'squatline check {folder}'; it runs as it is, too"
    )


@app.command()
def check(study: StudyPath, json: AsJson = False, allow_code: AllowCode = False) -> None:
    """Validate a study and show its inputs and nominal values; no sampling."""
    from explorer.analyses.measurement_value import measurements_of
    from explorer.analyses.nominal import nominal_or_error
    from explorer.console.terminal import check_as_data, show_check
    from explorer.design.exploration import prepare
    from explorer.logs.run_checks import check_logs

    loaded = _load(study, allow_code)
    faults = Faults()
    for section in (measurements_of, check_logs, prepare):
        with faults.noted(), with_file(str(loaded.path)):
            section(loaded)
    faults.tell()
    nominal = nominal_or_error(loaded)
    if json:
        _print_json(check_as_data(loaded, nominal))
    else:
        show_check(loaded, nominal)


@app.command()
def screen(
    study: StudyPath,
    rows: Annotated[int, typer.Option(min=16, max=2**16, help="Cars to start from, a power of two.")] = 128,
    json: AsJson = False,
    allow_code: AllowCode = False,
) -> None:
    """Sort out which inputs matter to no limit: a quick look at a study with many of them."""
    from explorer.analyses.screening import screen
    from explorer.console.terminal_screening import screening_as_data, show_screening

    if rows & (rows - 1):
        raise SquatlineError(
            "the cars to start from are a power of two", key="--rows", found=rows, allowed="64, 128, 256 ..."
        )
    loaded = _load(study, allow_code)
    look = screen(loaded, rows=rows)
    if json:
        _print_json(screening_as_data(look))
    else:
        show_screening(loaded, look)


@app.command()
def run(
    study: StudyPath,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", help="Folder for the results; 'results' beside the study by default."),
    ] = None,
    samples: Annotated[
        int | None, typer.Option(min=100, max=1_000_000_000, help="Samples instead of the study's own.")
    ] = None,
    workers: Workers = None,
    engine: Engine = None,
    scheduler: Scheduler = None,
    fresh: Fresh = False,
    until: Annotated[
        list[str] | None,
        typer.Option(
            help="'decided': go on until no limit is undecided; 'steady': until the figures of all outputs "
            "stand still. May be given twice; --samples is then the most to draw.",
            show_default=False,
        ),
    ] = None,
    no_report: Annotated[bool, typer.Option("--no-report", help="Leave the data, draw no report.")] = False,
    stages: Annotated[bool, typer.Option("--stages", help="Print how long each stage took.")] = False,
    details: Annotated[bool, typer.Option("--details", help="Print more of the report here.")] = False,
    strict: Annotated[bool, strict("every limit passes")] = False,
    json: AsJson = False,
    allow_code: AllowCode = False,
) -> None:
    """Sample a study, judge its limits, rank what drives them, and write the report.

    A long run that was stopped goes on where it was when the command is given again.
    """
    from explorer.engine.stages import Stages

    clock = Stages()
    with clock.stage("reading the study"):
        engine = _engine(engine, workers)
        loaded = _load(study, allow_code)
        from explorer.console.terminal import show_changes, show_run, show_stages, summary_as_data
        from explorer.engine.workers import workers_for
        from explorer.pipeline import run as run_study
        from explorer.results.changes import changed_verdicts, earlier_summary
        from explorer.results.extras import words_on_loss
    folder = output or loaded.folder / "results"
    if until:
        samples = _most_samples(until, samples)
    # How many are drawn until a rule is satisfied, nobody knows.
    expected = loaded.samples if until or samples is None else samples
    with (
        _place(folder, loaded, expected, fresh) as (place, checkpoint),
        workers_for(engine, workers=workers, scheduler=scheduler) as gathered,
        _drawing(not no_report) as beside,
        _progress(quiet=json) as progress,
    ):
        for words in words_on_loss(folder):
            _complain(f"squatline: {words}")
        results = run_study(
            loaded,
            samples=samples,
            workers=gathered.workers,
            executor=gathered.executor,
            progress=progress,
            checkpoint=checkpoint,
            until_decided="decided" in (until or ()),
            until_steady="steady" in (until or ()),
        )
        clock.times += results.stages
        _note_failures(clock, results)
        earlier = earlier_summary(folder)
        changed = changed_verdicts(earlier, results.summary) if earlier else ()
        with clock.stage("saving"):
            results = results.put_into(place)
            checkpoint.forget_runs()
        problems = () if no_report else _report_of(results, folder, progress, clock, beside)
    if json:
        told = {"changed_verdicts": changed, "stages": dict(clock.times)}
        _print_json(summary_as_data(results, folder, problems) | told)
    else:
        show_run(results, folder, details)
        show_changes(changed)
        if stages:
            show_stages(clock.times)
    _tell(problems)
    _leave(clock, NOT_PASSED if strict and results.summary.verdict != "pass" else DONE)


def _note_failures(stages: Stages, results: Results) -> None:
    """Take over what came to no result in a run."""
    stages.failures += results.summary.unfinished
    stages.errors += results.errors


def _leave(stages: Stages, status: int) -> NoReturn:
    """Leave with a status, another where a stage came to no result; a fault of the program shows where."""
    if stages.failures:
        if os.environ.get("SQUATLINE_TRACE"):
            for error in stages.errors:
                traceback.print_exception(error)
        names = ", ".join(f"“{failure.stage}”" for failure in stages.failures)
        _complain(
            f"squatline: not all could be computed, what could is written; no result of {names}\n"
            "  remedy:  see the reasons given; SQUATLINE_TRACE=1 in the environment prints where it failed"
        )
        status = UNFINISHED
    raise typer.Exit(status)


@contextmanager
def _place(
    folder: Path, study: Study, samples: int, fresh: bool
) -> Iterator[tuple[ResultsFolder, Checkpoint]]:
    """Have the folder for the results to oneself, with what an earlier call has finished there."""
    from explorer.engine.checkpoint import Checkpoint, remove_parts
    from explorer.engine.fingerprint import ASKED, CHOOSING, fingerprint
    from explorer.engine.montecarlo import room_for_samples
    from explorer.results.folder import ROOM_FOR_REPORT, results_folder

    with results_folder(folder, room=ROOM_FOR_REPORT + room_for_samples(study, samples)) as place:
        for words in place.tidied:
            _complain(f"squatline: {words}")
        if fresh:
            remove_parts(place.hidden)
        with Checkpoint(place.hidden, fingerprint(study, (*CHOOSING, *ASKED))) as checkpoint:
            if checkpoint.dropped:
                _complain("squatline: finished parts of the study with other inputs were thrown away")
            yield place, checkpoint


def _most_samples(until: list[str], samples: int | None) -> int:
    """Check what to go on until, and return the most samples to draw."""
    for one in until:
        if one not in ("decided", "steady"):
            raise SquatlineError(
                "this is nothing to go on until", key="--until", found=one, allowed="decided, steady"
            )
    return samples or MOST_SAMPLES


def _engine(engine: str | None, workers: int | None) -> str:
    """Choose where to compute; worker processes begin to start while the study is still being read."""
    from explorer.engine.processes import default_workers, warm_up

    several = (workers or default_workers()) > 1
    chosen = engine or ("processes" if several and sys.platform == "linux" else "threads")
    if chosen == "processes":
        warm_up()
    return chosen


@contextmanager
def _drawing(wanted: bool = True) -> Iterator[Executor | None]:
    """Start what draws charts beside this process, while this one has other things to do."""
    if not wanted:
        yield None
        return
    from reports.chart_worker import drawing_beside

    with drawing_beside() as executor:
        yield executor


def _report_of(
    results: Results, folder: Path, progress: Progress, stages: Stages, beside: Executor | None = None
) -> tuple[str, ...]:
    """Draw the report of results that are written; return what it lacks."""
    with stages.analysis("report"):
        rendered = _render(results, folder, progress, beside)
        if rendered.paths:
            return rendered.problems
        raise SquatlineError(rendered.problems[0])
    return (stages.failures[-1].words,)


def _render(
    results: Results, folder: Path, progress: Progress, beside: Executor | None = None, **wanted: Any
) -> Rendered:
    from reports import ReportOptions, render

    progress("report", 0, 1)
    forms = wanted.pop("forms", ("html", "pdf"))
    with nullcontext(beside) if beside else _drawing() as executor:
        rendered = render(results, folder, forms=forms, options=ReportOptions(**wanted), executor=executor)
    progress("report", 1, 1)
    return rendered


def _tell(problems: tuple[str, ...]) -> None:
    for problem in problems:
        _complain(f"! {problem}")


@app.command()
def report(
    results: Annotated[Path, typer.Argument(help="Folder that a run has written.")],
    html: Annotated[bool, typer.Option("--html", help="Only the HTML page.")] = False,
    pdf: Annotated[bool, typer.Option("--pdf", help="Only the PDF.")] = False,
    paper: Annotated[str, typer.Option(help="Paper of the PDF: A4 or Letter.")] = "A4",
    units: Annotated[str, typer.Option(help="'as given', metric, 'metric km/h' or imperial.")] = "as given",
    purpose: Annotated[
        str,
        typer.Option(
            "--for", help="'record': everything; 'review': without models and statistics; 'strip': one sheet."
        ),
    ] = "record",
    leave_out: Annotated[
        list[str] | None,
        typer.Option(
            "--leave-out", help="Section to leave out, by its name in links to it; may be repeated."
        ),
    ] = None,
    cover_text: Annotated[str, typer.Option(help="Text of your own for the first page.")] = "",
    logo: Annotated[Path | None, typer.Option(help="Picture of your own for the first page.")] = None,
) -> None:
    """Draw the report of a finished run again, without computing."""
    from explorer.results.folder import results_folder
    from explorer.results.records import load_results

    forms = tuple(form for form, wanted in (("html", html), ("pdf", pdf)) if wanted) or ("html", "pdf")
    with (
        results_folder(results, new=False) as place,
        _drawing() as beside,
        _progress(quiet=False) as progress,
    ):
        for words in place.tidied:
            _complain(f"squatline: {words}")
        rendered = _render(
            load_results(results),
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
        _say(path)
    _tell(rendered.problems)
    if not rendered.paths or (rendered.problems and (html or pdf)):
        raise typer.Exit(UNFINISHED)


@app.command()
def explain(
    words: Annotated[
        list[str] | None,
        typer.Argument(help="A quantity, or words to look it up by: 'rear spring', scrape, N/mm."),
    ] = None,
    study: Annotated[
        Path | None, typer.Option("--study", "-s", help="Show its values in this study too.")
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="List every quantity.")] = False,
    json: AsJson = False,
    allow_code: AllowCode = False,
) -> None:
    """Say what a quantity is, or find it by words: unit, formula source, what it needs, value in a study."""
    from explorer.console.explain import explain_all, explained_or_found
    from explorer.console.terminal_explain import show_explanation, show_found, show_quantities, show_subjects

    loaded = _load(study, allow_code) if study else None
    if everything:
        entries = explain_all(loaded)
        _print_json(entries) if json else show_quantities(entries)
        return
    if not words:
        from explorer.console.search import subjects

        _print_json(subjects()) if json else show_subjects(subjects())
        return
    found = explained_or_found(" ".join(words), loaded)
    if json:
        _print_json(found)
    elif isinstance(found, list):
        show_found(" ".join(words), found)
    else:
        show_explanation(found)


# Further commands register themselves on the same app; they import from here, hence at the end.
from explorer.console import cli_design, cli_desk, cli_fitting, cli_inputs  # noqa: E402, F401
