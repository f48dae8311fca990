"""What ``squatline screen`` prints: who matters where, and who may be given a plain value."""

from __future__ import annotations

from typing import Any

from rich.box import SIMPLE_HEAD
from rich.table import Table
from rich.text import Text

from explorer.analyses.screening import ScreenedInputs
from explorer.console.terminal import percent
from explorer.study.study import Study
from reports.terminal import screen


def show_screening(study: Study, look: ScreenedInputs) -> None:
    """Print the inputs that matter, and the sentence on those that do not."""
    out = screen()
    out.print(Text(study.title, style="bold"))
    table = Table(
        box=SIMPLE_HEAD,
        title="Inputs that may matter: largest share of the spread of any limit's margin",
        title_justify="left",
    )
    for heading in ("input", "share", "of the margin of", "limits it may matter to"):
        table.add_column(heading, justify="right" if heading == "share" else "left")
    for one in look.inputs:
        if one.matters_to and one.most is not None:
            share = f"{_share(one.most.share)} (at most {_share(one.most.share_at_most)})"
            table.add_row(Text(one.name), share, Text(str(one.limit)), str(len(one.matters_to)))
    out.print(table)
    for limit, note in look.notes:
        out.print(Text(f"! {limit}: {note}"))
    out.print(Text(verdict_on_the_rest(look), style="bold"))
    if look.idle:
        out.print(Text("  " + ", ".join(one.name for one in look.idle)))
    out.print(
        Text(
            f"From {look.rows} cars, each input drawn anew in turn while the others stay. "
            "A quick look that only sorts out; 'squatline run' ranks."
        )
    )


def verdict_on_the_rest(look: ScreenedInputs) -> str:
    """Say how many inputs matter to no limit, and what follows."""
    idle, every, tiny = len(look.idle), len(look.inputs), percent(look.negligible)
    if not idle:
        return (
            f"None of the {every} inputs can be left alone: each may answer for {tiny} of the spread of some "
            "margin."
        )
    together = _share(look.rest_at_most)
    return (
        f"{idle} of {every} inputs matter to no limit: each answers for less than {tiny} of the spread of "
        f"any margin, all of them together for at most {together}. Each may be given a plain value, and none "
        "is worth measuring better for these limits:"
    )


def _share(value: float) -> str:
    """Say a share; an estimate above the whole is as good as the whole."""
    return percent(min(value, 1.0))


def screening_as_data(look: ScreenedInputs) -> dict[str, Any]:
    """Return the same as plain data."""
    return {
        "rows": look.rows,
        "negligible": look.negligible,
        "inputs": [
            {
                "input": one.name,
                "members": list(one.members),
                "limit": one.limit,
                "share": one.most.share if one.most else 0.0,
                "share_at_most": one.most.share_at_most if one.most else 0.0,
                "matters_to": list(one.matters_to),
            }
            for one in look.inputs
        ],
        "matter_to_no_limit": [one.name for one in look.idle],
        "together_at_most": look.rest_at_most,
        "notes": dict(look.notes),
    }
