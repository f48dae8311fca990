"""What is left to do before the next review."""

from __future__ import annotations

from reports.blocks import Block, Bullets, Paragraph, Section
from reports.findings import actions
from reports.report import Report


def build(report: Report) -> Section:
    """List open actions, derived from the verdicts and from what the study does not say."""
    todo = actions(report)
    block: Block = (
        Bullets(tuple(todo), numbered=True)
        if todo
        else Paragraph(("No limit is open and every input has a source.",))
    )
    return Section("actions", "Open actions", (block,))
