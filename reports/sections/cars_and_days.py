"""Both kinds of not knowing: limits that ask sure, and whether ignorance or the day decides each limit."""

from __future__ import annotations

import math
from functools import partial
from typing import Any

from explorer.estimators.sensitivity import Estimate, Index
from explorer.graph.written import chance, percent
from explorer.results.records import LimitRecord
from reports.blocks import Block, Bullets, Column, Figure, Line, Part, Quiet, Table, cell
from reports.charts import Mark
from reports.charts_of_designs import ChanceCurve, chances
from reports.findings import WORTH_NAMING, in_both_words, of_100, slug
from reports.formatting import Scale, amount, count, scale, share, share_range
from reports.report import Report

_CARS = ("Poor car", "Median car", "Good car")
# A day that has less of what decides than this is not worth a line.
_LITTLE = 0.1


def told_apart(report: Report) -> list[Block]:
    """Say both words of limits that ask sure, draw their cars, and what the day decides of those not met."""
    limits = report.summary.limits
    sure = [limit for limit in limits if limit.sureness is not None]
    lines = [_surely(limit) for limit in sure]
    standing = [one for one in limits if one not in sure and one.conformance.verdict != "pass"]
    lines += [line for limit in standing for line in _day(report, limit)]
    blocks: list[Block] = [Bullets(tuple(lines))] if lines else []
    return [*blocks, *(_family(report, limit) for limit in sure)]


def _surely(limit: LimitRecord) -> Line:
    """Say both kinds of not knowing of a limit."""
    found = limit.sureness
    assert found is not None
    kind = "what is not known of the car" if found.ignorance > 0.5 else "the day"
    asked_for = f"{percent(found.required)} of runs are asked, {percent(found.sure)} sure"
    return (
        f"{limit.name}: met in {in_both_words(found)}. {asked_for}: of {count(found.cars)} cars, each on "
        f"{count(found.days)} days, {share(found.often_enough, found.low, found.high)} meet it so often "
        f"({share_range(found.low, found.high)}; that the days are few is allowed for). Mostly {kind} "
        f"decides: {chance(found.ignorance)} of the margin's variance could be learnt by "
        "measuring the car; the rest differs from run to run.",
    )


def _day(report: Report, limit: LimitRecord) -> list[Line]:
    """Say how far the day decides a limit, where it does to any extent."""
    found = limit.between_cars
    told = [
        (of, share_)
        for of, share_ in (
            ("whether it is met", found and found.decision),
            ("the margin's variance", found and found.margin),
        )
        # What lies on both sides of one half tells neither.
        if share_ and not share_.low <= 0.5 <= share_.high
    ]
    if not told or told[0][1].value > 1 - _LITTLE:
        return []
    of, learnt = told[0]
    kind = "what is not known of the car" if learnt.value > 0.5 else "the day"
    day = _leading(report, limit, varies=True)
    read = f"; of the day most is {day}, which can be read before the run and given as [today]" if day else ""
    return [
        (
            f"{limit.name}: mostly {kind} decides. {_words(learnt)} of {of} could be learnt by "
            f"measuring the car; the rest differs from run to run{read}.",
        )
    ]


def _words(found: Estimate) -> str:
    return f"{share(found.value, found.low, found.high)} ({share_range(found.low, found.high)})"


def leading_of(report: Report, limit: LimitRecord, *, varies: bool) -> Index | None:
    """Return the first of what could be learnt, or of the day, that is worth naming for a limit."""
    for index in limit.sensitivity.indices if limit.sensitivity else ():
        record = report.inputs.get((index.members or (index.name,))[0])
        if record is not None and record.varies is varies:
            return index if index.total.value >= WORTH_NAMING else None
    return None


def _leading(report: Report, limit: LimitRecord, *, varies: bool) -> str:
    index = leading_of(report, limit, varies=varies)
    return "" if index is None else f"{report.input_name(index.name)} ({chance(index.total.value)})"


def _family(report: Report, limit: LimitRecord) -> Figure:
    """Draw the family of curves: how much room a poor, a middle and a good car have over their runs."""
    found = limit.sureness
    assert found is not None
    finding = (
        f"{percent(found.sure)} of cars meet it in at least {of_100(found.at_least)} of 100 runs, "
        f"{percent(found.required)} are required to."
    )
    return Figure(
        name=f"family-{slug(limit.name)}",
        title=f"Runs of a poor, a median and a good car: {limit.name}",
        alternative=(
            "Estimate of runs with less room to the limit than shown along, a curve each for three cars. "
            f"{finding}",
        ),
        caption=(
            f"{finding} From curve to curve: what is not known of the car. Along a curve: the day. A poor "
            "car has more room than one car in twenty, a good one than nineteen.",
        ),
        draw=partial(_curves, limit),
        scales=lambda system: (scale(limit, system, magnitude=limit.conformance.margin.sd, difference=True),),
        numbers=_numbers(limit),
    )


def _curves(limit: LimitRecord, shown: Scale) -> dict[str, Any]:
    found = limit.sureness
    assert found is not None
    curves = []
    for place, name in enumerate(_CARS):
        points = [
            (shown.value(values[place]), level)
            for level, values in zip(found.levels, found.family, strict=True)
            if math.isfinite(values[place])
        ]
        curves.append(ChanceCurve(name, [x for x, _ in points], [level for _, level in points]))
    return chances(
        curves,
        x_axis=shown.titled("room to the limit"),
        y_axis="runs with less room [%]",
        marks=[Mark(0.0, "limit")],
        required=[Mark(100 * (1 - found.required), "may miss it")],
    )


def _numbers(limit: LimitRecord) -> Table:
    found = limit.sureness
    assert found is not None

    def shown(value: float) -> Part:
        if not math.isfinite(value):
            return Quiet("no answer")
        spread = limit.conformance.margin.sd
        return amount(value, limit, spread=spread, difference=True, plus=True)

    rows = [
        (cell(percent(level), order=level), *(cell(shown(value), order=value) for value in values))
        for level, values in zip(found.levels, found.family, strict=True)
    ]
    return Table(
        f"family-{slug(limit.name)}",
        f"{limit.name}: the room to the limit that so many runs of a car stay below.",
        (
            Column("Runs below", number=True, width=22),
            *(Column(name, number=True, width=26) for name in _CARS),
        ),
        tuple(rows),
        small=True,
        sortable=False,
    )


def ignorance_or_day(report: Report) -> list[Block]:
    """List for each limit what could be learnt of it, and what leads among that and among the day."""
    told = [(limit, limit.between_cars) for limit in report.summary.limits if limit.between_cars]
    if not told:
        return []

    def shown(found: Estimate | None) -> tuple[Part, ...]:
        if found is None:
            return (Quiet("does not vary"),)
        return (
            share(found.value, found.low, found.high),
            Quiet(f" {share_range(found.low, found.high)}"),
        )

    return [
        Table(
            "between-cars",
            "What is not known of the car, or the day: how much of the margin's variance, and of meeting the "
            "limit or not, lies between cars and could be learnt (95 % interval; "
            f"{count(told[0][1].cars)} cars on two days each). Then what leads the spread among what could "
            "be learnt, and among what is the day.",
            (
                Column("Limit", width=28),
                Column("Margin", number=True, width=15),
                Column("Met or not", number=True, width=15),
                Column("Leads what could be learnt", width=21),
                Column("Leads the day", width=21),
            ),
            tuple(
                (
                    cell(limit.name),
                    cell(*shown(found.margin), order=found.margin.value if found.margin else 1.0),
                    cell(*shown(found.decision), order=found.decision.value if found.decision else 1.0),
                    cell(_leading(report, limit, varies=False)),
                    cell(_leading(report, limit, varies=True)),
                )
                for limit, found in told
            ),
            small=True,
        )
    ]
