"""What was predicted against what a logged run showed."""

from __future__ import annotations

from functools import partial
from typing import Any

from explorer.graph.units import System
from explorer.results.logged_runs import LoggedRunRecord
from reports.blocks import Block, Bullets, Facts, Figure, Line, Paragraph, Section, Verdict, in_each_system
from reports.charts import ShadedBand
from reports.charts_of_designs import against_log
from reports.findings import slug
from reports.formatting import count, percent, scale, share_range
from reports.report import Report, in_words, sentence


def build(report: Report) -> Section | None:
    """Print each comparison with a log as it stands in the summary."""
    records = report.summary.validation
    if not records:
        return None
    blocks: list[Block] = [
        Paragraph(
            (
                "Points are logged; the band is what the study predicts for nine cars in ten, the dashed "
                "line its middle. Points of one run go up and down together, so the run is ranked as a whole "
                "among predicted runs: of a hundred runs that the study does describe, about one is "
                "called not explained.",
            )
        )
    ]
    for place, record in enumerate(records, start=1):
        blocks += _compared(report, record, place)
    return Section("validation", "Prediction against the track", tuple(blocks))


def _noted(note: str) -> str:
    """Make a sentence of a note; the name of a file keeps its letters."""
    return note if "." in note.split(" ")[0] else sentence(note)


def _caption(record: LoggedRunRecord) -> Line:
    verdict = Verdict("pass" if record.explains else "fail")
    return (verdict, " ", "explained" if record.explains else "not explained", ".")


def _compared(report: Report, record: LoggedRunRecord, place: int) -> list[Block]:
    quantity, along = record.quantity, record.along
    low, high = record.expected_low, record.expected_high
    inside = percent(round(record.coverage, 3))
    facts: tuple[tuple[str, Line], ...] = (
        ("In words", (sentence(record.words),)),
        ("Points inside the band", (f"{inside}, expected {share_range(low, high)}",)),
        (
            "Points",
            (
                f"{count(record.rows)}, which tell as much as {record.effective_rows:.0f} "
                "taken apart from each other",
            ),
        ),
        (
            "Chance of such a run",
            (f"{percent(round(record.chance, 4))} of runs of the predicted kind lie as badly as this one",),
        ),
    )
    blocks: list[Block] = [
        Figure(
            # Two runs may have logged the same quantity.
            name=f"validation-{place}-{slug(f'{quantity}-{along}')}",
            title=f"{record.title}: {in_words(quantity)} against {in_words(along)}",
            alternative=f"Predicted band and logged points of {in_words(quantity)}. {record.words}",
            caption=_caption(record),
            draw=in_each_system(partial(_chart, report, record)),
        ),
        Facts(facts),
    ]
    if record.notes:
        blocks.append(Bullets(tuple((_noted(note),) for note in record.notes)))
    return blocks


def _chart(report: Report, record: LoggedRunRecord, system: System) -> dict[str, Any]:
    quantity, along = record.quantity, record.along
    display = report.summary.display
    y = scale(record.unit, display.get(quantity, ""), system)
    x = scale(report.si_units.get(along, "1"), display.get(along, ""), system)
    at = [x.value(value) for value in record.at]
    low, middle, high, logged = (
        [y.value(value) for value in values]
        for values in (record.lower, record.median, record.upper, record.logged)
    )
    return against_log(
        ShadedBand("predicted", at, low, middle, high),
        at,
        logged,
        x_axis=x.titled(in_words(along)),
        y_axis=y.titled(in_words(quantity)),
    )
