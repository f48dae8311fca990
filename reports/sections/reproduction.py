"""The statistics behind the verdicts, and what it takes to get the same numbers again."""

from __future__ import annotations

from reports.blocks import Block, Code, Facts, Heading, Line, Link, Paragraph, Section
from reports.formatting import count
from reports.report import Report
from reports.sections import cars_and_days
from reports.sections.verdicts import ENOUGH, enough, guard_bands


def build(report: Report) -> Section:
    """Everything a run depends on."""
    made = report.summary.reproduction
    link: Line = ("; ", Link("were they enough?", ENOUGH)) if report.summary.convergence else ()
    pairs: tuple[tuple[str, Line], ...] = (
        ("Command", (Code(made.command),)),
        ("Study file", (made.study_file,)),
        ("SHA-256 of the study", (Code(made.study_sha256),)),
        ("Seed", (str(made.seed),)),
        ("Samples", (f"{count(made.samples)} ({made.design}), in chunks of {count(made.chunk)}", *link)),
        ("Version", (f"squatline {made.version}",)),
        ("Python", (made.python,)),
        ("Libraries", (", ".join(f"{name} {version}" for name, version in made.libraries),)),
        ("Computed", (made.created,)),
    )
    words = (
        "The same study, seed and versions give the same numbers to the last digit, "
        "on any number of processors."
    )
    blocks: list[Block] = [guard_bands(report), *cars_and_days.ignorance_or_day(report), *enough(report)]
    blocks += [Heading("How to get the same numbers again"), Paragraph((words,)), Facts(pairs)]
    if not report.summary.failures:
        blocks.insert(0, Paragraph(("Every model gave an answer for every sample.",)))
    return Section("reproduction", "Statistics and reproduction", tuple(blocks), appendix=True)
