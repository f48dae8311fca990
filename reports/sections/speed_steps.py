"""Up to which speed the safety limits hold, flap closed and open, and the steps to get there."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from explorer.graph.labels import label
from explorer.graph.written import chance
from explorer.results.exploration import SpeedResult, SpeedStep, StateSpeed
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
    Table,
    cell,
)
from reports.charts import Mark
from reports.charts_of_designs import ChanceCurve, chances
from reports.findings import slug
from reports.formatting import Scale, Units, range_amount, scale, share, speed_amount
from reports.report import NO_CLEARANCE, Report, noted, sentence


def build(report: Report) -> Section | None:
    """Print the highest conforming speeds as they stand in the summary."""
    found = report.summary.highest_speed
    if found is None:
        return None
    blocks: list[Block] = [
        Paragraph(headline(found.states, report.speed_unit), lead=True),
        Note("Speed steps, not a permission", (NO_CLEARANCE,)),
    ]
    for state in found.states:
        blocks += [
            Heading(state.words),
            Paragraph(state_headline(state, report.speed_unit)),
            _figure(report, state),
        ]
        if state.steps:
            blocks.append(_speed_steps(report, state))
    if found.look_after_each and any(state.steps for state in found.states):
        blocks.append(Paragraph(("After each step, before the next:",)))
        blocks.append(Bullets(tuple((sentence(words),) for words in found.look_after_each)))
    blocks += noted(found.notes)
    return Section("speed_steps", "How fast, in which steps", tuple(blocks))


def in_short(report: Report) -> list[Block]:
    """Say for a terminal how fast the car may go, and in which steps."""
    found = report.summary.highest_speed
    if found is None:
        return []
    steps = [_speed_steps(report, state) for state in found.states if state.steps]
    return [Paragraph(headline(found.states, report.speed_unit), lead=True), *steps]


def headline(states: Sequence[SpeedResult], unit: str) -> Line:
    """Say for every state of the flap how fast the safety limits let it be."""
    said = [part for state in states for part in (*state_headline(state, unit), " ")]
    return (*said, "A prediction, never a clearance.")


def state_headline(state: SpeedResult, unit: str) -> Line:
    """Say up to which speed all safety limits hold in one state of the flap."""
    begun = sentence(state.words).removesuffix(".")
    if state.speed is None:
        words = f"{begun}: at no speed are all safety limits met"
        if not isinstance(state, StateSpeed):
            return (f"{words}.",)
        lowest = speed_amount(state.speeds[0], unit, whole=True)
        return (f"{words}; “{state.held_back_by}” already fails at ", lowest, ".")
    # Of a candidate nothing more is kept; only there all three are alike.
    if state.speed == state.sure == state.possible or (isinstance(state, StateSpeed) and state.to_the_end):
        end = speed_amount(state.speed, unit, whole=True)
        return (f"{begun}: all safety limits are met up to ", end, ", where the search ends.")
    sure: Line = ("not certain at any speed",)
    if state.sure is not None:
        sure = ("certain to ", speed_amount(state.sure, unit))
    said: Line = (f"{begun}: all safety limits are met up to ", speed_amount(state.speed, unit), " (", *sure)
    if state.possible is not None:
        said = (*said, ", possible to ", speed_amount(state.possible, unit))
    said = (*said, ")")
    if state.reachable is not None and state.reachable[2] > state.speed:
        low, _, high = state.reachable
        can = range_amount(low, high, Units("m/s", unit), spread=20.0)
        said = (*said, "; the car can run ", can, ", so it must be held back")
    return (*said, ".")


def _figure(report: Report, state: StateSpeed) -> Figure:
    return Figure(
        name=f"speed-steps-{slug(state.words)}",
        title=f"Safety limits against speed, {state.words}",
        alternative=(f"Chance that a car meets each safety limit, against speed, {state.words}.",),
        caption=_caption(report, state),
        draw=partial(_chart, state),
        scales=lambda system: (scale(report.of_speed, system),),
    )


def _chart(state: StateSpeed, shown: Scale) -> dict[str, Any]:
    x = [shown.value(speed) for speed in state.speeds]
    courses = [ChanceCurve("all at once", x, state.together)]
    courses += [ChanceCurve(limit.name, x, limit.probabilities) for limit in state.limits]
    marks = [] if state.speed is None else [Mark(shown.value(state.speed), "highest conforming")]
    return chances(courses, x_axis=shown.titled("speed"), marks=marks)


def _caption(report: Report, state: StateSpeed) -> Line:
    """Say how far each limit holds by itself, and what gives way first."""
    parts: Line = ()
    for limit in state.limits:
        far: Line = ("at no speed",) if limit.up_to is None else ("up to ", report.speed(limit.up_to))
        parts = (*parts, f"{limit.name}: ", *far, ". ")
    if state.held_back_by:
        parts = (*parts, f"First limit to fail: {state.held_back_by}. ")
    if state.reachable:
        low, _, high = state.reachable
        parts = (
            *parts,
            "The car reaches ",
            range_amount(low, high, report.of_speed),
            " (90 % range).",
        )
    return parts


def _speed_steps(report: Report, state: StateSpeed) -> Table:
    return Table(
        f"speed-step-table-{slug(state.words)}",
        "Steps, and what nine cars in ten would show at each. Air load is in terms of that at the highest "
        "conforming speed.",
        (
            Column("Speed", number=True),
            Column("Air load", number=True),
            Column("All met by", number=True),
            *(
                Column(f"{label(one.quantity)}, {report.swept(one.condition, 'speed')}", number=True)
                for one in state.steps[0].expectations
            ),
        ),
        tuple(_speed_step(report, step) for step in state.steps),
        small=True,
        sortable=False,
    )


def _speed_step(report: Report, step: SpeedStep) -> tuple[Cell, ...]:
    return (
        cell(report.speed(step.speed)),
        cell(chance(step.load_share)),
        cell(share(step.holds)),
        *(cell(range_amount(one.low, one.high, one)) for one in step.expectations),
    )
