"""What was predicted against what a logged run showed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

from explorer.graph.units import System
from reports.blocks import Block, Bullets, Facts, Figure, Line, Paragraph, Section, Verdict, in_each_system
from reports.charts import Band
from reports.charts_of_designs import against_log
from reports.findings import slug, track_name
from reports.formatting import count, percent, scale, share_range
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


def _caption(record: Record) -> Line:
    verdict = Verdict("pass" if record["explains"] else "fail")
    return (verdict, " ", "explained" if record["explains"] else "not explained", ".")


def _compared(report: Report, record: Record, place: int) -> list[Block]:
    quantity, along = str(record["quantity"]), str(record["along"])
    low, high = number(record["expected_low"]), number(record["expected_high"])
    inside = percent(round(number(record["coverage"]), 3))
    facts: tuple[tuple[str, Line], ...] = (
        ("In words", (sentence(str(record["words"])),)),
        ("Points inside the band", (f"{inside}, expected {share_range(low, high)}",)),
        (
            "Points",
            (
                f"{count(int(record['rows']))}, which tell as much as {number(record['effective_rows']):.0f} "
                "taken apart from each other",
            ),
        ),
        (
            "Chance of such a run",
            (
                f"{percent(round(number(record['chance']), 4))} of runs of the predicted kind lie as badly "
                "as this one",
            ),
        ),
    )
    blocks: list[Block] = [
        Figure(
            # Two runs may have logged the same quantity.
            name=f"validation-{place}-{slug(f'{quantity}-{along}')}",
            title=f"{track_name(record)}: {in_words(quantity)} against {in_words(along)}",
            alternative=f"Predicted band and logged points of {in_words(quantity)}. {record['words']}",
            caption=_caption(record),
            draw=in_each_system(partial(_chart, report, record)),
        ),
        Facts(facts),
    ]
    if record["notes"]:
        blocks.append(Bullets(tuple((_noted(str(note)),) for note in record["notes"])))
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
