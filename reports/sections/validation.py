"""What was predicted against what a logged run showed."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from explorer.graph.labels import begun, input_label, label
from explorer.graph.written import chance, listed, percent
from explorer.results.logged_runs import FURTHEST, LoggedRunRecord
from reports.blocks import Block, Bullets, Facts, Figure, Line, Paragraph, Section, Verdict
from reports.charts import ShadedBand
from reports.charts_of_designs import against_log
from reports.findings import slug
from reports.formatting import (
    Amount,
    Scale,
    Units,
    about,
    amount,
    count,
    counted,
    range_amount,
    scale,
    share_range,
)
from reports.report import Report, in_words, sentence

# Stretches outside the band that are told of each run.
MOST_STRETCHES = 3


def build(report: Report) -> Section | None:
    """Print each comparison with a log as it stands in the summary."""
    records = report.summary.validation
    return section(records) if records else None


def section(records: Sequence[LoggedRunRecord]) -> Section:
    """Say of each logged run whether its prediction explains it."""
    blocks: list[Block] = [
        Paragraph(
            (
                "Points: the log. Band: nine predicted cars in ten. Dashed line: the median. The run is "
                "ranked as a whole among predicted runs; of a hundred runs that the study describes rightly, "
                "about one is called not explained.",
            ),
            aside=True,
        )
    ]
    for place, record in enumerate(records, start=1):
        blocks += _compared(record, place)
    return Section("validation", "Prediction against the track", tuple(blocks))


def headline(records: Sequence[LoggedRunRecord]) -> str:
    """Say how many runs are explained, and what to do about it."""
    missed = [one.title for one in records if not one.explains]
    if not missed:
        runs = "its logged run" if len(records) == 1 else f"all {len(records)} logged runs"
        return f"The study explains {runs}: nothing in it has to be changed for them."
    return (
        f"The study does not explain {len(missed)} of {counted(len(records), 'logged run')} "
        f"({listed(missed)}): find out why before relying on it."
    )


def _noted(note: str) -> str:
    """Make a sentence of a note; the name of a file keeps its letters."""
    return note if "." in note.split(" ")[0] else sentence(note)


def verdict_words(record: LoggedRunRecord) -> Line:
    """Say whether the model explains a run, how far the log lies from it, and where outside."""
    line: Line = (
        f"the model {'explains' if record.explains else 'does not explain'} this run: "
        f"{chance(record.coverage)} of the points lie in the {percent(record.share)} band "
        f"({share_range(record.expected_low, record.expected_high)} expected); on average the log lies ",
        _sized(record, abs(record.bias)),
        f" {'above' if record.bias > 0 else 'below'} the middle of the band",
    )
    for one in record.stretches[:MOST_STRETCHES] if not record.explains else ():
        where = range_amount(one.start, one.end, Units(record.along_unit, record.along_display_unit))
        line += (
            f"; it lies {one.side} the band at {record.along} ",
            where,
            ", by up to ",
            _sized(record, one.furthest),
        )
    return line


def _weakened(record: LoggedRunRecord) -> tuple[Line, ...]:
    """Say what would explain a run, and what weakens its verdict."""
    lines: list[Line] = [
        (
            f"{begun(input_label(one.input, {}))} at ",
            amount(one.moved_to, one),
            " in place of ",
            amount(one.believed, one),
            f" would explain it: {abs(one.spreads):.1f} spreads off, where the study believes 1 car in "
            f"{about(1 / one.odds)} to be.",
        )
        for one in record.explained_by
    ]
    if not record.explains and not record.explained_by:
        lines.append(
            (
                f"No single input explains it within {FURTHEST:.0f} spreads of what is believed: several are "
                "off, or the models lack something.",
            )
        )
    if record.noise > 0:
        lines.append(
            ("The band was widened by the logger's own scatter of ", _sized(record, record.noise), ".")
        )
    return (*lines, *((_noted(note),) for note in record.notes))


def _sized(record: LoggedRunRecord, size: float) -> Amount:
    return amount(size, record, difference=True, digits=3)


def _compared(record: LoggedRunRecord, place: int) -> list[Block]:
    quantity, along = record.quantity, record.along
    low, high = record.expected_low, record.expected_high
    inside = chance(record.coverage)
    condition = record.condition_words or in_words(record.condition)
    cars = count(record.samples - record.unanswered)
    facts: tuple[tuple[str, Line], ...] = (
        (
            "Points",
            (
                f"{count(record.rows)}, worth {counted(round(record.effective_rows), 'independent point')}; "
                f"{inside} in the band, {share_range(low, high)} expected",
            ),
        ),
        ("Log", (f"{record.log.file}, {condition}: compared with {cars} predicted runs",)),
        (
            "Chance of such a run",
            (f"{chance(record.chance)} of predicted runs lie at least as far off as this one",),
        ),
    )
    blocks: list[Block] = [
        Figure(
            # Two runs may have logged the same quantity.
            name=f"validation-{place}-{slug(f'{quantity}-{along}')}",
            title=f"{record.title}: {label(quantity)} against {label(along)}",
            alternative=(f"Predicted band and logged points of {label(quantity)}.",),
            caption=(Verdict("pass" if record.explains else "fail"), " ", *verdict_words(record), "."),
            draw=partial(_chart, record),
            scales=lambda system: (
                scale(Units(record.along_unit, record.along_display_unit), system),
                scale(record, system),
            ),
        ),
        Facts(facts),
    ]
    if weakened := _weakened(record):
        blocks.append(Bullets(weakened))
    return blocks


def _chart(record: LoggedRunRecord, x: Scale, y: Scale) -> dict[str, Any]:
    quantity, along = record.quantity, record.along
    at = [x.value(value) for value in record.at]
    low, middle, high, logged = (
        [y.value(value) for value in values]
        for values in (record.lower, record.median, record.upper, record.logged)
    )
    return against_log(
        ShadedBand("predicted", at, low, middle, high),
        at,
        logged,
        x_axis=x.titled(label(along)),
        y_axis=y.titled(label(quantity)),
    )
