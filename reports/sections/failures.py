"""Samples for which a model had no answer, with the cause; they count against their limits."""

from __future__ import annotations

from explorer.graph.labels import label
from reports.blocks import Column, Quiet, Section, Table, cell
from reports.formatting import count
from reports.report import Report, sentence
from reports.sections.actions import against_limits


def build(report: Report) -> Section | None:
    """Table of failures; nothing where every model gave an answer for every sample."""
    failures = report.summary.failures
    if not failures:
        return None
    table = Table(
        "failed",
        f"Samples without an answer; {against_limits(report) or 'no limit asks for them'}.",
        (
            Column("Quantity wanted"),
            Column("Condition"),
            Column("Gave up first"),
            Column("What that means"),
            Column("Samples", number=True),
        ),
        tuple(
            (
                cell(label(record.output)),
                cell(report.condition(record.condition)),
                cell(label(record.quantity)),
                cell(sentence(record.meaning) if record.meaning else Quiet("The model does not say.")),
                cell(count(record.count), order=record.count),
            )
            for record in failures
        ),
    )
    return Section("failures", "Failed samples", (table,))
