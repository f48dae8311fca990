"""The models, written from the handbook entries of the quantities that the study used."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial

from explorer.graph.labels import begun, label
from explorer.graph.written import pretty
from explorer.results.records import QuantityRecord
from reports.blocks import Block, Cell, Column, Heading, Paragraph, Part, Quiet, Section, Table, cell
from reports.findings import behind_results
from reports.report import Report, in_words, sentence


def build(report: Report) -> Section | None:
    """One table a subject: what each computed quantity is, what it needs, and where the formula is from."""
    subjects: dict[str, list[QuantityRecord]] = {}
    used = behind_results(report.summary)
    for entry in report.summary.handbook:
        if not entry.given and entry.name in used:
            subjects.setdefault(entry.subject, []).append(entry)
    if not subjects:
        return None
    blocks: list[Block] = [
        Paragraph(
            (
                "Only what the limits and outputs rest on. Signs are this tool's own: stations are measured "
                "from the front axle rearwards, heights from the ground; pitch is positive nose-up, "
                "downforce positive down. ISO 8855 has x forward, y left, z up, and pitch positive "
                "nose-down.",
            )
        )
    ]
    for subject, entries in subjects.items():
        title = sentence(in_words(subject)).removesuffix(".")
        blocks += [Heading(title), _table(subject, merged(entries, report.summary.families))]
    return Section("models", "Models", tuple(blocks), appendix=True)


def merged(
    entries: Sequence[QuantityRecord], families: Mapping[str, tuple[str, ...]]
) -> list[QuantityRecord]:
    """Write what is the same for every member of a family once, under the family's name."""
    written: dict[str, QuantityRecord] = {}
    for entry in entries:
        family = _family(entry.name, families)
        name = entry.name
        if family:
            common = partial(_common, families=families)
            name = common(entry.name)
            entry = replace(entry, name=name, needs=tuple(dict.fromkeys(map(common, entry.needs))))
        written.setdefault(name, entry)
    return list(written.values())


def _family(name: str, families: Mapping[str, tuple[str, ...]]) -> str:
    """Return the family a quantity belongs to, or nothing."""
    for family, members in families.items():
        if any(name.startswith(f"{member}_") for member in members):
            return family
    return ""


def _common(name: str, families: Mapping[str, tuple[str, ...]]) -> str:
    for family, members in families.items():
        for member in members:
            if name.startswith(f"{member}_"):
                return f"each_{family}_{name.removeprefix(f'{member}_')}"
    return name


def _table(subject: str, entries: list[QuantityRecord]) -> Table:
    return Table(
        f"model-{subject}",
        f"What is computed under “{in_words(subject)}”",
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
                cell(Quiet(", ".join(map(label, entry.needs)))),
                cell(entry.source),
            )
            for entry in entries
        ),
        small=True,
        sortable=False,
    )


def _name(entry: QuantityRecord) -> Cell:
    unit = pretty(entry.unit)
    parts: list[Part] = [begun(label(entry.name)), Quiet(f" {entry.name}{f' [{unit}]' if unit else ''}")]
    return cell(*parts, order=entry.name)


def _meaning(entry: QuantityRecord) -> Cell:
    parts: list[Part] = [sentence(entry.summary)]
    if entry.description:
        parts.append(Quiet(f" {' '.join(entry.description.split())}"))
    return cell(*parts)
