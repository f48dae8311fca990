"""Safety limits that hardly ever fail: how seldom, and what is unusual about the car that does."""

from __future__ import annotations

from explorer.estimators.rare import RareFailure
from explorer.results.records import RareFailureRecord
from reports.blocks import Cell, Column, Line, Paragraph, Quiet, Section, Table, cell
from reports.formatting import about, amount
from reports.report import Report, sentence

# Below this a probability is a statement about tails that nobody has measured.
FLOOR = 1e-6
NOTHING_UNUSUAL = "no failing car was found"


def build(report: Report) -> Section | None:
    """Words and table; nothing when the run searched for no rare failure."""
    if not report.summary.rare:
        return None
    blocks = (
        Paragraph(
            (
                "Where a safety limit failed in few or none of the cars of the run, a search looked "
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
            tuple(_row(report, record) for record in report.summary.rare),
        ),
    )
    return Section("seldom", "Failures too rare to count", blocks, appendix=True)


def how_often(found: RareFailure) -> str:
    """Say how seldom a limit fails; beyond the floor only the assumed tails of the inputs speak."""
    if found.probability < FLOOR <= found.high:
        return f"fewer than 1 car in {about(1 / found.high)} fails, as far as cars were counted"
    if found.probability < FLOOR:
        return f"fewer than 1 car in {about(1 / FLOOR)} fails, as far as the tails of the inputs are known"
    low, high = about(1 / found.high), about(1 / found.low) if found.low else "hardly ever"
    return f"about 1 car in {about(1 / found.probability)} fails ({low} to {high})"


def _row(report: Report, record: RareFailureRecord) -> tuple[Cell, ...]:
    found = record.found
    unusual: Line = ()
    for one in record.culprits:
        given = report.inputs[one.key]
        unusual = (
            *unusual,
            f"{'; ' if unusual else ''}{report.input_name(one.key)} ",
            amount(one.value, given),
            " instead of ",
            amount(given.nominal, given),
        )
    return (
        cell(record.limit),
        cell(
            sentence(how_often(found)),
            *((Quiet(" " + sentence(found.note)),) if found.note else ()),
            order=found.probability,
        ),
        cell(*unusual) if unusual else cell(Quiet(NOTHING_UNUSUAL)),
    )
