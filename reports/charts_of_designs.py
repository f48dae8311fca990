"""Charts that compare builds: differences with bands, maps over two variables, chances along one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from reports.charts import (
    QUANTILES,
    WIDE,
    Mark,
    ShadedBand,
    across,
    few_ticks,
    finished,
    lifted,
    named_rows,
    of_rows,
    row_names,
    strokes,
    told,
    upright,
    whiskers,
)
from reports.later import alt
from reports.theme import ACCENT, BAND, INK, QUIET

# Chances [%] at which a map changes its grey, dark where limits seldom hold.
_STEPS = (25, 50, 75, 95)
_GREYS = ("#3d454d", "#6f7881", "#a3abb2", "#d0d5da", "#f5f6f8")
# Of names so short four stand side by side in a key, or two; longer ones have a line each.
_SHORT, _HALF = 16, 40
Segments = Sequence[Sequence[float]]


@dataclass(frozen=True)
class Interval:
    """A middle value with the band around it, and its name."""

    name: str
    low: float
    middle: float
    high: float


def intervals(rows: Sequence[Interval], *, axis: str) -> dict[str, Any]:
    """Draw named bands around their middle values; zero is a line, for it means no difference."""
    named = row_names(row.name for row in rows)
    base = of_rows(vars(row) | {"name": named[row.name]} for row in rows).encode(
        y=named_rows(),
        tooltip=told({"name": "difference"}, QUANTILES),
    )
    layers = [
        of_rows([{"at": 0.0}]).mark_rule(color=ACCENT, strokeDash=[5, 3]).encode(x=alt.X("at:Q")),
        *whiskers(base, axis, 1.6, 9),
        base.mark_point(filled=True, shape="circle", size=60, color=INK, opacity=1).encode(
            x=alt.X("middle:Q", title=axis, axis=few_ticks(6))
        ),
    ]
    return finished(alt.layer(*layers), WIDE, 24 * max(len(rows), 1))


@dataclass(frozen=True)
class Map:
    """Chances over two variables: rows along y, columns along x; ``named`` is what stands at ``now``."""

    x: Sequence[float]
    y: Sequence[float]
    chance: Sequence[Sequence[float]]
    signs: Sequence[Sequence[str]]
    boundary: Segments
    now: tuple[float, float] | None
    named: str


def heat_map(shown: Map, *, x_axis: str, y_axis: str) -> dict[str, Any]:
    """Draw a map: light where the chance is high, a sign for the verdict, the boundary as a heavy line."""
    x_edges, y_edges = _edges(shown.x), _edges(shown.y)
    cells = [
        {
            "left": x_edges[i],
            "right": x_edges[i + 1],
            "bottom": y_edges[j],
            "top": y_edges[j + 1],
            "x": x,
            "y": y,
            "chance": 100 * shown.chance[j][i],
            "sign": shown.signs[j][i],
        }
        for j, y in enumerate(shown.y)
        for i, x in enumerate(shown.x)
    ]
    x_scale = alt.Scale(domain=[x_edges[0], x_edges[-1]], zero=False, nice=False)
    y_scale = alt.Scale(domain=[y_edges[0], y_edges[-1]], zero=False, nice=False)
    met = told({}, {"chance": "all limits met [%]"}, ".1f")
    base = of_rows(cells).encode(tooltip=[*told({}, {"x": x_axis, "y": y_axis}), *met])
    layers: list[Any] = [
        base.mark_rect(stroke="white", strokeWidth=0.5).encode(
            x=alt.X("left:Q", title=x_axis, scale=x_scale, axis=few_ticks(6)),
            x2=alt.X2("right:Q"),
            y=alt.Y("bottom:Q", title=y_axis, scale=y_scale, axis=few_ticks(6)),
            y2=alt.Y2("top:Q"),
            color=alt.Color(
                "chance:Q",
                scale=alt.Scale(type="threshold", domain=list(_STEPS), range=list(_GREYS)),
                legend=alt.Legend(title=["all limits", "met [%]"], type="symbol", symbolType="square"),
            ),
        ),
        base.mark_text(baseline="middle", fontSize=10).encode(
            x=alt.X("x:Q"),
            y=alt.Y("y:Q"),
            text=alt.Text("sign:N"),
            color=alt.condition(f"datum.chance < {_STEPS[1]}", alt.value("white"), alt.value(INK)),
        ),
    ]
    if shown.boundary:
        pieces = [{"a": a, "b": b, "c": c, "d": d} for a, b, c, d in shown.boundary]
        line = of_rows(pieces).mark_rule(color=ACCENT, strokeWidth=3)
        layers.append(line.encode(x=alt.X("a:Q"), y=alt.Y("b:Q"), x2=alt.X2("c:Q"), y2=alt.Y2("d:Q")))
    if shown.now:
        at = {"x": shown.now[0], "y": shown.now[1], "name": shown.named}
        place = of_rows([at]).encode(x=alt.X("x:Q"), y=alt.Y("y:Q"))
        layers += [
            place.mark_point(shape="diamond", size=130, color=INK, fill="white", opacity=1),
            *lifted(place.encode(text=alt.Text("name:N")), dy=-13),
        ]
    return finished(alt.layer(*layers), 420, 260, plot=True)


def _edges(values: Sequence[float]) -> list[float]:
    """Return the borders half way between values, and as far beyond the ends."""
    if len(values) == 1:
        return [values[0] - 0.5, values[0] + 0.5]
    inner = [(a + b) / 2 for a, b in pairwise(values)]
    return [2 * values[0] - inner[0], *inner, 2 * values[-1] - inner[-1]]


@dataclass(frozen=True)
class ChanceCurve:
    """A chance against one variable, with its name."""

    name: str
    x: Sequence[float]
    chance: Sequence[float]


def chances(
    curves: Sequence[ChanceCurve],
    *,
    x_axis: str,
    y_axis: str = "cars that meet it [%]",
    marks: Sequence[Mark] = (),
    required: Sequence[Mark] = (),
) -> dict[str, Any]:
    """Draw chances against one variable: a line each, told apart by dash and by the key beside the chart."""
    names = [course.name for course in curves]
    rows = [
        {"x": x, "chance": 100 * chance, "name": course.name}
        for course in curves
        for x, chance in zip(course.x, course.chance, strict=True)
    ]
    looks = strokes(len(names))
    longest = max(map(len, names), default=0)
    columns = 4 if longest <= _SHORT else 2 if longest <= _HALF else 1
    key = alt.Legend(
        title=None,
        orient="bottom",
        columns=columns,
        symbolSize=420,
        symbolStrokeWidth=2,
        labelLimit=290 if columns > 1 else 600,
    )
    base = of_rows(rows).encode(
        x=alt.X("x:Q", title=x_axis, scale=alt.Scale(zero=False, nice=False), axis=few_ticks(8)),
        y=alt.Y("chance:Q", title=y_axis, scale=alt.Scale(domain=[0, 100])),
        color=alt.Color(
            "name:N", scale=alt.Scale(domain=names, range=[stroke for stroke, *_ in looks]), legend=key
        ),
        strokeDash=alt.StrokeDash(
            "name:N", scale=alt.Scale(domain=names, range=[list(dash) or [1, 0] for _, dash, _, _ in looks])
        ),
        tooltip=[*told({"name": "limit"}, {"x": x_axis}), *told({}, {"chance": y_axis}, ".1f")],
    )
    layers = [base.mark_line(strokeWidth=2), *upright(marks), *across(required, at_end=True)]
    return finished(alt.layer(*layers), WIDE, 170)


def against_log(
    band: ShadedBand, x: Sequence[float], logged: Sequence[float], *, x_axis: str, y_axis: str
) -> dict[str, Any]:
    """Draw what was predicted as a band, and what was logged as points."""
    base = of_rows(band.rows()).encode(
        x=alt.X("x:Q", title=x_axis, scale=alt.Scale(zero=False, nice=False), axis=few_ticks(8))
    )
    y = alt.Y("low:Q", title=y_axis, scale=alt.Scale(zero=False))
    points = of_rows({"x": at, "logged": value} for at, value in zip(x, logged, strict=True))
    layers = [
        base.mark_area(color=BAND, opacity=0.5).encode(y=y, y2=alt.Y2("high:Q")),
        base.mark_line(color=QUIET, strokeWidth=1.4, strokeDash=[6, 3]).encode(
            y=alt.Y("middle:Q", title=y_axis)
        ),
        points.mark_point(color=INK, size=14, filled=True, opacity=0.75).encode(
            x=alt.X("x:Q"),
            y=alt.Y("logged:Q", title=y_axis),
            tooltip=told({}, {"x": x_axis, "logged": "logged"}),
        ),
    ]
    return finished(alt.layer(*layers), WIDE, 136)
