"""Which measurement to make first, what each is worth, and what no measurement can settle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from reports.amounts import percent, share, share_range
from reports.blocks import (
    Block,
    Cell,
    Column,
    Figure,
    Heading,
    Line,
    Paragraph,
    Quiet,
    Section,
    Strong,
    Table,
    cell,
)
from reports.charts import Bar, share_bars
from reports.options import SYSTEMS
from reports.report import Report, in_words, number, sentence

Record = Mapping[str, Any]
# An effect within so many standard errors of nought is none that shows.
_TELLING = 2.0


def build(report: Report) -> Section | None:
    """Print the plan as it stands in the summary."""
    plan = report.summary.extra.get("measuring")
    if not isinstance(plan, Mapping):
        return None
    blocks: list[Block] = [Paragraph((Strong(sentence(str(plan["headline"]))),), lead=True)]
    if plan["steps"]:
        blocks += [Heading("In this order"), _steps(plan)]
    best = best_of_each(plan["worths"])
    if best:
        blocks += [Heading("Each measurement alone"), *_worths(best)]
    if plan["outlooks"]:
        blocks += [Heading("What measuring can settle"), _outlooks(plan["outlooks"])]
    return Section("measuring", "What to measure first", tuple(blocks))


def _hours(hours: float) -> str:
    return f"{hours:g} hour{'' if hours == 1 else 's'}"


def _steps(plan: Record) -> Table:
    spent = any(step["cost"] for step in plan["steps"])
    columns = [
        Column("Turn", number=True, width=10),
        Column("Measure", width=34),
        Column("Takes", number=True, width=12),
    ]
    columns += [Column("So far", number=True, width=12)]
    columns += [Column("Cost so far", number=True, width=12)] if spent else []
    rows = []
    for turn, step in enumerate(plan["steps"], start=1):
        row = [
            cell(str(turn), order=turn),
            cell(f"the {step['label']}", *_tied(step["tied_with"])),
            cell(_hours(step["hours"]), order=step["hours"]),
            cell(_hours(step["hours_so_far"]), order=step["hours_so_far"]),
        ]
        row += [cell(f"{step['cost_so_far']:g}", order=step["cost_so_far"])] if spent else []
        rows.append((*row, cell(*_effect(step["limits"]))))
    columns.append(Column("Chance of a wrong call", width=20 if spent else 30))
    return Table(
        "measuring-plan",
        f"Measurements within {_hours(plan['budget_hours'])}, each weighed with those before it known. "
        "A wrong call takes a car as good that is not, or the other way round.",
        tuple(columns),
        tuple(rows),
        sortable=False,
    )


def _tied(names: Sequence[str]) -> tuple[Quiet, ...]:
    return (Quiet(f" as good: {', '.join(map(in_words, names))}"),) if names else ()


def _effect(limits: Mapping[str, Sequence[Record]]) -> Line:
    """Say on which limit a step avoids most wrong calls, and how many."""
    name, (before, after) = max(limits.items(), key=lambda item: _call(item[1][0]) - _call(item[1][1]))
    return (f"{_percent(before)} to {_percent(after)}", Quiet(f" {name}"))


def _call(outcome: Record) -> float:
    return number(outcome["wrong_call"]["value"])


def _percent(outcome: Record) -> str:
    found = outcome["wrong_call"]
    return share(found["value"], *_interval(found))


def _interval(expected: Record) -> tuple[float, float]:
    value, error = number(expected["value"]), number(expected["error"])
    return max(0.0, value - _TELLING * error), min(1.0, value + _TELLING * error)


def best_of_each(worths: Sequence[Record]) -> list[Record]:
    """Return each measurement on the limit where it avoids most wrong calls, the most useful first."""
    best: dict[str, Record] = {}
    for worth in worths:
        held = best.get(worth["measurement"])
        if held is None or _avoided(worth) > _avoided(held):
            best[worth["measurement"]] = worth
    return sorted(best.values(), key=_avoided, reverse=True)


def _avoided(worth: Record) -> float:
    return number(worth["wrong_calls_avoided"]["value"])


def _tells(worth: Record) -> bool:
    return _avoided(worth) > _TELLING * number(worth["wrong_calls_avoided"]["error"])


def _worths(best: Sequence[Record]) -> tuple[Block, ...]:
    table = _worth_table(best)
    telling = [worth for worth in best if _tells(worth)]
    if not telling:
        return (Paragraph(("None of them, alone, makes a difference that shows.",)), table)
    bars = [
        Bar(in_words(worth["measurement"]), _avoided(worth), *_interval(worth["wrong_calls_avoided"]))
        for worth in telling
    ]
    first = telling[0]
    figure = Figure(
        name="measuring-worth",
        title="Wrong calls that each measurement would avoid",
        alternative="Bars of the wrong calls avoided: "
        + ", ".join(f"{bar.name} {percent(round(bar.value, 4))}" for bar in bars)
        + ".",
        caption=(
            Strong(in_words(first["measurement"])),
            f" avoids {share(bars[0].value, bars[0].low, bars[0].high)} wrong calls "
            f"({share_range(bars[0].low, bars[0].high)}) on “{first['limit']}”. Whiskers are two "
            "standard errors.",
        ),
        charts=(share_bars(bars, axis="wrong calls avoided, of all cars [%]"),) * len(SYSTEMS),
    )
    return figure, table


def _worth_table(best: Sequence[Record]) -> Table:
    return Table(
        "measuring-alone",
        "Each measurement alone, on the limit where it helps most. Settled means known to hold, or not, "
        "with the required probability.",
        (
            Column("Measurement", width=24),
            Column("Takes", number=True, width=12),
            Column("Chance of a wrong call", number=True, width=20),
            Column("On the limit", width=24),
            Column("Settles it with", number=True, width=20),
        ),
        tuple(_worth_row(worth) for worth in best),
        small=True,
    )


def _worth_row(worth: Record) -> tuple[Cell, ...]:
    name = cell(in_words(worth["measurement"]))
    takes = cell(_hours(worth["hours"]), order=worth["hours"])
    if not _tells(worth):
        return name, takes, cell(Quiet("no change that shows"), order=0.0), cell(""), cell("", order=-1.0)
    after = worth["after"]
    settled = number(after["passes"]["value"]) + number(after["fails"]["value"])
    return (
        name,
        takes,
        cell(f"{_percent(worth['before'])} to {_percent(after)}", order=-_avoided(worth)),
        cell(str(worth["limit"])),
        cell(percent(round(settled, 2)), order=settled),
    )


def _outlooks(outlooks: Sequence[Record]) -> Table:
    return Table(
        "measuring-outlook",
        "Each limit: the chance of a wrong call now and after the plan, and what measuring can do for it.",
        (
            Column("Limit", width=30),
            Column("Now", number=True, width=12),
            Column("After the plan", number=True, width=12),
            Column("What measuring can do", width=34),
            Column("Design", width=12),
        ),
        tuple(
            (
                cell(str(outlook["limit"])),
                cell(_percent(outlook["now"]), order=_call(outlook["now"])),
                cell(_percent(outlook["planned"]), order=_call(outlook["planned"])),
                cell(sentence(in_words(str(outlook["words"])))),
                cell(Strong("must change") if outlook["design_must_change"] else Quiet("may stay")),
            )
            for outlook in outlooks
        ),
        small=True,
    )
