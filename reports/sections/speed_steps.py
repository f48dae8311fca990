"""Up to which speed the safety limits hold, flap closed and open, and the steps to get there."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any

from explorer.graph.units import System
from reports.blocks import (
    Block,
    Bullets,
    Cell,
    Column,
    Figure,
    Heading,
    Line,
    Note,
    Paragraph,
    Section,
    Strong,
    Table,
    cell,
    in_each_system,
)
from reports.charts import Mark
from reports.charts_of_designs import Course, chances
from reports.findings import slug
from reports.formatting import amount, percent, range_amount, scale
from reports.report import Report, in_words, number, sentence
from reports.sections.decision import NO_CLEARANCE

Record = Mapping[str, Any]


def build(report: Report) -> Section | None:
    """Print the highest conforming speeds as they stand in the summary."""
    found = report.summary.extra.get("highest_speed")
    if not isinstance(found, Mapping):
        return None
    blocks: list[Block] = [
        Paragraph((Strong(sentence(str(found["headline"]))),), lead=True),
        Note("A ladder, not a permission", (NO_CLEARANCE,)),
    ]
    for state in found["states"]:
        blocks += [
            Heading(str(state["words"])),
            Paragraph((sentence(str(state["headline"])),)),
            _figure(report, state),
        ]
        if state["ladder"]:
            blocks.append(_rungs(report, state))
    if found["look_after_each"]:
        blocks.append(Paragraph(("After each step, before the next:",)))
        blocks.append(Bullets(tuple((sentence(str(words)),) for words in found["look_after_each"])))
    if found["notes"]:
        blocks.append(Bullets(tuple((sentence(str(note)),) for note in found["notes"])))
    return Section("ladder", "How fast, in which steps", tuple(blocks))


def _unit(report: Report) -> str:
    return report.summary.display.get("speed", "m/s")


def _figure(report: Report, state: Record) -> Figure:
    return Figure(
        name=f"ladder-{slug(str(state['words']))}",
        title=f"Safety limits against speed, {state['words']}",
        alternative=f"Chance that each safety limit holds, {state['words']}. {state['headline']}",
        caption=_caption(report, state),
        draw=in_each_system(partial(_chart, report, state)),
    )


def _chart(report: Report, state: Record, system: System) -> dict[str, Any]:
    shown = scale("m/s", _unit(report), system)
    x = [shown.value(number(speed)) for speed in state["speeds"]]
    courses = [Course("all at once", x, [number(v) for v in state["together"]])]
    courses += [
        Course(str(limit["name"]), x, [number(v) for v in limit["probabilities"]])
        for limit in state["limits"]
    ]
    marks = (
        [] if state["speed"] is None else [Mark(shown.value(number(state["speed"])), "highest conforming")]
    )
    return chances(courses, x_axis=shown.titled("speed"), marks=marks)


def _caption(report: Report, state: Record) -> Line:
    unit = _unit(report)
    parts: Line = ()
    if state["speed"] is None:
        parts = ("The safety limits hold at no speed looked at. ",)
    else:
        parts = ("They hold up to ", amount(number(state["speed"]), "m/s", unit, spread=2.0))
        if state["sure"] is not None:
            parts = (*parts, ", beyond doubt up to ", amount(number(state["sure"]), "m/s", unit, spread=2.0))
        parts = (*parts, ". ")
    if state["held_back_by"]:
        parts = (*parts, f"What gives way first: {state['held_back_by']}. ")
    if state["reachable"]:
        low, _, high = map(number, state["reachable"])
        parts = (*parts, "The car reaches ", range_amount(low, high, "m/s", unit), " (5 to 95 %).")
    return parts


def _rungs(report: Report, state: Record) -> Table:
    expected = state["ladder"][0]["expectations"]
    return Table(
        f"ladder-steps-{slug(str(state['words']))}",
        "Steps, and what nine cars in ten would show at each. Air load is in terms of that at the highest "
        "conforming speed.",
        (
            Column("Speed", number=True),
            Column("Air load", number=True),
            Column("All hold in", number=True),
            *(
                Column(
                    f"{in_words(one['quantity'])}, {report.swept(str(one['condition']), 'speed')}",
                    number=True,
                )
                for one in expected
            ),
        ),
        tuple(_rung(report, rung) for rung in state["ladder"]),
        small=True,
        sortable=False,
    )


def _rung(report: Report, rung: Record) -> tuple[Cell, ...]:
    return (
        cell(amount(number(rung["speed"]), "m/s", _unit(report), spread=2.0)),
        cell(percent(round(number(rung["load_share"]), 2))),
        cell(percent(round(number(rung["holds"]), 4))),
        *(
            cell(
                range_amount(
                    number(one["low"]), number(one["high"]), str(one["unit"]), str(one["display_unit"])
                )
            )
            for one in rung["expectations"]
        ),
    )
