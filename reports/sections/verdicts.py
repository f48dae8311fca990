"""The compliance matrix: every limit, what was asked, what was found, and the verdict."""

from __future__ import annotations

import math

from explorer.estimators.conformance import Conformance
from explorer.graph.labels import label
from explorer.graph.written import SPACE, listed, percent
from explorer.results.records import LimitRecord
from reports.blocks import (
    Block,
    Bullets,
    Cell,
    Code,
    Column,
    Heading,
    Line,
    Link,
    Paragraph,
    Part,
    Quiet,
    Safety,
    Section,
    Table,
    Verdict,
    cell,
)
from reports.findings import without_answer
from reports.formatting import about, amount, count, margin_amount, range_amount, share, share_range
from reports.report import Report, asked, is_yes_or_no, severity
from reports.sections import cars_and_days, history

#: Address of the words on how many cars are enough.
ENOUGH = "enough-cars"

_COLUMNS = (
    Column("Limit", width=24),
    Column("Required", width=14),
    Column(f"Median (90{SPACE}% range)", width=16),
    Column(f"Met by (95{SPACE}% interval)", number=True, width=14),
    Column("Margin", number=True, width=16),
    Column("Verdict", width=16),
)


def build(report: Report) -> Section:
    """One row a limit."""
    summary = report.summary
    blocks: list[Block] = [
        Table(
            "compliance",
            "Compliance matrix: what is required, what was found. Met by: the share of predicted cars, with "
            "the interval that counting so many leaves. Margin: how far the average car lies on the good "
            "side of the limit, plus or minus one standard deviation.",
            _COLUMNS,
            tuple(_row(report, limit) for limit in summary.limits),
        )
    ]
    # Of one limit, and of safety limits that are all there are, its row or the other says the same.
    several, safe = len(summary.limits), len(summary.safety_names)
    together = [
        (name, found)
        for name, found, told in (
            ("All limits", summary.joint, several > 1),
            ("All safety limits", summary.joint_safety, 1 < safe < several),
        )
        if found is not None and told
    ]
    if together:
        blocks.append(Paragraph((" ".join(_together(name, found) for name, found in together),)))
    if said := history.turned(summary):
        blocks.append(Paragraph((f"{said} (", Link("all runs so far", "history"), ")")))
    blocks += cars_and_days.told_apart(report)
    undecided = [limit for limit in summary.limits if limit.conformance.verdict == "undecided"]
    if undecided:
        blocks.append(Paragraph(("Still open, and what would decide it:",)))
        blocks.append(Bullets(tuple((f"{limit.name}: {limit.conformance.decides}.",) for limit in undecided)))
    return Section("verdicts", "Verdicts", tuple(blocks))


def enough(report: Report) -> list[Block]:
    """Say whether enough cars were drawn: for the verdicts, and for the figures that are printed."""
    found = report.summary.convergence
    if found is None:
        return []
    drawn, still, moving = report.summary.reproduction.samples, found.settled, found.open
    undecided = [limit.name for limit in report.summary.limits if limit.conformance.verdict == "undecided"]
    verdicts = "every verdict is decided"
    if undecided:
        verdicts = f"not for {listed(f'“{name}”' for name in undecided)}, as said above"
    every = len(still) + len(moving)
    line: Line = (
        f"For the verdicts, {count(drawn)} cars are enough: {verdicts}. "
        if not undecided
        else f"{count(drawn)} cars were drawn. For the verdicts that is enough, but {verdicts}. ",
        f"For the printed figures: if as many other cars were drawn, the average, the spread and both ends "
        f"of the 95 % range of {len(still)} out of {every} quantities would come out the same to the second "
        "digit of the spread (JCGM 101:2008, 7.9). ",
    )
    if moving:
        line += (
            f"That all {every} do would take about {about(found.samples_needed)} cars (",
            Code("squatline run --until steady"),
            " draws them). It matters only where such a figure is carried elsewhere: verdicts allow for it "
            "already.",
        )
    blocks: list[Block] = [Heading("Were enough cars drawn?", anchor=ENOUGH), Paragraph(line)]
    if moving and still:
        names = [*dict.fromkeys(label(one.partition(" | ")[0]) for one in moving)]
        blocks.append(Paragraph((Quiet(f"Last digit still moving: {', '.join(names)}."),)))
    return blocks


def _row(report: Report, limit: LimitRecord) -> tuple[Cell, ...]:
    found = limit.conformance
    name: list[Part] = [limit.name]
    if limit.safety:
        name += [" ", Safety()]
    name.append(Quiet("; ".join(filter(None, (f" {report.where(limit)}", without_answer(limit))))))
    rank = severity(limit)
    return (
        cell(*name, order=limit.name),
        cell(*asked(limit), Quiet(_in_how_many(limit)), order=limit.probability),
        cell(*_middle(report, limit)),
        cell(
            share(found.probability, found.low, found.high),
            Quiet(f" {share_range(found.low, found.high)}"),
            order=found.probability,
        ),
        cell(*(() if is_yes_or_no(report.output(limit)) else _margin(limit)), order=_ratio(found)),
        cell(Verdict(found.verdict), order=rank[0] * 2 + rank[1]),
    )


def _in_how_many(limit: LimitRecord) -> str:
    sure = "" if limit.sureness is None else f" of runs, {percent(limit.sureness.sure)} sure"
    return f" in {percent(limit.probability)}{sure or ' of cars'}"


def _middle(report: Report, limit: LimitRecord) -> tuple[Part, ...]:
    output = report.output(limit)
    if is_yes_or_no(output):
        return (Quiet("a yes or no"),)
    quantiles = dict(output.quantiles)
    difference = limit.is_difference
    return (
        amount(quantiles.get(0.5), limit, spread=output.sd, difference=difference),
        Quiet(
            range_amount(
                quantiles.get(0.05), quantiles.get(0.95), limit, spread=output.sd, difference=difference
            )
        ),
    )


def _margin(limit: LimitRecord) -> tuple[Part, ...]:
    found = limit.conformance
    return (margin_amount(found.margin.mean, found.margin.sd, limit),)


def _ratio(found: Conformance) -> float:
    ratio = found.margin.mean / found.margin.sd if found.margin.sd > 0 else math.inf
    return ratio if math.isfinite(ratio) else 0.0


def _together(name: str, found: Conformance) -> str:
    return (
        f"{name} at once: {share(found.probability, found.low, found.high)} of cars "
        f"({share_range(found.low, found.high)})."
    )


def guard_bands(report: Report) -> Table:
    """Guard bands, in the words of JCGM 106:2012."""
    rows = []
    for limit in report.summary.limits:
        found = limit.conformance
        guard = amount(found.guard_band, limit, spread=abs(found.guard_band), difference=True)
        surplus = amount(found.margin.surplus, limit, spread=found.margin.sd, difference=True, plus=True)
        rows.append(
            (
                cell(limit.name, Quiet(f" {report.where(limit)}"), order=limit.name),
                cell(guard),
                cell(surplus),
                cell(count(found.trials), order=found.trials),
                cell(count(found.failed), order=found.failed),
            )
        )
    return Table(
        "guard-bands",
        "Guard bands (JCGM 106:2012). The guard band is how far inside the limit the median car "
        "must lie for enough of the others to meet it too; spare is how much farther inside it lies, "
        "negative where it falls short.",
        (
            Column("Limit", width=40),
            Column("Guard band", number=True, width=15, mixed=True),
            Column("Spare", number=True, width=15, mixed=True),
            Column("Cars", number=True, width=15),
            Column("No answer", number=True, width=15),
        ),
        tuple(rows),
        small=True,
        aside=True,
    )
