"""Which measurement to make first, what each is worth, and what no measurement can settle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import accumulate
from typing import Any

from explorer.graph.units import rounded
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
from reports.charts_of_measuring import Rise, Spot, Standing, value_against_hours
from reports.formatting import share
from reports.options import SYSTEMS
from reports.report import Report, number, sentence

Record = Mapping[str, Any]
# An effect within so many standard errors of nought is none that shows.
_TELLING = 2.0
WRONG_CALL = (
    "A wrong call is to take the car as good when it is not, or to turn it down when it is. What is not "
    "known well enough leads to wrong calls; a measurement is worth the wrong calls it avoids."
)


def build(report: Report) -> Section | None:
    """Print the plan as it stands in the summary: the sentence, the table, the chart, then the order."""
    found = report.summary.extra.get("measuring")
    if not isinstance(found, Mapping):
        return None
    plan = {"alone": (), **found}
    blocks: list[Block] = [Paragraph((Strong(sentence(str(plan["headline"]))),), lead=True)]
    blocks.append(Paragraph((WRONG_CALL,)))
    if plan["alone"]:
        blocks += [_alone_table(plan), _figure(plan)]
    if plan["steps"]:
        blocks += [Heading("In this order"), _steps(plan)]
    if plan["outlooks"]:
        blocks += [Heading("What measuring can settle"), _outlooks(plan["outlooks"])]
    return Section("measuring", "What to measure first", tuple(blocks))


def _hours(hours: float) -> str:
    return f"{hours:g} hour{'' if hours == 1 else 's'}"


def _numbers(plan: Record) -> dict[str, int]:
    """Give each measurement its number, the most useful one first."""
    return {str(one["measurement"]): place for place, one in enumerate(plan["alone"], start=1)}


def _in_money(plan: Record) -> bool:
    return str(plan["unit"]) == "cost"


def _factor(plan: Record) -> float:
    """Money is written as it is, wrong calls of a hundred cars."""
    return 1.0 if _in_money(plan) else 100.0


def _unit(plan: Record) -> str:
    return "money saved, on average" if _in_money(plan) else "wrong calls avoided in 100 cars"


def _tells(gain: Record) -> bool:
    return number(gain["value"]) > _TELLING * number(gain["error"])


def _gain_words(plan: Record, gain: Record) -> str:
    """Write a gain with two standard errors."""
    value, error = _factor(plan) * number(gain["value"]), _factor(plan) * _TELLING * number(gain["error"])
    return f"{rounded(value, error)} ± {rounded(error, error)}" if error > 0 else f"{value:.3g}"


def _standing(plan: Record, one: Record) -> Standing:
    if not _tells(one["gain"]):
        return "no change that shows"
    telling = {str(other["measurement"]) for other in plan["alone"] if _tells(other["gain"])}
    return "tied with another" if telling & set(one["tied_with"]) else "stands out"


def _alone_table(plan: Record) -> Table:
    numbers, best = _numbers(plan), best_of_each(plan["worths"])
    return Table(
        "measuring-alone",
        "Each measurement alone, the most useful first. Settled: afterwards known to hold, or not to "
        "hold, as surely as was asked.",
        (
            Column("No.", number=True, width=8),
            Column("Measure", width=26),
            Column("Takes", number=True, width=12),
            Column(sentence(_unit(plan))[:-1], number=True, width=16),
            Column("Chance of a wrong call, where it helps most", width=26),
            Column("Settled then", number=True, width=12),
        ),
        tuple(
            _alone_row(plan, one, numbers, best[str(one["measurement"])])
            for one in plan["alone"]
            if str(one["measurement"]) in best
        ),
        small=True,
    )


def _alone_row(plan: Record, one: Record, numbers: Mapping[str, int], worth: Record) -> tuple[Cell, ...]:
    place = numbers[str(one["measurement"])]
    head = (
        cell(str(place), order=place),
        cell(f"the {one['label']}", *_tied(plan, one, numbers)),
        cell(_hours(one["hours"]), order=one["hours"]),
    )
    if not _tells(one["gain"]):
        return (*head, cell(Quiet("no change that shows"), order=0.0), cell(""), cell("", order=-1.0))
    after = worth["after"]
    settled = number(after["passes"]["value"]) + number(after["fails"]["value"])
    return (
        *head,
        cell(_gain_words(plan, one["gain"]), order=-number(one["gain"]["value"])),
        cell(
            f"{_chance(worth['before'])} to {_chance(after)}",
            Quiet(f" {worth['limit']}"),
            order=-_avoided(worth),
        ),
        cell(_rough(settled), order=settled),
    )


def _tied(plan: Record, one: Record, numbers: Mapping[str, int]) -> tuple[Quiet, ...]:
    if _standing(plan, one) != "tied with another":
        return ()
    telling = {str(other["measurement"]) for other in plan["alone"] if _tells(other["gain"])}
    tied = sorted(numbers[name] for name in one["tied_with"] if name in telling)
    return (Quiet(f" tied with {_listed([f'no. {place}' for place in tied])}"),)


def _rough(chance: float) -> str:
    """Write a chance to the per cent, and never nought for a little."""
    if 0 < chance < 0.005:
        return "under 1 %"
    if 0.995 < chance < 1:
        return "over 99 %"
    return f"{100 * chance:.0f} %"


def _figure(plan: Record) -> Figure:
    numbers, factor = _numbers(plan), _factor(plan)
    spots = [
        Spot(
            numbers[str(one["measurement"])],
            str(one["label"]),
            number(one["hours"]),
            factor * number(one["gain"]["value"]),
            factor * (number(one["gain"]["value"]) - _TELLING * number(one["gain"]["error"])),
            factor * (number(one["gain"]["value"]) + _TELLING * number(one["gain"]["error"])),
            _standing(plan, one),
        )
        for one in plan["alone"]
    ]
    chart = value_against_hours(spots, _rises(plan), budget=number(plan["budget_hours"]), axis=_unit(plan))
    told = "; ".join(
        f"{spot.number}, the {spot.name}: {_hours(spot.hours)}, {spot.value:.2g}, {spot.standing}"
        for spot in spots
    )
    return Figure(
        name="measuring-worth",
        title="What each measurement brings, against the hours it takes",
        alternative=f"Points, {_unit(plan)} against hours. {told}. {_order_words(plan)}",
        caption=_figure_caption(plan),
        charts=(chart,) * len(SYSTEMS),
    )


def _figure_caption(plan: Record) -> Line:
    first = plan["alone"][0]
    words = (
        "Numbers are those of the table; bars reach two standard errors up and down, so that the true "
        "value lies inside nineteen times in twenty. "
    )
    if not _tells(first["gain"]):
        return (words, "None of them, alone, makes a difference that shows.")
    return (
        Strong(f"1, the {first['label']},"),
        f" takes {_hours(first['hours'])} and brings {_gain_words(plan, first['gain'])} "
        f"({_unit(plan)}). {_order_words(plan)} {words}",
    )


def _order_words(plan: Record) -> str:
    if not plan["steps"]:
        return "No order of measurements brings anything that shows."
    numbers = _numbers(plan)
    order = ", then ".join(f"{numbers[str(step['measurement'])]}" for step in plan["steps"])
    rises = _rises(plan)
    return (
        f"The dashed steps add up the best order within {_hours(plan['budget_hours'])}: {order}; in all "
        f"{rises[-1].value:.2g} after {_hours(rises[-1].hours)}."
    )


def _rises(plan: Record) -> list[Rise]:
    numbers, factor = _numbers(plan), _factor(plan)
    so_far = accumulate(number(step["gain"]["value"]) for step in plan["steps"])
    return [
        Rise(numbers[str(step["measurement"])], number(step["hours_so_far"]), factor * value)
        for step, value in zip(plan["steps"], so_far, strict=True)
    ]


def _steps(plan: Record) -> Table:
    spent = any(step["cost"] for step in plan["steps"])
    columns = [
        Column("Turn", number=True, width=10),
        Column("Measure", width=34),
        Column("Takes", number=True, width=12),
        Column("So far", number=True, width=12),
    ]
    columns += [Column("Cost so far", number=True, width=12)] if spent else []
    columns.append(Column("Chance of a wrong call", width=20 if spent else 30))
    numbers = _numbers(plan)
    labels = {str(one["measurement"]): str(one["label"]) for one in plan["alone"]}
    rows = []
    for turn, step in enumerate(plan["steps"], start=1):
        tied = [labels.get(str(name), str(name)) for name in step["tied_with"]]
        row = [
            cell(str(turn), order=turn),
            cell(
                f"the {step['label']}",
                *((f", no. {numbers[name]}",) if (name := str(step["measurement"])) in numbers else ()),
                *((Quiet(f" as good in this turn: {_listed(tied)}"),) if tied else ()),
            ),
            cell(_hours(step["hours"]), order=step["hours"]),
            cell(_hours(step["hours_so_far"]), order=step["hours_so_far"]),
        ]
        row += [cell(f"{step['cost_so_far']:g}", order=step["cost_so_far"])] if spent else []
        rows.append((*row, cell(*_effect(step["limits"]))))
    return Table(
        "measuring-plan",
        f"The best use of {_hours(plan['budget_hours'])}: each measurement weighed with those before it "
        "known, on the limit where it helps most.",
        tuple(columns),
        tuple(rows),
        sortable=False,
    )


def _listed(words: Sequence[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def _effect(limits: Mapping[str, Sequence[Record]]) -> Line:
    """Say on which limit a step avoids most wrong calls, and how many."""
    name, (before, after) = max(limits.items(), key=lambda item: _call(item[1][0]) - _call(item[1][1]))
    return (f"{_chance(before)} to {_chance(after)}", Quiet(f" {name}"))


def _call(outcome: Record) -> float:
    return number(outcome["wrong_call"]["value"])


def _chance(outcome: Record) -> str:
    found = outcome["wrong_call"]
    value, error = number(found["value"]), number(found["error"])
    return share(value, max(0.0, value - _TELLING * error), min(1.0, value + _TELLING * error))


def best_of_each(worths: Sequence[Record]) -> dict[str, Record]:
    """Return each measurement on the limit where it avoids most wrong calls."""
    best: dict[str, Record] = {}
    for worth in worths:
        held = best.get(worth["measurement"])
        if held is None or _avoided(worth) > _avoided(held):
            best[worth["measurement"]] = worth
    return best


def _avoided(worth: Record) -> float:
    return number(worth["wrong_calls_avoided"]["value"])


def _outlooks(outlooks: Sequence[Record]) -> Table:
    return Table(
        "measuring-outlook",
        "Each limit: the chance of a wrong call now and after the measurements above, and what measuring "
        "can do for it.",
        (
            Column("Limit", width=30),
            Column("Now", number=True, width=12),
            Column("Afterwards", number=True, width=12),
            Column("What measuring can do", width=34),
            Column("Design", width=12),
        ),
        tuple(
            (
                cell(str(outlook["limit"])),
                cell(_chance(outlook["now"]), order=_call(outlook["now"])),
                cell(_chance(outlook["planned"]), order=_call(outlook["planned"])),
                cell(sentence(str(outlook["words"]))),
                cell(Strong("must change") if outlook["design_must_change"] else Quiet("may stay")),
            )
            for outlook in outlooks
        ),
        small=True,
    )
