"""What `run` prints of the measurements: sentence, table, chart, order, and what none of them can settle."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import accumulate
from typing import Any

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from explorer.console.text_chart import hours_chart
from explorer.estimators.measuring_plan import in_hours, in_percent
from explorer.graph.units import rounded

Record = Mapping[str, Any]
# An effect within so many standard errors of nought is none that shows.
_TELLING = 2.0
_WRONG_CALL = "A wrong call is to take the car as good when it is not, or to turn it down when it is."


def show_measuring(out: Console, plan: Record) -> None:
    """Print a measuring plan as it stands in the summary."""
    out.print(Text(_sentence(str(plan["headline"])), style="bold"))
    if plan["alone"]:
        out.print(Text(_WRONG_CALL))
        out.print(_alone_table(plan))
        _show_chart(out, plan)
    labels = {one["measurement"]: one["label"] for one in plan["alone"]}
    for turn, step in enumerate(plan["steps"], start=1):
        so_far = in_hours(step["hours_so_far"])
        tied = ", ".join(labels.get(name, name) for name in step["tied_with"])
        tied = f"; as good in this turn: {tied}" if tied else ""
        words = f"{step['label']}, {in_hours(step['hours'])} ({so_far} so far){tied}"
        out.print(Text(f"  {'first' if turn == 1 else 'then'} the {words}"))
    for outlook in plan["outlooks"]:
        if outlook["design_must_change"]:
            out.print(Text(f"! {outlook['limit']}: {outlook['words']}"))


def _in_money(plan: Record) -> bool:
    return str(plan["unit"]) == "cost"


def _alone_table(plan: Record) -> Table:
    """Each measurement alone, the most useful first, with the limit where it avoids most wrong calls."""
    best: dict[str, Record] = {}
    for worth in plan["worths"]:
        held = best.get(worth["measurement"])
        if held is None or _avoided(worth) > _avoided(held):
            best[worth["measurement"]] = worth
    table = Table(box=SIMPLE_HEAD, title="What each measurement would bring, alone", title_justify="left")
    gain = "money saved, on average" if _in_money(plan) else "wrong calls avoided in 100 cars"
    for heading in (
        "no.",
        "measure",
        "takes",
        gain,
        "chance of a wrong call",
        "on the limit",
        "settled then",
    ):
        table.add_column(heading)
    for place, one in enumerate(plan["alone"], start=1):
        table.add_row(str(place), f"the {one['label']}", in_hours(one["hours"]), *_effect(plan, one, best))
    return table


def _effect(plan: Record, one: Record, best: Mapping[str, Record]) -> tuple[str | Text, ...]:
    if not _tells(one["gain"]):
        return ("no change that shows",)
    worth = best[one["measurement"]]
    before, after = (worth[when]["wrong_call"]["value"] for when in ("before", "after"))
    settled = worth["after"]["passes"]["value"] + worth["after"]["fails"]["value"]
    return (
        _gain_words(plan, one["gain"]),
        f"{in_percent(before)} to {in_percent(after)}",
        Text(worth["limit"]),
        in_percent(settled),
    )


def _gain_words(plan: Record, gain: Record) -> str:
    factor = 1.0 if _in_money(plan) else 100.0
    value, error = factor * float(gain["value"]), factor * _TELLING * float(gain["error"])
    return f"{rounded(value, error)} ± {rounded(error, error)}" if error > 0 else f"{value:.3g}"


def _show_chart(out: Console, plan: Record) -> None:
    """Draw what shows; nothing where nothing does."""
    factor = 1.0 if _in_money(plan) else 100.0
    points = [
        (str(place), float(one["hours"]), factor * float(one["gain"]["value"]))
        for place, one in enumerate(plan["alone"], start=1)
        if _tells(one["gain"])
    ]
    if not points:
        return
    gains = accumulate(factor * float(step["gain"]["value"]) for step in plan["steps"])
    steps = [(float(step["hours_so_far"]), value) for step, value in zip(plan["steps"], gains, strict=True)]
    gain = "Money saved" if _in_money(plan) else "Wrong calls avoided in 100 cars"
    words = f"{gain}, against hours: each number alone; the line adds up the best order"
    out.print(Text(words if steps else words.partition(";")[0], style="italic"))
    for line in hours_chart(points, steps, most_hours=float(plan["budget_hours"])):
        out.print(Text(line), soft_wrap=True)


def _avoided(worth: Record) -> float:
    return float(worth["wrong_calls_avoided"]["value"])


def _tells(gain: Record) -> bool:
    return float(gain["value"]) > _TELLING * float(gain["error"])


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:] + ("" if words.endswith(".") else ".")
