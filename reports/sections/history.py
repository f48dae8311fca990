"""Each verdict over the runs of the study so far, and what changed from one run to the next."""

from __future__ import annotations

from explorer.graph.written import listed
from explorer.results.changes import MOST_REASONS
from explorer.results.history import EarlierRun
from explorer.results.records import Summary
from reports.blocks import Bullets, Column, Figure, Line, Section, Strong, Table, cell
from reports.charts_of_limits import verdict_matrix
from reports.formatting import count, counted, share
from reports.report import Report

# Runs drawn, the latest ones.
_DRAWN = 6


def build(report: Report) -> Section | None:
    """Draw every verdict over the runs, and list what changed."""
    runs = report.summary.history[-_DRAWN:]
    if len(runs) < 2:
        return None
    lines = tuple(_changed(place, run) for place, run in enumerate(runs, start=1))
    return Section(
        "history", "Verdicts over the runs so far", (_figure(report, runs), Bullets(lines)), appendix=True
    )


def turned(summary: Summary) -> str:
    """Say which verdicts the last change turned; nothing where there was no run before."""
    if len(summary.history) < 2:
        return ""
    before, after = (run.verdicts for run in summary.history[-2:])
    others = [
        f"“{name}” from {before[name].verdict} to {now.verdict}"
        for name, now in after.items()
        if name in before and before[name].verdict != now.verdict
    ]
    return (
        f"Since the run before: {listed(others)}." if others else "No verdict changed since the run before."
    )


def _changed(place: int, run: EarlierRun) -> Line:
    left = len(run.changed) - MOST_REASONS
    said = [*run.changed[:MOST_REASONS], *([f"{left} more"] if left > 0 else [])]
    words = "; ".join(said) if said else "the first run that is known"
    return (Strong(f"Run {place}"), f" ({run.created}, {count(run.samples)} cars): {words}.")


def _figure(report: Report, runs: tuple[EarlierRun, ...]) -> Figure:
    names = [limit.name for limit in report.summary.limits]
    found = [
        (name, f"Run {place}", run.verdicts[name].verdict, share(run.verdicts[name].probability))
        for name in names
        for place, run in enumerate(runs, start=1)
        if name in run.verdicts
    ]
    then, now = ([one.verdict for one in run.verdicts.values()].count("pass") for run in (runs[0], runs[-1]))
    ago = counted(len(runs) - 1, "run")
    finding = f"Of {counted(len(names), 'limit')} {now} pass; {then} did {ago} ago. "
    return Figure(
        name="verdicts-over-runs",
        title="Verdict on each limit, run by run",
        alternative=(f"A matrix of limits by runs. {finding}", turned(report.summary)),
        caption=(finding, turned(report.summary), " In each cell the share of cars that meet the limit."),
        draw=lambda: verdict_matrix(found),
        numbers=Table(
            "verdicts-over-runs",
            "Verdict and share of cars that meet the limit.",
            (Column("Limit"), Column("Run"), Column("Verdict"), Column("Met by", number=True)),
            tuple(tuple(map(cell, one)) for one in found),
            small=True,
        ),
    )
