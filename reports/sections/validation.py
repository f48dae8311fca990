"""What was predicted against what a logged run showed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from explorer.units import System
from reports.amounts import count, percent, scale, share_range
from reports.blocks import Block, Bullets, Facts, Figure, Line, Paragraph, Section, Verdict
from reports.charts import Band
from reports.charts_of_designs import against_log
from reports.findings import slug
from reports.options import SYSTEMS
from reports.report import Report, in_words, number, sentence

Record = Mapping[str, Any]


def build(report: Report) -> Section | None:
    """Print each comparison with a log as it stands in the summary."""
    found = report.summary.extra.get("validation")
    records = [found] if isinstance(found, Mapping) else found
    if not isinstance(records, Sequence) or not records:
        return None
    blocks: list[Block] = [
        Paragraph(
            (
                "Points are logged, the band is what the study predicts for nine cars in ten. Points "
                "of one run go "
                "together, so they are judged against whole runs of the predicted kind.",
            )
        )
    ]
    for record in records:
        blocks += _compared(report, record)
    return Section("validation", "Prediction against the track", tuple(blocks))


def _compared(report: Report, record: Record) -> list[Block]:
    quantity, along = str(record["quantity"]), str(record["along"])
    low, high = number(record["expected_low"]), number(record["expected_high"])
    inside = percent(round(number(record["coverage"]), 3))
    facts: tuple[tuple[str, Line], ...] = (
        (
            "Explained",
            (Verdict("pass" if record["explains"] else "fail"), f" {sentence(str(record['words']))}"),
        ),
        ("Points inside the band", (f"{inside}, expected {share_range(low, high)}",)),
        (
            "Rows",
            (f"{count(int(record['rows']))}, worth {number(record['effective_rows']):.0f} independent ones",),
        ),
        ("Chance of a run like this", (percent(round(number(record["chance"]), 4)),)),
    )
    blocks: list[Block] = [
        Figure(
            name=f"validation-{slug(f'{quantity}-{along}')}",
            title=f"{in_words(quantity)} against {in_words(along)}, predicted and logged",
            alternative=f"Predicted band and logged points of {in_words(quantity)}. {record['words']}",
            charts=tuple(_chart(report, record, system) for system in SYSTEMS),
        ),
        Facts(facts),
    ]
    if record["notes"]:
        blocks.append(Bullets(tuple((sentence(str(note)),) for note in record["notes"])))
    return blocks


def _chart(report: Report, record: Record, system: System) -> dict[str, Any]:
    quantity, along = str(record["quantity"]), str(record["along"])
    display = report.summary.display
    y = scale(str(record["unit"]), display.get(quantity, ""), system)
    x = scale(report.si_units.get(along, "1"), display.get(along, ""), system)
    at = [x.value(number(value)) for value in record["at"]]
    low, middle, high, logged = (
        [y.value(number(value)) for value in record[key]] for key in ("lower", "median", "upper", "logged")
    )
    return against_log(
        Band("predicted", at, low, middle, high),
        at,
        logged,
        x_axis=x.titled(in_words(along)),
        y_axis=y.titled(in_words(quantity)),
    )
