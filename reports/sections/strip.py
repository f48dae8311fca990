"""One sheet for the strip: how fast, in which steps, what to expect and write down, and when to stop.

The test of the fail-safe and the rules for stopping are common practice, no source.
"""

from __future__ import annotations

from explorer.graph.labels import label
from explorer.results.exploration import StateSpeed
from reports.blocks import (
    Block,
    Bullets,
    Cell,
    Code,
    Column,
    Heading,
    Line,
    Note,
    Paragraph,
    Section,
    Strong,
    Table,
    cell,
)
from reports.findings import judged_build
from reports.formatting import range_amount
from reports.report import NO_CLEARANCE, Report, sentence, told
from reports.sections import decision, speed_steps

FAIL_SAFE: tuple[str, ...] = (
    "Car on a stand, wheels free, nobody in line with them.",
    "Throttle a little open, flap open: switch the transmitter off.",
    "The motor stops and the flap shuts, both at once.",
    "The same with the receiver's supply drawn down to its lowest voltage, where that can be done.",
)
STOP: tuple[str, ...] = (
    "A value lies outside what is expected here: the models do not know this car.",
    "The nose rises, a wheel lifts, or the car wanders.",
    "The flap is late, stays part open, or chatters.",
    "Wind, surface or temperature are not those of the study.",
    "Anyone comes within the way that the car runs out without brakes, or doubts.",
)


def build(report: Report) -> Section:
    """Write the sheet; what the run does not know is said, not left out."""
    run = decision.may_run(report)
    found = report.summary.highest_speed
    judged = judged_build(report.summary)
    blocks: list[Block] = [Paragraph((Strong(f"{run.answer}. "), *run.why[0]), lead=True)]
    if judged.words:
        blocks.append(Paragraph((f"Judged here: {judged.words}.",)))
    blocks.append(Note("Not a permission", (NO_CLEARANCE,)))
    blocks += [Note("Caution", told(text)) for text in report.summary.cautions_of_cars]
    if found is None:
        blocks.append(
            Paragraph(
                ("No allowed speeds are known: ", Code("squatline explore"), " finds them and their steps.")
            )
        )
    else:
        # Nobody may take the speeds of one build for those of another.
        of = "" if found.build == judged.name else f" of the build “{found.build}”, not of the one judged"
        blocks.append(Heading(f"Allowed speeds and steps{of}"))
        blocks.append(Paragraph(speed_steps.headline(found.states, report.speed_unit)))
        blocks += [_steps(report, state) for state in found.states if state.steps]
        looks = tuple((sentence(words),) for words in found.look_after_each)
        if looks:
            blocks += [Paragraph(("After each step, before the next:",)), Bullets(looks)]
    blocks += [Heading("Fail-safe, before the first run"), _boxes()]
    blocks += [Heading("Stop when"), Bullets(tuple((words,) for words in STOP))]
    cautions = tuple((sentence(text),) for text in report.summary.cautions)
    if cautions:
        blocks += [Heading("Cautions"), Bullets(cautions)]
    return Section("strip", "For the strip", tuple(blocks))


def _steps(report: Report, state: StateSpeed) -> Table:
    """One row a step: what nine cars in ten would show, and room for what this one shows."""
    expected = state.steps[0].expectations
    columns = [Column("Speed", number=True)]
    for one in expected:
        columns += [Column(f"{label(one.quantity)}, expected", number=True), Column("seen")]
    rows: list[tuple[Cell, ...]] = []
    for step in state.steps:
        cells = [cell(report.speed(step.speed))]
        for one in step.expectations:
            cells += [cell(range_amount(one.low, one.high, one)), cell("")]
        rows.append((*cells, cell("")))
    return Table(
        f"strip-{state.words}",
        f"{sentence(state.words)} Expected: nine cars in ten. Write down what is seen before going on.",
        (*columns, Column("Go on? Initials")),
        tuple(rows),
        sortable=False,
    )


def _boxes() -> Table:
    rows: tuple[Line, ...] = tuple((words,) for words in FAIL_SAFE)
    return Table(
        "fail-safe",
        "Each by hand, on the day.",
        (Column("Do and see", width=70), Column("Seen", width=14), Column("Initials", width=16)),
        tuple((cell(*row), cell(""), cell("")) for row in rows),
        sortable=False,
    )
