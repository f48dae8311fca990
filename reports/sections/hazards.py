"""What may happen to people: each safety limit, what the car does when it is not held, and what moves it."""

from __future__ import annotations

from explorer.results.records import LimitRecord
from reports.blocks import (
    Block,
    Bullets,
    Cell,
    Column,
    Link,
    Note,
    Paragraph,
    Quiet,
    Section,
    Table,
    Verdict,
    cell,
)
from reports.findings import by_severity, leading
from reports.formatting import share, share_range
from reports.report import NO_CLEARANCE, Report, asked, sentence


def build(report: Report) -> Section:
    """Table of the safety limits, with the cautions that belong to the method."""
    safety = [limit for limit in by_severity(report.summary) if limit.safety]
    blocks: list[Block] = [Note("These cars hurt people", (NO_CLEARANCE,))]
    if safety:
        blocks.append(_table(report, safety))
    else:
        blocks.append(
            Paragraph(
                (
                    "The study marks no limit as a safety limit. That is a gap in the study, not an "
                    "absence of hazards.",
                )
            )
        )
    if report.summary.rare:
        blocks.append(
            Paragraph(
                (
                    "Failures too rare to count among these cars were searched for: see the ",
                    Link("appendix", "seldom"),
                    ".",
                ),
                aside=True,
            )
        )
    if report.summary.cautions:
        cautions = tuple((sentence(text),) for text in report.summary.cautions)
        blocks.append(Bullets(cautions, aside=True))
    return Section("hazards", "Hazards and cautions", tuple(blocks))


def _table(report: Report, safety: list[LimitRecord]) -> Table:
    return Table(
        "hazard",
        "Safety limits. The probability is that of a car, built and measured as given here, that "
        "misses the limit.",
        (
            Column("Requirement", width=28),
            Column("If it fails", width=28),
            Column("Probability", number=True, width=12),
            Column("Main driver", width=17),
            Column("Verdict", width=15),
        ),
        tuple(_row(report, limit) for limit in safety),
        small=True,
        aside=True,
    )


def _row(report: Report, limit: LimitRecord) -> tuple[Cell, ...]:
    found = limit.conformance
    driver = leading(limit)
    nothing = "not ranked" if limit.sensitivity is None else "nothing stands out"
    return (
        cell(
            limit.name,
            ": ",
            *asked(limit),
            order=limit.name,
        ),
        cell(sentence(limit.why) if limit.why else Quiet("The study does not say.")),
        cell(
            share(1 - found.probability, 1 - found.high, 1 - found.low),
            Quiet(f" {share_range(1 - found.high, 1 - found.low)}"),
            order=1 - found.probability,
        ),
        cell(report.input_name(driver.index.name) if driver else Quiet(nothing)),
        cell(Verdict(found.verdict)),
    )
