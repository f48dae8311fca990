"""What the commands print: tables in words for people, plain data for machines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, TextColumn, TimeElapsedColumn, TimeRemainingColumn
from rich.progress import Progress as Bar
from rich.text import Text

from explorer.engine.plan import Progress
from explorer.graph.words import in_unit
from explorer.graph.written import chance
from explorer.results.changes import MOST_REASONS, ChangedVerdict
from explorer.results.json import json_data
from explorer.results.records import LimitRecord
from explorer.results.stored import Results
from reports.blocks import Bullets, Column, Line, Table, cell
from reports.findings import in_both_words
from reports.formatting import share
from reports.page import imprint
from reports.report import Report
from reports.screen import Screen
from reports.sections import SECTIONS, speed_steps
from reports.sections.decision import in_short
from reports.terminal import screen, show, show_blocks, words

# Sections of the report that a run prints as well.
OF_A_RUN = (
    "glance",
    "verdicts",
    "hazards",
    "seldom",
    "sensitivity",
    "measuring",
    "measured_alone",
    "validation",
    "fits",
    "failures",
)


@contextmanager
def progress_bar(hidden: bool = False) -> Iterator[Progress]:
    """Give a progress report that draws a bar with the time left, on a terminal only."""
    screen = Screen(stderr=True)
    if hidden or not screen.is_terminal:
        yield lambda stage, done, total: None
        return
    columns = (
        TextColumn("{task.description:24}", markup=False),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
        TextColumn("left"),
        TimeRemainingColumn(),
    )
    with Bar(*columns, console=screen, transient=True) as bar:
        tasks: dict[str, Any] = {}

        def report(stage: str, done: int, total: int) -> None:
            if stage not in tasks:
                tasks[stage] = bar.add_task(stage, total=total)
            bar.update(tasks[stage], completed=done, total=total)

        yield report


def show_run(results: Results, folder: Path, details: bool = False) -> None:
    """Print the decision, a line a limit and what to do, and where the report lies; or sections of it too."""
    report = Report(results)
    out = screen()
    show_blocks(in_short(report), out)
    if details:
        show((SECTIONS[name](report) for name in OF_A_RUN), out)
    out.print()
    out.print(Text(f"{results.summary.title} ({imprint(report)})", style="dim"))
    _show_files(out, folder)
    out.print(Text(_closing(results, folder, details)), soft_wrap=False)


def _closing(results: Results, folder: Path, details: bool) -> str:
    """Say what to do now."""
    first = "Do what stands under “What next?”, put the new numbers into the study and run it again."
    if results.summary.verdict == "pass" and results.summary.safety_names:
        first = "Read the hazards and cautions, then raise the speed in steps."
    read = next((name for name in ("report.pdf", "report.html") if (folder / name).exists()), None)
    begin = f"Read {read} from its first page. " if read else f"squatline report {folder} draws the report. "
    return begin + first + ("" if details else " Run with --details to have more of it here.")


def show_changes(changed: Sequence[ChangedVerdict]) -> None:
    """Print the verdicts that are others than in the results that were replaced, and why."""
    lines: list[Line] = []
    for one in changed:
        was, now = (
            f"{found.verdict}, {share(found.probability)}" if found else "not asked"
            for found in (one.before, one.after)
        )
        why = ""
        if one.before and one.after:
            more = len(one.why) - MOST_REASONS
            why = "; ".join(one.why[:MOST_REASONS]) or "none of its inputs changed"
            why = f" ({why}" + (f"; and {more} more)" if more > 0 else ")")
        lines.append((f"changed: {one.limit}: {was} -> {now}{why}",))
    if lines:
        show_blocks([Bullets(tuple(lines))])


def _show_files(out: Console, folder: Path) -> None:
    for name in ("report.html", "report.pdf", "summary.json", "samples.parquet"):
        if (folder / name).exists():
            out.print(Text(f"{folder / name}"), soft_wrap=True)


def summary_as_data(results: Results, folder: Path, problems: tuple[str, ...]) -> dict[str, Any]:
    """Return the verdicts as plain data; the whole summary lies in the folder."""
    return {
        "verdict": results.summary.verdict,
        "folder": str(folder),
        "samples": results.summary.reproduction.samples,
        "limits": [
            {
                "name": limit.name,
                "throttle": limit.throttle,
                "verdict": limit.conformance.verdict,
                "probability": limit.conformance.probability,
                "low": limit.conformance.low,
                "high": limit.conformance.high,
                "required": limit.probability,
                "safety": limit.safety,
                "decides": limit.conformance.decides,
                **_surely(limit),
            }
            for limit in results.summary.limits
        ],
        "today": {one.key: in_unit(one.words, one.display_unit) for one in results.summary.today},
        **speeds_as_data(Report(results)),
        "failures": [
            f"{f.output} ({f.condition}): {f.count} without an answer, {f.meaning}"
            for f in results.summary.failures
        ],
        "warnings": [in_unit(one) for one in results.summary.every_warning],
        "unfinished": [failure.words for failure in results.summary.unfinished],
        "problems": list(problems),
        "stages": dict(results.stages),
    }


def _surely(limit: LimitRecord) -> dict[str, Any]:
    """Return how sure a limit is that asks it, in numbers and in words."""
    found = limit.sureness
    if found is None:
        return {}
    numbers = {
        key: getattr(found, key) for key in ("sure", "often_enough", "low", "high", "average", "at_least")
    }
    return {"sureness": {**numbers, "words": f"met in {in_both_words(found)}"}}


def speeds_as_data(report: Report) -> dict[str, Any]:
    """Return up to which speeds the safety limits hold, where that was asked."""
    found = report.summary.highest_speed
    if found is None:
        return {}
    headline = words(speed_steps.headline(found.states, report.speed_unit))
    return {"highest_speed": {"headline": headline, **json_data(found)}}


def show_stages(stages: Sequence[tuple[str, float]]) -> None:
    """Print how long each stage took, and its share of the whole."""
    total = sum(seconds for _, seconds in stages)
    columns = (Column("stage"), Column("seconds", number=True), Column("share", number=True))
    rows = tuple(
        (cell(name), cell(f"{seconds:.2f}"), cell(chance(seconds / total))) for name, seconds in stages
    )
    show_blocks([Table("stages", f"Stages, {total:.1f} s in all", columns, rows)])
