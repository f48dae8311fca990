"""Charts as Vega-Lite specifications, from numbers that are already binned and summarised.

Each function is given values in the units shown.  Charts must be readable without colour: what differs has
another dash, shape or darkness, and is named where it stands.
"""

from __future__ import annotations

import math
import textwrap
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from statistics import fmean
from typing import Any

from reports.formatting import kept_together
from reports.later import alt, unchecked
from reports.theme import ACCENT, BAND, CONFIG, INK, STROKES

# What a page and half of one hold without making letters smaller, in pixels.
WIDE = 664
NARROW = 316
_FAN_HIGH = 122
# Height of a line of letters, in pixels.
_LINE_HIGH = 12.5
_LINE = 22
# Names of bars longer than this are broken into two lines.
_LONGEST = 40
# A good range that holds everything, and one that holds nothing.
_ALL, _NONE = (-math.inf, math.inf), (math.inf, -math.inf)
QUANTILES = {"low": "5 % below", "middle": "median", "high": "5 % above"}
# Bins thinner than this are drawn without edges, in pixels.
_THIN = 2.5


@dataclass(frozen=True)
class Mark:
    """A value drawn as a line across a chart, with its name."""

    value: float
    label: str


@dataclass(frozen=True)
class LimitPoint:
    """A limit at the one place where it applies, on the curve it applies to; ``up`` where more is good."""

    x: float
    y: float
    label: str
    up: bool
    curve: int


@dataclass(frozen=True)
class ShadedBand:
    """One quantity along another: its middle and its 5 to 95 % band, with the name of the condition."""

    name: str
    x: Sequence[float]
    low: Sequence[float]
    middle: Sequence[float]
    high: Sequence[float]

    def rows(self) -> list[dict[str, Any]]:
        """Return it place by place."""
        places = zip(self.x, self.low, self.middle, self.high, strict=True)
        return [
            {"x": x, "low": low, "middle": middle, "high": high, "name": self.name}
            for x, low, middle, high in places
        ]


@dataclass(frozen=True)
class Bar:
    """A share with its interval, and a second share marked within it."""

    name: str
    value: float
    low: float
    high: float
    inner: float | None = None


def of_rows(rows: Iterable[Any]) -> Any:
    """Begin a chart of rows: each a dictionary, or an object whose fields are meant."""
    # A tuple is handed on, a list would be copied row by row at each step of a chart.
    values: Any = tuple(row if isinstance(row, dict) else vars(row) for row in rows)
    with unchecked():
        return alt.Chart(alt.InlineData(values=values))


def told(words: Mapping[str, str], numbers: Mapping[str, str], form: str = ".4~g") -> list[Any]:
    """Say in a box what a mark stands for: fields of words and of numbers, each with its title."""
    return [
        *(alt.Tooltip(f"{name}:N", title=title) for name, title in words.items()),
        *(alt.Tooltip(f"{name}:Q", title=title, format=form) for name, title in numbers.items()),
    ]


def whiskers(base: Any, axis: str, width: float, size: float) -> list[Any]:
    """Draw an interval from low to high with an end at either side."""
    end = base.mark_tick(color=INK, thickness=width, size=size)
    low = alt.X("low:Q", title=axis)
    return [
        base.mark_rule(color=INK, strokeWidth=width).encode(x=low, x2=alt.X2("high:Q")),
        *(end.encode(x=at) for at in (low, alt.X("high:Q", title=axis))),
    ]


def lifted(base: Any, colour: str = INK, **look: Any) -> list[Any]:
    """Draw words on a white edge, which lifts them off what is below."""
    return [
        base.mark_text(fontWeight=600, stroke="white", strokeWidth=4, **look),
        base.mark_text(fontWeight=600, color=colour, **look),
    ]


def distribution(
    edges: Sequence[float],
    counts: Sequence[float],
    *,
    axis: str,
    good: tuple[float, float],
    marks: Sequence[Mark],
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
    thin = (edges[-1] - edges[0]) / max(len(counts), 1) * NARROW < _THIN * (max(shown) - min(shown))
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
    bars = (
        of_rows(rows)
        .mark_rect(stroke=None if thin else "white", strokeWidth=0.4)
        .encode(
            x=alt.X("from:Q", title=axis, scale=alt.Scale(**scale), axis=few_ticks(above=True)),
            x2=alt.X2("to:Q"),
            y=alt.Y("zero:Q", title="share of cars [%]", axis=alt.Axis(tickCount=3, grid=False)),
            y2=alt.Y2("share:Q"),
            color=alt.Color(
                "side:N",
                scale=alt.Scale(domain=["conforms", "does not"], range=[BAND, INK]),
                legend=None,
            ),
            tooltip=[
                *told({}, {"from": "from", "to": "to"}),
                *told({}, {"share": "share of cars [%]"}, ".2~f"),
                *told({"side": "this limit"}, {}),
            ],
        )
        .transform_calculate(zero="0")
    )
    return finished(alt.layer(bars, *upright(marks)), NARROW, 112)


def _cut(low: float, high: float, good: tuple[float, float]) -> list[tuple[float, float]]:
    """Cut a bin where a limit runs through it."""
    inside = [value for value in good if low < value < high]
    stops = [low, *inside, high]
    return list(pairwise(stops))


def upright(marks: Sequence[Mark]) -> list[Any]:
    """Draw named lines from bottom to top."""
    if not marks:
        return []
    base = of_rows(marks).encode(x=alt.X("value:Q"))
    name = base.mark_text(align="center", baseline="bottom", dy=-6, color=ACCENT, fontWeight=600)
    return [
        base.mark_rule(color=ACCENT, strokeWidth=2, strokeDash=[5, 3]),
        name.encode(y=alt.value(0), text=alt.Text("label:N")),
    ]


def fan(
    bands: Sequence[ShadedBand],
    *,
    x_axis: str,
    y_axis: str,
    points: Sequence[LimitPoint] = (),
) -> dict[str, Any]:
    """Draw bands against speed, each with its middle line, and each limit where it applies."""
    layers: list[Any] = []
    for band, (stroke, dash, fill, _) in zip(bands, strokes(len(bands)), strict=True):
        base = of_rows(band.rows()).encode(
            x=alt.X("x:Q", title=x_axis, scale=alt.Scale(zero=False, nice=False), axis=few_ticks(8)),
            tooltip=told({"name": "condition"}, {"x": x_axis, **QUANTILES}),
        )
        low = alt.Y("low:Q", title=y_axis, scale=alt.Scale(zero=False), axis=alt.Axis(tickCount=5))
        middle, high = (alt.Y(f"{name}:Q", title=y_axis) for name in ("middle", "high"))
        layers.append(base.mark_area(opacity=0.45, color=fill).encode(y=low, y2=alt.Y2("high:Q")))
        for y, width in ((low, 0.8), (high, 0.8), (middle, 2.2)):
            line = base.mark_line(color=stroke, strokeWidth=width, strokeDash=list(dash) or [1, 0])
            layers.append(line.encode(y=y))
    layers += [*_limit_points(points), *line_names(bands, _FAN_HIGH, [point.y for point in points])]
    return finished(alt.layer(*layers), WIDE, _FAN_HIGH)


def across(marks: Sequence[Mark], *, at_end: bool = False) -> list[Any]:
    """Draw named lines from side to side, named at the left or at the right."""
    if not marks:
        return []
    base = of_rows(marks).encode(y=alt.Y("value:Q"))
    place: dict[str, Any] = {"align": "right", "dx": -4} if at_end else {"align": "left", "dx": 4}
    named = base.encode(x=alt.value("width" if at_end else 0), text=alt.Text("label:N"))
    return [
        base.mark_rule(color=ACCENT, strokeWidth=1.6, strokeDash=[2, 3]),
        *lifted(named, ACCENT, baseline="bottom", dy=-2, **place),
    ]


def _limit_points(points: Sequence[LimitPoint]) -> list[Any]:
    """Mark limits by triangles that point to the good side, in the ink of their curve, with their words."""
    layers: list[Any] = []
    for point in points:
        stroke = STROKES[point.curve % len(STROKES)][0]
        base = of_rows([{"x": point.x, "y": point.y, "label": point.label}]).encode(
            x=alt.X("x:Q"), y=alt.Y("y:Q")
        )
        shape = "triangle-up" if point.up else "triangle-down"
        layers += [
            base.mark_tick(orient="horizontal", thickness=2, size=34, color=stroke, opacity=1),
            base.mark_point(shape=shape, size=90, filled=True, color=stroke, opacity=1, stroke="white"),
            # Beside its mark: above or below it would run into an axis or another curve.
            *lifted(base.encode(text=alt.Text("label:N")), stroke, align="right", baseline="middle", dx=-20),
        ]
    return layers


def line_names(bands: Sequence[ShadedBand], height: int, more: Sequence[float] = ()) -> list[Any]:
    """Name each line at its right end, moved apart where two would overlap in a chart so many pixels high."""
    levels = [value for band in bands for value in (*band.low, *band.high)] + [*more]
    if not levels:
        return []
    line = _LINE_HIGH / height * ((max(levels) - min(levels)) or 1)
    names = [_in_two_lines(band.name) for band in bands]
    places = spread_apart(
        [band.middle[-1] for band in bands],
        [line * (1.5 + name.count("\n")) for name in names],
        min(levels),
    )
    end = max(band.x[-1] for band in bands)
    return [
        of_rows([{"x": end, "y": place, "name": name}])
        .mark_text(
            align="left",
            baseline="middle",
            dx=6,
            # A second line is put below the first, not both around the place.
            dy=-_LINE_HIGH / 2 * name.count("\n"),
            color=stroke,
            fontWeight=600,
            lineBreak="\n",
        )
        .encode(x=alt.X("x:Q"), y=alt.Y("y:Q"), text=alt.Text("name:N"))
        for name, place, (stroke, *_) in zip(names, places, strokes(len(bands)), strict=True)
    ]


def spread_apart(places: Sequence[float], sizes: Sequence[float], lowest: float) -> list[float]:
    """Move what has a size as little as can be (least squares): above the lowest, without overlap."""
    order = sorted(range(len(places)), key=lambda one: places[one])
    # How far each lies above the lowest where all stand on each other.
    sums = list(accumulate(sizes[one] for one in order))
    stacked = [top - sizes[one] / 2 for top, one in zip(sums, order, strict=True)]
    # Less that height, places may not fall: those that do share their mean.
    runs: list[list[float]] = []
    for one, height in zip(order, stacked, strict=True):
        runs.append([places[one] - height])
        while len(runs) > 1 and fmean(runs[-1]) < fmean(runs[-2]):
            runs[-2:] = [runs[-2] + runs[-1]]
    free = [max(fmean(run), lowest) for run in runs for _ in run]
    moved = {one: base + height for one, base, height in zip(order, free, stacked, strict=True)}
    return [moved[one] for one in range(len(places))]


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
) -> dict[str, Any]:
    """Draw horizontal bars in per cent, each with its interval as a whisker and an inner share as a tick."""
    named = row_names(bar.name for bar in bars)
    rows = [
        {
            "name": named[bar.name],
            "value": 100 * bar.value,
            "low": 100 * max(bar.low, 0.0),
            "high": 100 * bar.high,
            "inner": None if bar.inner is None else 100 * max(bar.inner, 0.0),
        }
        for bar in bars
    ]
    numbers = {"value": axis, "low": "low", "high": "high"} | ({"inner": inner} if inner else {})
    base = of_rows(rows).encode(
        y=named_rows(),
        tooltip=told({"name": "input"}, numbers, ".1f"),
    )
    x = alt.X("value:Q", title=axis, scale=alt.Scale(domainMin=0), axis=few_ticks(6))
    layers = [
        base.mark_bar(color=BAND, size=12).encode(x=x),
        *whiskers(base, axis, 1.4, 8),
    ]
    if inner:
        layers.append(
            base.mark_point(
                shape="diamond",
                filled=True,
                size=70,
                color=ACCENT,
                opacity=1,
                stroke="white",
                strokeWidth=1.4,
            ).encode(x=alt.X("inner:Q", title=axis))
        )
    return finished(alt.layer(*layers), WIDE, height_of([bar.name for bar in bars]))


def height_of(names: Sequence[str]) -> int:
    """Return the height that rows of these names take."""
    lines = max((name.count("\n") + 1 for name in row_names(names).values()), default=1)
    return {1: 20, 2: 27}.get(lines, 13 * lines) * max(len(names), 1)


def wrapped(name: str, longest: int = _LONGEST) -> list[str]:
    """Break a long name, but for numbers from their units; where two lines are too few, cut its middle.

    Names that begin alike differ at their ends: "closed at 45 m/s", "closed at 55 m/s".
    """
    text = kept_together(name).strip()
    lines = textwrap.wrap(text, longest) or [name]
    if len(lines) <= 2:
        return lines
    backwards = text[len(lines[0]) :][::-1]
    end, *_ = textwrap.wrap(backwards, longest - 2, break_on_hyphens=False)
    return [lines[0], f"… {end[::-1]}"]


def row_names(names: Iterable[str], longest: int = _LONGEST) -> dict[str, str]:
    """Name rows in two lines each; in as many as it takes where two would then be one row."""
    cut = {name: "\n".join(wrapped(name, longest)) for name in names}
    often = Counter(cut.values())
    whole = {name: "\n".join(textwrap.wrap(kept_together(name), longest)) for name in cut}
    return {name: lines if often[lines] == 1 else whole[name] for name, lines in cut.items()}


def named_rows(field: str = "name", sort: list[str] | None = None, **look: Any) -> Any:
    """Lay rows out by a field, each named at its left, a long name in two lines."""
    usual = {"labelLimit": 360, "labelLineHeight": 12, "labelPadding": 8, "domain": False, "ticks": False}
    axis = alt.Axis(**{**usual, "labelExpr": "split(datum.label, '\\n')", **look})
    # Named one by one, a row stands there whatever is drawn in it.
    return alt.Y(
        f"{field}:N",
        title=None,
        sort=sort,
        axis=axis,
        scale=alt.Scale(domain=sort) if sort else alt.Undefined,
    )


def strokes(number: int) -> list[tuple[str, tuple[int, ...], str, str]]:
    """Return the look of so many lines: colour, dash, fill of a band, shape of a mark."""
    return [STROKES[position % len(STROKES)] for position in range(number)]


def few_ticks(number: int = 5, *, above: bool = False) -> Any:
    """Return an axis without a grid and with about so many ticks, drawn above marks with white edges."""
    return alt.Axis(
        tickCount=number, format=".6~g", grid=False, labelOverlap=True, labelFlush=False, zindex=int(above)
    )


def finished(chart: Any, width: int, height: int, *, plot: bool = False) -> dict[str, Any]:
    """Set the size and the look, and return the specification with its data rounded.

    ``width`` is that of the picture with all its words, so that letters have one size in all of them, or
    of the ``plot`` alone, where places in it are reckoned in pixels.
    """
    edge = {"left": 4, "top": 6, "right": 12, "bottom": 4}
    done = chart.properties(width=width, height=height, padding=edge).configure(**CONFIG)
    # The schema is checked in the tests, where its price does not fall on the reader.
    specification: dict[str, Any] = done.to_dict(validate=False)
    specification["autosize"] = (
        {"type": "pad", "contains": "content"} if plot else {"type": "fit-x", "contains": "padding"}
    )
    specification["datasets"] = {
        name: [{key: _short(value) for key, value in row.items()} for row in rows]
        for name, rows in specification["datasets"].items()
    }
    return specification


def _short(value: Any) -> Any:
    """Keep six figures: a chart shows fewer, and the page stays small."""
    if not isinstance(value, float):
        return value
    return float(f"{value:.6g}") if math.isfinite(value) else None
