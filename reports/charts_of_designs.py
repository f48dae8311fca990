"""Charts that compare builds: differences with bands, maps over two variables, chances along one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from reports.charts import WIDE, Band, Mark, across, band_rows, upright
from reports.layers import Layer, column, few_ticks, finished, layer
from reports.look import ACCENT, INK, PALE, QUIET, STROKES

# Chances [%] at which a map changes its grey, dark where limits seldom hold.
_STEPS = (25, 50, 75, 95)
_GREYS = ("#3d454d", "#6f7881", "#a3abb2", "#d0d5da", "#f5f6f8")
Segments = Sequence[Sequence[float]]


@dataclass(frozen=True)
class Interval:
    """A middle value with the band around it, and its name."""

    name: str
    low: float
    middle: float
    high: float


def intervals(rows: Sequence[Interval], *, axis: str, width: int = WIDE - 200) -> dict[str, Any]:
    """Draw named bands around their middle values; nought is a line, for it means no difference."""
    data = [{"name": r.name, "low": r.low, "middle": r.middle, "high": r.high} for r in rows]
    channels = {
        "y": column(
            "name:N", title=None, sort=None, axis={"labelLimit": 260, "domain": False, "ticks": False}
        ),
        "tooltip": [
            column("name:N", title="difference"),
            column("low:Q", title="5 % below", format=".4~g"),
            column("middle:Q", title="middle", format=".4~g"),
            column("high:Q", title="5 % above", format=".4~g"),
        ],
    }
    band = {**channels, "x": column("low:Q", title=axis, axis=few_ticks(6)), "x2": column("high")}
    low, middle, high = (
        {**channels, "x": column(name, title=axis)} for name in ("low:Q", "middle:Q", "high:Q")
    )
    layers = [
        layer("rule", [{"at": 0.0}], {"x": column("at:Q")}, color=ACCENT, strokeDash=[5, 3]),
        layer("rule", data, band, color=INK, strokeWidth=1.6),
        layer("tick", data, low, color=INK, thickness=1.6, size=9),
        layer("tick", data, high, color=INK, thickness=1.6, size=9),
        layer("point", data, middle, filled=True, shape="circle", size=60, color=INK, opacity=1),
    ]
    return finished(layers, width, 24 * max(len(rows), 1))


@dataclass(frozen=True)
class Map:
    """Chances over two variables: rows along y, columns along x."""

    x: Sequence[float]
    y: Sequence[float]
    chance: Sequence[Sequence[float]]
    signs: Sequence[Sequence[str]]
    boundary: Segments
    now: tuple[float, float] | None


def heat_map(shown: Map, *, x_axis: str, y_axis: str, width: int = 420) -> dict[str, Any]:
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
    x_scale = {"domain": [x_edges[0], x_edges[-1]], "zero": False, "nice": False}
    y_scale = {"domain": [y_edges[0], y_edges[-1]], "zero": False, "nice": False}
    tooltip = [
        column("x:Q", title=x_axis, format=".4~g"),
        column("y:Q", title=y_axis, format=".4~g"),
        column("chance:Q", title="all limits hold [%]", format=".1f"),
    ]
    place = {"x": column("x:Q"), "y": column("y:Q")}
    cell = {
        "x": column("left:Q", title=x_axis, scale=x_scale, axis=few_ticks(6)),
        "x2": column("right"),
        "y": column("bottom:Q", title=y_axis, scale=y_scale, axis=few_ticks(6)),
        "y2": column("top"),
        "color": column(
            "chance:Q",
            scale={"type": "threshold", "domain": list(_STEPS), "range": list(_GREYS)},
            legend={"title": ["all limits", "hold [%]"], "type": "symbol", "symbolType": "square"},
        ),
        "tooltip": tooltip,
    }
    white_where_dark = {
        "condition": {"test": f"datum.chance < {_STEPS[1]}", "value": "white"},
        "value": INK,
    }
    sign = {**place, "text": column("sign:N"), "color": white_where_dark, "tooltip": tooltip}
    layers: list[Layer] = [
        layer("rect", cells, cell, stroke="white", strokeWidth=0.5),
        layer("text", cells, sign, baseline="middle", fontSize=10),
    ]
    if shown.boundary:
        pieces = [{"a": a, "b": b, "c": c, "d": d} for a, b, c, d in shown.boundary]
        ends = {"x": column("a:Q"), "y": column("b:Q"), "x2": column("c"), "y2": column("d")}
        layers.append(layer("rule", pieces, ends, color=ACCENT, strokeWidth=3))
    if shown.now:
        now = [{"x": shown.now[0], "y": shown.now[1], "name": "now"}]
        named = {**place, "text": column("name:N")}
        layers += [
            layer("point", now, place, shape="diamond", size=130, color=INK, fill="white", opacity=1),
            # A white edge below the word lifts it off signs and boundary.
            layer("text", now, named, dy=-13, fontWeight=600, stroke="white", strokeWidth=4),
            layer("text", now, named, dy=-13, fontWeight=600),
        ]
    return finished(layers, width, 260)


def _edges(values: Sequence[float]) -> list[float]:
    """Return the borders half way between values, and as far beyond the ends."""
    if len(values) == 1:
        return [values[0] - 0.5, values[0] + 0.5]
    inner = [(a + b) / 2 for a, b in pairwise(values)]
    return [2 * values[0] - inner[0], *inner, 2 * values[-1] - inner[-1]]


@dataclass(frozen=True)
class Course:
    """A chance against one variable, with its name."""

    name: str
    x: Sequence[float]
    chance: Sequence[float]


def chances(
    courses: Sequence[Course], *, x_axis: str, marks: Sequence[Mark] = (), required: Sequence[Mark] = ()
) -> dict[str, Any]:
    """Draw chances against one variable: a line each, told apart by dash and by the key beside the chart."""
    names = [course.name for course in courses]
    rows = [
        {"x": x, "chance": 100 * chance, "name": course.name}
        for course in courses
        for x, chance in zip(course.x, course.chance, strict=True)
    ]
    strokes = [STROKES[position % len(STROKES)] for position in range(len(names))]
    key = {
        "title": None,
        "orient": "bottom",
        "columns": 2,
        "symbolSize": 420,
        "symbolStrokeWidth": 2,
        "labelLimit": 290,
    }
    colours = {"domain": names, "range": [stroke for stroke, *_ in strokes]}
    dashes = {"domain": names, "range": [list(dash) or [1, 0] for _, dash, _, _ in strokes]}
    channels = {
        "x": column("x:Q", title=x_axis, scale={"zero": False, "nice": False}, axis=few_ticks(8)),
        "y": column("chance:Q", title="holds in [%] of cars", scale={"domain": [0, 100]}),
        "color": column("name:N", scale=colours, legend=key),
        "strokeDash": column("name:N", scale=dashes),
        "tooltip": [
            column("name:N", title="limit"),
            column("x:Q", title=x_axis, format=".4~g"),
            column("chance:Q", title="holds in [%]", format=".1f"),
        ],
    }
    lines = layer("line", rows, channels, strokeWidth=2)
    return finished([lines, *upright(marks), *across(required, end=WIDE - 60)], WIDE - 40, 200)


def against_log(
    band: Band, x: Sequence[float], logged: Sequence[float], *, x_axis: str, y_axis: str
) -> dict[str, Any]:
    """Draw what was predicted as a band, and what was logged as points."""
    predicted = band_rows(band)
    points = [{"x": at, "logged": value} for at, value in zip(x, logged, strict=True)]
    speed = column("x:Q", title=x_axis, scale={"zero": False, "nice": False}, axis=few_ticks(8))
    area = {"x": speed, "y": column("low:Q", title=y_axis, scale={"zero": False}), "y2": column("high")}
    middle = {"x": speed, "y": column("middle:Q", title=y_axis)}
    point = {
        "x": column("x:Q"),
        "y": column("logged:Q", title=y_axis),
        "tooltip": [
            column("x:Q", title=x_axis, format=".4~g"),
            column("logged:Q", title="logged", format=".4~g"),
        ],
    }
    layers = [
        layer("area", predicted, area, color=PALE, opacity=0.8),
        layer("line", predicted, middle, color=QUIET, strokeWidth=1.4, strokeDash=[6, 3]),
        layer("point", points, point, color=INK, size=14, filled=True, opacity=0.75),
    ]
    return finished(layers, WIDE, 220)
