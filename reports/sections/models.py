"""The models, written from the handbook entries of the quantities that the study used."""

from __future__ import annotations

from explorer.results import QuantityRecord
from explorer.units import pretty
from reports.blocks import Block, Cell, Column, Heading, Paragraph, Part, Quiet, Section, Table, cell
from reports.report import Report, in_words, sentence


def build(report: Report) -> Section | None:
    """One table a subject: what each computed quantity is, what it needs, and where the formula is from."""
    subjects: dict[str, list[QuantityRecord]] = {}
    for entry in report.summary.handbook:
        if not entry.given:
            subjects.setdefault(entry.subject, []).append(entry)
    if not subjects:
        return None
    blocks: list[Block] = [
        Paragraph(
            (
                "Only quantities that this study used. Axes as in ISO 8855; stations are measured "
                "from the front "
                "axle rearwards, heights from the ground, pitch is positive nose-up, downforce "
                "positive down.",
            )
        )
    ]
    for subject, entries in subjects.items():
        blocks += [Heading(in_words(subject)), _table(subject, entries)]
    return Section("models", "Models", tuple(blocks))


def _table(subject: str, entries: list[QuantityRecord]) -> Table:
    return Table(
        f"model-{subject}",
        f"Quantities of the subject {in_words(subject)}",
        (
            Column("Quantity", width=20),
            Column("What it is", width=36),
            Column("Needs", width=24),
            Column("Source", width=20),
        ),
        tuple(
            (
                _name(entry),
                _meaning(entry),
                cell(Quiet(", ".join(map(in_words, entry.needs)))),
                cell(entry.source),
            )
            for entry in entries
        ),
        small=True,
        sortable=False,
    )


def _name(entry: QuantityRecord) -> Cell:
    unit = pretty(entry.unit)
    parts: list[Part] = [in_words(entry.name)]
    if unit:
        parts.append(Quiet(f" [{unit}]"))
    return cell(*parts, order=entry.name)


def _meaning(entry: QuantityRecord) -> Cell:
    parts: list[Part] = [sentence(entry.summary)]
    if entry.description:
        parts.append(Quiet(f" {' '.join(entry.description.split())}"))
    return cell(*parts)
