"""What measured logs have changed: the inputs they replaced, before and after."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from reports.amounts import percent
from reports.blocks import Block, Cell, Column, Paragraph, Quiet, Section, Strong, Table, cell
from reports.report import Report, number, sentence

Record = Mapping[str, Any]


def build(report: Report) -> Section | None:
    """Print the inputs that included files replaced; nothing where the study includes none."""
    found = report.summary.extra.get("fits")
    if not isinstance(found, Mapping):
        return None
    rows = [_row(report, one) for file in found["files"] for one in file["inputs"]]
    blocks: list[Block] = [
        Paragraph((Strong(sentence(str(found["headline"]))),), lead=True),
        Table(
            "fitted-inputs",
            "Inputs replaced by included files. Moved by: in standard deviations believed before.",
            (
                Column("Input", width=20),
                Column("Before", width=24),
                Column("After", width=24),
                Column("Moved by", number=True, width=12),
                Column("Doubt left", number=True, width=12),
            ),
            tuple(rows),
        ),
    ]
    blocks += _doubts(found["files"])
    return Section("fits", "What the logs changed", tuple(blocks))


def _row(report: Report, one: Record) -> tuple[Cell, ...]:
    before, after = one["before"], one["after"]
    moved, left = one["moved_by"], one["narrowed_to"]
    return (
        cell(report.input_name(str(one["quantity"]))),
        cell(str(before["words"]) if before else Quiet("not given")),
        cell(str(after["words"]), Quiet(f" {after['source']}") if after["source"] else ""),
        cell("" if moved is None else f"{number(moved):+.1f}"),
        cell("" if left is None else percent(round(number(left), 3))),
    )


def _doubts(files: Sequence[Record]) -> list[Block]:
    """Say where a file no longer carries the record of the fit that wrote it."""
    silent = [str(file["file"]) for file in files if not file.get("log")]
    if not silent:
        return []
    return [Paragraph((f"No record of a fit goes with {', '.join(silent)}, or the file was changed since.",))]
