"""Which way each input moves a margin: bars to either side of zero, levers dark, doubts pale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from reports.charts import WIDE, few_ticks, finished, height_of, of_rows, rows_axis, told, wrapped
from reports.later import later
from reports.theme import ACCENT, BAND, INK

if TYPE_CHECKING:
    import altair as alt
else:
    alt = later("altair")


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
    rows = [
        {
            "name": "\n".join(wrapped(bar.name)),
            "value": bar.value,
            "low": bar.low,
            "high": bar.high,
            "kind": "can be set" if bar.lever else "can only be measured",
        }
        for bar in bars
    ]
    base = of_rows(rows).encode(
        y=alt.Y("name:N", title=None, sort=None, axis=rows_axis()),
        tooltip=told({"name": "input"}, {"value": axis, "low": "low", "high": "high"}, ".3~g"),
    )
    fill = alt.Color(
        "kind:N",
        scale=alt.Scale(domain=["can be set", "can only be measured"], range=[ACCENT, BAND]),
        legend=alt.Legend(title=None, orient="top"),
    )
    zero = of_rows([{"zero": 0}]).mark_rule(color=INK).encode(x="zero:Q")
    layers = [
        base.mark_bar(size=12).encode(x=alt.X("value:Q", title=axis, axis=few_ticks(6)), color=fill),
        base.mark_rule(color=INK, strokeWidth=1.4).encode(x=alt.X("low:Q", title=axis), x2="high:Q"),
        zero,
    ]
    return finished(alt.layer(*layers), WIDE - 200, height_of([bar.name for bar in bars]))
