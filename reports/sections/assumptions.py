"""What the numbers rest on, and what no model here knows about."""

from __future__ import annotations

from reports.blocks import Block, Bullets, Heading, Paragraph, Section
from reports.report import Report, sentence


def build(report: Report) -> Section:
    """Assumptions and validity, then what is not modelled."""
    summary = report.summary
    blocks: list[Block] = [
        Heading("Assumed"),
        _listed(summary.assumptions, "The study states no assumption."),
        Heading("Not modelled"),
        Paragraph(
            (
                "First what the study names, then what no model here knows, in the order of what it could "
                "turn over; the order is judgement.",
            )
        ),
        _listed(summary.not_modelled, "The study does not say what is left out."),
    ]
    return Section("assumptions", "Assumed, and not modelled", tuple(blocks), appendix=True)


def _listed(texts: tuple[str, ...], otherwise: str) -> Block:
    if not texts:
        return Paragraph((otherwise,))
    return Bullets(tuple((sentence(text),) for text in texts))
