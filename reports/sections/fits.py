"""What measured logs have changed: the inputs they replaced, before and after."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from reports.blocks import Block, Cell, Column, Facts, Paragraph, Quiet, Section, Strong, Table, cell
from reports.formatting import MINUS, Amount, percent, uncertain_amount
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
            "Inputs that a log has replaced: what was believed, what was found, each with its standard "
            "deviation, the usual size of a miss. Moved by: as a multiple of the standard deviation before; "
            "beyond 2 up or down, log and belief hardly agree. Doubt left: standard deviation after, "
            "in terms of that before.",
            (
                Column("Input", width=28),
                Column("Before", number=True, width=24),
                Column("After", number=True, width=24),
                Column("Moved by", number=True, width=12),
                Column("Doubt left", number=True, width=12),
            ),
            tuple(rows),
        ),
    ]
    blocks += [Paragraph(("Found from:",)), _sources(report, found["files"]), *_doubts(found["files"])]
    return Section("fits", "What the logs changed", tuple(blocks))


def _row(report: Report, one: Record) -> tuple[Cell, ...]:
    before, after = one["before"], one["after"]
    moved, left = one["moved_by"], one["narrowed_to"]
    return (
        cell(report.input_name(str(one["quantity"]))),
        cell(_value(one, before) if before else Quiet("not given")),
        cell(_value(one, after)),
        cell("" if moved is None else f"{number(moved):+.1f}".replace("-", MINUS)),
        cell("" if left is None else percent(round(number(left), 2))),
    )


def _sources(report: Report, files: Sequence[Record]) -> Facts:
    """Say once for all inputs of a log where they come from; its fingerprint stands with the inputs."""
    inputs: dict[str, list[str]] = {}
    for one in (one for file in files for one in file["inputs"]):
        source = str(one["after"]["source"] or "no source given").partition("sha256")[0].rstrip(" ,;(")
        inputs.setdefault(source, []).append(report.input_name(str(one["quantity"])))
    return Facts(tuple((", ".join(names), (source,)) for source, names in inputs.items()))


def _value(one: Record, belief: Record) -> Amount:
    """Write what is believed of an input, with its standard deviation."""
    return uncertain_amount(
        number(belief["mean"]), number(belief["sd"]), str(one["unit"]), str(one["display_unit"])
    )


def _doubts(files: Sequence[Record]) -> list[Block]:
    """Say where a file no longer carries the record of the fit that wrote it."""
    silent = [str(file["file"]) for file in files if not file.get("log")]
    if not silent:
        return []
    return [
        Paragraph(
            (
                f"Without the record of a fit, or changed by hand since: {', '.join(silent)}. Nothing here "
                "vouches for it.",
            )
        )
    ]
