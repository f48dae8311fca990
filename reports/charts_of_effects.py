"""Which way each input moves a margin: bars to either side of zero, levers dark, doubts pale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from reports.charts import WIDE, few_ticks, finished, height_of, named_rows, of_rows, row_names, told
from reports.later import alt
from reports.theme import ACCENT, BAND, INK


@dataclass(frozen=True)
class SignedBar:
    """A change with its interval, in the unit shown; ``lever`` where a builder can set the input."""

    name: str
    value: float
    low: float
    high: float
    lever: bool


def signed_bars(bars: Sequence[SignedBar], *, axis: str) -> dict[str, Any]:
    """Draw changes as bars from zero, each with its interval; what can be set is dark."""
    kinds = ["can be set", "can only be measured"]
    named = row_names(bar.name for bar in bars)
    rows = [vars(bar) | {"name": named[bar.name], "lever": kinds[not bar.lever]} for bar in bars]
    base = of_rows(rows).encode(
        y=named_rows(),
        tooltip=told({"name": "input"}, {"value": axis, "low": "low", "high": "high"}, ".3~g"),
    )
    fill = alt.Color(
        "lever:N",
        scale=alt.Scale(domain=kinds, range=[ACCENT, BAND]),
        legend=alt.Legend(title=None, orient="top"),
    )
    layers = [
        base.mark_bar(size=12).encode(x=alt.X("value:Q", title=axis, axis=few_ticks(6)), color=fill),
        base.mark_rule(color=INK, strokeWidth=1.4).encode(x=alt.X("low:Q", title=axis), x2=alt.X2("high:Q")),
        of_rows([{"zero": 0}]).mark_rule(color=INK).encode(x=alt.X("zero:Q")),
    ]
    return finished(alt.layer(*layers), WIDE, height_of([bar.name for bar in bars]))
