"""Cars that miss a limit beside those that meet it: against one input, and in what they have in common."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from reports.charts import NARROW, Mark, across, few_ticks, finished, named_rows, of_rows, row_names, told
from reports.later import alt
from reports.theme import BAND, INK

_MEET, _MISS = "meet it", "miss it"
# Of half a page names may take a half.
_NAME = 24


@dataclass(frozen=True)
class TwoGroups:
    """One input among the cars that meet a limit and those that miss it: quartile, median, quartile."""

    name: str
    meet: tuple[float, float, float]
    miss: tuple[float, float, float]


def _colours() -> Any:
    return alt.Scale(domain=[_MEET, _MISS], range=[BAND, INK])


def margins_along(cars: Iterable[tuple[float, float]], *, x_axis: str, y_axis: str) -> dict[str, Any]:
    """Draw a point a car, its input and margin; those that miss the limit are dark and filled."""
    rows = [{"x": x, "y": margin, "side": _MEET if margin >= 0 else _MISS} for x, margin in cars]
    points = (
        of_rows(rows)
        .mark_point(size=16, opacity=1, strokeWidth=1)
        .encode(
            x=alt.X(
                "x:Q", title=x_axis, scale=alt.Scale(zero=False, nice=False, padding=6), axis=few_ticks()
            ),
            y=alt.Y("y:Q", title=y_axis, scale=alt.Scale(nice=False, padding=6), axis=few_ticks()),
            color=alt.Color("side:N", scale=_colours(), legend=None),
            fill=alt.condition(f"datum.side == '{_MISS}'", alt.value(INK), alt.value("white")),
            tooltip=[*told({}, {"x": x_axis, "y": y_axis}), *told({"side": "this car and the limit"}, {})],
        )
    )
    return finished(alt.layer(points, *across([Mark(0.0, "limit")])), NARROW, 150)


def groups_apart(groups: Sequence[TwoGroups]) -> dict[str, Any]:
    """Draw two bars a row: the middle half of the cars that meet the limit, and of those that miss it."""
    named = row_names((one.name for one in groups), _NAME)
    rows = [
        {
            "name": named[one.name],
            "group": group,
            "low": low,
            "median": median,
            "high": high,
        }
        for one in groups
        for group, (low, median, high) in ((_MEET, one.meet), (_MISS, one.miss))
    ]
    title = ["standard deviations", "from the median car"]
    numbers = {"low": "a quarter below", "median": "median", "high": "a quarter above"}
    base = of_rows(rows).encode(
        y=named_rows(),
        yOffset=alt.YOffset("group:N", sort=[_MEET, _MISS]),
        tooltip=told({"name": "input", "group": "cars that"}, numbers, ".2f"),
    )
    colour = alt.Color(
        "group:N",
        scale=_colours(),
        legend=alt.Legend(title="cars that", orient="top", titleFontWeight="normal"),
    )
    layers = [
        base.mark_bar(size=7).encode(
            x=alt.X("low:Q", title=title, axis=few_ticks()), x2=alt.X2("high:Q"), color=colour
        ),
        base.mark_point(size=40, filled=True, opacity=1, color="white", stroke=INK, strokeWidth=1).encode(
            x=alt.X("median:Q", title=title)
        ),
    ]
    return finished(alt.layer(*layers), NARROW, 28 * len(groups))
