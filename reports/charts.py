"""Charts as Vega-Lite specifications, from numbers that are already binned and summarised.

Each function is given values in the units shown.  Charts must be readable without colour: what differs has
another dash, shape or darkness, and is named where it stands.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from reports.layers import Layer, column, few_ticks, finished, layer
from reports.look import ACCENT, INK, PALE, STROKES

WIDE = 640
NARROW = 300
# Lines that end nearer than this share of the height get their names moved apart.
_LABEL_GAP = 0.08
_LINE = 22
# Names of bars longer than this are broken into two lines.
_LONGEST = 40
# A good range that holds everything, and one that holds nothing.
_ALL, _NONE = (-math.inf, math.inf), (math.inf, -math.inf)
# Bins thinner than this are drawn without edges, in pixels.
_THIN = 2.5


@dataclass(frozen=True)
class Mark:
    """A value drawn as a line across a chart, with its name."""

    value: float
    label: str


@dataclass(frozen=True)
class Band:
    """One quantity along another: its middle and its 5 to 95 % band, with the name of the condition."""

    name: str
    x: Sequence[float]
    low: Sequence[float]
    middle: Sequence[float]
    high: Sequence[float]


@dataclass(frozen=True)
class Bar:
    """A share with its interval, and a second share marked within it."""

    name: str
    value: float
    low: float
    high: float
    inner: float | None = None


def distribution(
    edges: Sequence[float],
    counts: Sequence[float],
    *,
    axis: str,
    good: tuple[float, float],
    marks: Sequence[Mark],
    width: int = NARROW,
    height: int = 120,
) -> dict[str, Any]:
    """Draw a histogram; what lies outside the good range is dark, limits are named lines.

    Parameters
    ----------
    edges, counts:
        Of the bins.
    axis:
        Title of the horizontal axis, with its unit.
    good:
        Range that conforms; infinite where it has no end.
    marks:
        The limits.
    width, height:
        Of the area inside the axes, in pixels.

    """
    total = sum(counts) or 1
    scale: dict[str, Any] = {"zero": False, "nice": False}
    if math.isclose(edges[0], edges[-1], rel_tol=1e-6, abs_tol=1e-12):
        # All cars alike: a bar needs some width to be seen.
        half = 0.05 * (abs(edges[0]) or 1.0)
        side = good[0] - half / 1e3 <= edges[0] <= good[1] + half / 1e3
        ends = [edges[0], *(mark.value for mark in marks)]
        scale["domain"] = [min(ends) - 5 * half, max(ends) + 5 * half]
        edges, counts, good = [edges[0] - half, edges[0] + half], [total], _ALL if side else _NONE
    shown = [*edges, *(mark.value for mark in marks)]
    # Where a limit lies far off, the bins get so thin that a white edge would swallow them.
    thin = (edges[-1] - edges[0]) / max(len(counts), 1) * width < _THIN * (max(shown) - min(shown))
    rows = [
        {
            "from": left,
            "to": right,
            "share": 100 * count / total,
            "side": "conforms" if good[0] <= (left + right) / 2 <= good[1] else "does not",
        }
        for (low, high), count in zip(pairwise(edges), counts, strict=True)
        for left, right in _cut(low, high, good)
        if count
    ]
    channels = {
        "x": column("from:Q", title=axis, scale=scale, axis=few_ticks()),
        "x2": column("to"),
        "y": column("zero:Q", title="share of cars [%]", axis={"tickCount": 3, "grid": False}),
        "y2": column("share"),
        "color": column(
            "side:N", scale={"domain": ["conforms", "does not"], "range": [PALE, INK]}, legend=None
        ),
        "tooltip": [
            column("from:Q", title="from", format=".4~g"),
            column("to:Q", title="to", format=".4~g"),
            column("share:Q", title="share of cars [%]", format=".2~f"),
            column("side:N", title="this limit"),
        ],
    }
    bars = layer("rect", rows, channels, stroke=None if thin else "white", strokeWidth=0.4)
    bars["transform"] = [{"calculate": "0", "as": "zero"}]
    return finished([bars, *upright(marks)], width, height)


def _cut(low: float, high: float, good: tuple[float, float]) -> list[tuple[float, float]]:
    """Cut a bin where a limit runs through it."""
    inside = [value for value in good if low < value < high]
    stops = [low, *inside, high]
    return list(pairwise(stops))


def upright(marks: Sequence[Mark]) -> list[Layer]:
    """Draw named lines from bottom to top."""
    if not marks:
        return []
    rows = [{"at": mark.value, "label": mark.label} for mark in marks]
    at = column("at:Q")
    name = {"x": at, "y": {"value": 0}, "text": column("label:N")}
    return [
        layer("rule", rows, {"x": at}, color=ACCENT, strokeWidth=2, strokeDash=[5, 3]),
        layer("text", rows, name, align="center", baseline="bottom", dy=-6, color=ACCENT, fontWeight=600),
    ]


def fan(
    bands: Sequence[Band],
    *,
    x_axis: str,
    y_axis: str,
    marks: Sequence[Mark] = (),
    width: int = WIDE,
    height: int = 220,
) -> dict[str, Any]:
    """Draw bands against speed, each with its middle line, and limits as named lines across."""
    channels = {
        "x": column("x:Q", title=x_axis, scale={"zero": False, "nice": False}, axis=few_ticks(8)),
        "tooltip": [
            column("name:N", title="condition"),
            column("x:Q", title=x_axis, format=".4~g"),
            column("low:Q", title="5 % below", format=".4~g"),
            column("middle:Q", title="middle", format=".4~g"),
            column("high:Q", title="5 % above", format=".4~g"),
        ],
    }
    low = {**channels, "y": column("low:Q", title=y_axis, scale={"zero": False}, axis={"tickCount": 5})}
    middle, high = ({**channels, "y": column(name, title=y_axis)} for name in ("middle:Q", "high:Q"))
    layers: list[Layer] = []
    for band, (stroke, dash, fill, _) in zip(bands, _strokes(len(bands)), strict=True):
        rows = [{**row, "name": band.name} for row in band_rows(band)]
        line = {"color": stroke, "strokeDash": list(dash) or [1, 0]}
        layers += [
            layer("area", rows, {**low, "y2": column("high")}, opacity=0.45, color=fill),
            layer("line", rows, low, strokeWidth=0.8, **line),
            layer("line", rows, high, strokeWidth=0.8, **line),
            layer("line", rows, middle, strokeWidth=2.2, **line),
        ]
    layers += [*across(marks), *_line_names(bands, marks)]
    return finished(layers, width, height, right=150)


def band_rows(band: Band) -> list[dict[str, Any]]:
    """Return a band row by row."""
    return [
        {"x": x, "low": low, "middle": middle, "high": high}
        for x, low, middle, high in zip(band.x, band.low, band.middle, band.high, strict=True)
    ]


def across(marks: Sequence[Mark], end: int | None = None) -> list[Layer]:
    """Draw named lines from side to side, named at the left, or at an end given in pixels."""
    if not marks:
        return []
    rows = [{"at": mark.value, "label": mark.label} for mark in marks]
    at, side = column("at:Q"), "left" if end is None else "right"
    name = {"y": at, "x": {"value": 4 if end is None else end}, "text": column("label:N")}
    return [
        layer("rule", rows, {"y": at}, color=ACCENT, strokeWidth=1.6, strokeDash=[2, 3]),
        layer("text", rows, name, align=side, baseline="bottom", dy=-2, color=ACCENT, fontWeight=600),
    ]


def _line_names(bands: Sequence[Band], marks: Sequence[Mark]) -> list[Layer]:
    """Name each line at its right end, moved apart where two would overlap."""
    levels = [value for band in bands for value in (*band.low, *band.high)] + [m.value for m in marks]
    if not levels:
        return []
    gap = _LABEL_GAP * ((max(levels) - min(levels)) or 1)
    names = []
    channels = {"x": column("x:Q"), "y": column("y:Q"), "text": column("name:N")}
    look = {"align": "left", "baseline": "middle", "dx": 6, "fontWeight": 600, "lineBreak": "\n"}
    # A name in two lines needs room for two.
    gap *= 1 + any(len(band.name) > _LINE for band in bands)
    lowest = float("-inf")
    for position in sorted(range(len(bands)), key=lambda i: bands[i].middle[-1]):
        band, (stroke, *_) = bands[position], _strokes(len(bands))[position]
        lowest = max(band.middle[-1], lowest + gap)
        rows = [{"x": band.x[-1], "y": lowest, "name": _in_two_lines(band.name)}]
        names.append(layer("text", rows, channels, color=stroke, **look))
    return names


def _in_two_lines(name: str) -> str:
    """Break a long name at the space nearest its middle."""
    spaces = [place for place, sign in enumerate(name) if sign == " "]
    if len(name) <= _LINE or not spaces:
        return name
    middle = min(spaces, key=lambda place: abs(place - len(name) / 2))
    return f"{name[:middle]}\n{name[middle + 1 :]}"


def share_bars(
    bars: Sequence[Bar],
    *,
    axis: str,
    inner: str | None = None,
    width: int = WIDE - 200,
    most: float | None = None,
) -> dict[str, Any]:
    """Draw horizontal bars in per cent, each with its interval as a whisker and an inner share as a tick."""
    rows = [
        {
            "name": "\n".join(_wrapped(bar.name)),
            "value": 100 * bar.value,
            "low": 100 * max(bar.low, 0.0),
            "high": 100 * min(bar.high, most if most is not None else bar.high),
            "inner": None if bar.inner is None else 100 * max(bar.inner, 0.0),
        }
        for bar in bars
    ]
    channels = {
        "y": column("name:N", title=None, sort=None, axis=_rows_axis()),
        "tooltip": [
            column("name:N", title="input"),
            column("value:Q", title=axis, format=".1f"),
            column("low:Q", title="low", format=".1f"),
            column("high:Q", title="high", format=".1f"),
            *([column("inner:Q", title=inner, format=".1f")] if inner else []),
        ],
    }
    value = column("value:Q", title=axis, scale={"domainMin": 0}, axis=few_ticks(6))
    low, high = column("low:Q", title=axis), column("high:Q", title=axis)
    layers = [
        layer("bar", rows, {**channels, "x": value}, color=PALE, size=12),
        layer("rule", rows, {**channels, "x": low, "x2": column("high")}, color=INK, strokeWidth=1.4),
        layer("tick", rows, {**channels, "x": low}, color=INK, thickness=1.4, size=8),
        layer("tick", rows, {**channels, "x": high}, color=INK, thickness=1.4, size=8),
    ]
    if inner:
        point = {"shape": "diamond", "filled": True, "size": 55, "color": ACCENT, "opacity": 1}
        layers.append(layer("point", rows, {**channels, "x": column("inner:Q", title=axis)}, **point))
    step = 30 if any(len(_wrapped(bar.name)) > 1 for bar in bars) else 20
    return finished(layers, width, step * max(len(bars), 1))


def _wrapped(name: str) -> list[str]:
    """Break a name that is too long for one line, and end it where two are too few."""
    return textwrap.wrap(name, _LONGEST, max_lines=2, placeholder=" …") or [name]


def _rows_axis() -> dict[str, Any]:
    """Name rows at their left, a long name in two lines."""
    return {
        "labelLimit": 290,
        "domain": False,
        "ticks": False,
        "labelExpr": "split(datum.label, '\\n')",
    }


def _strokes(number: int) -> list[tuple[str, tuple[int, ...], str, str]]:
    return [STROKES[position % len(STROKES)] for position in range(number)]
