"""Safety limits that hardly ever fail: how seldom, and what is unusual about the car that does."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from reports.blocks import Block, Cell, Column, Heading, Paragraph, Quiet, Table, cell
from reports.formatting import amount
from reports.report import Report, sentence

NOTHING_UNUSUAL = "no failing car was found"


def blocks(report: Report) -> tuple[Block, ...]:
    """Heading, words and table; nothing when the run searched for no rare failure."""
    records: Sequence[Mapping[str, Any]] = report.summary.extra.get("rare", ())
    if not records:
        return ()
    return (
        Heading("Failures too rare to count in the run"),
        Paragraph(
            (
                "Where a safety limit failed in few or none of the cars of the run, the search went to "
                "where failures lie. The most likely failing car is the least unusual one that still "
                "fails: the inputs that make it so are worth watching. Figures this small rest on the "
                "tails that the study gives its inputs, which are the least known part of them.",
            )
        ),
        Table(
            "seldom",
            "Safety limits that seldom fail, and the most likely failing car.",
            (
                Column("Limit", width=28),
                Column("How often", width=26),
                Column("Most likely with", width=46),
            ),
            tuple(_row(report, record) for record in records),
        ),
    )


def _unparted(words: str) -> str:
    """Keep the thousands of a number on one line."""
    return re.sub(r"(?<=\d) (?=\d{3}\b)", "\N{NARROW NO-BREAK SPACE}", words)


def _row(report: Report, record: Mapping[str, Any]) -> tuple[Cell, ...]:
    unusual: list[Any] = []
    for one in record["culprits"]:
        unit = (one["unit"], one["display_unit"])
        unusual += [
            f"{'; ' if unusual else ''}{report.input_name(one['key'])} ",
            amount(one["value"], *unit),
            " instead of ",
            amount(one["nominal"], *unit),
        ]
    return (
        cell(record["limit"]),
        cell(_unparted(sentence(record["words"])), order=record["probability"]),
        cell(*unusual) if unusual else cell(Quiet(NOTHING_UNUSUAL)),
    )
