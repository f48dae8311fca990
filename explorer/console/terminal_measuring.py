"""What `run` prints of the measurements: the sentence, the order, and what none of them can settle."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from explorer.estimators.measuring_plan import in_hours, in_percent


def show_measuring(out: Console, plan: Mapping[str, Any]) -> None:
    """Print a measuring plan as it stands in the summary."""
    out.print(Text(_sentence(str(plan["headline"])), style="bold"))
    if plan["worths"]:
        out.print(_worth_table(plan))
    for number, step in enumerate(plan["steps"], start=1):
        so_far = in_hours(step["hours_so_far"])
        tied = f"; tied with {', '.join(step['tied_with'])}" if step["tied_with"] else ""
        out.print(Text(f"  {number}. {step['label']}, {in_hours(step['hours'])} ({so_far} so far){tied}"))
    for outlook in plan["outlooks"]:
        if outlook["design_must_change"]:
            out.print(Text(f"! {outlook['limit']}: {outlook['words']}"))


def _worth_table(plan: Mapping[str, Any]) -> Table:
    """Each measurement alone, on the limit where it avoids most wrong calls."""
    best: dict[str, Mapping[str, Any]] = {}
    for worth in plan["worths"]:
        held = best.get(worth["measurement"])
        if held is None or _avoided(worth) > _avoided(held):
            best[worth["measurement"]] = worth
    table = Table(box=SIMPLE_HEAD, title="What each measurement would bring, alone", title_justify="left")
    for heading in ("measurement", "takes", "chance of a wrong call", "on the limit", "settles it with"):
        table.add_column(heading)
    for worth in sorted(best.values(), key=_avoided, reverse=True):
        before, after = (worth[when]["wrong_call"]["value"] for when in ("before", "after"))
        settled = worth["after"]["passes"]["value"] + worth["after"]["fails"]["value"]
        table.add_row(
            Text(worth["measurement"].replace("_", " ")),
            in_hours(worth["hours"]),
            f"{in_percent(before)} to {in_percent(after)}" if _tells(worth) else "no change that shows",
            Text(worth["limit"] if _tells(worth) else ""),
            in_percent(settled) if _tells(worth) else "",
        )
    return table


def _avoided(worth: Mapping[str, Any]) -> float:
    return float(worth["wrong_calls_avoided"]["value"])


def _tells(worth: Mapping[str, Any]) -> bool:
    avoided = worth["wrong_calls_avoided"]
    return float(avoided["value"]) > 2 * float(avoided["error"])


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:] + ("" if words.endswith(".") else ".")
