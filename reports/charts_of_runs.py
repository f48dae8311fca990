"""Lines of the nominal car: speed over the strip, push and resistance, the linkage over its travel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from reports.charts import (
    Mark,
    ShadedBand,
    few_ticks,
    finished,
    lifted,
    line_names,
    of_rows,
    strokes,
    told,
    upright,
)
from reports.later import alt

_HIGH = 150


@dataclass(frozen=True)
class NamedLine:
    """One line with its name, which stands at its right end."""

    name: str
    x: Sequence[float]
    y: Sequence[float]


@dataclass(frozen=True)
class Spot:
    """A place on one of the lines, with what happens there; ``crossing`` where two lines meet."""

    x: float
    y: float
    label: str
    line: int
    crossing: bool = False


def lines(
    drawn: Sequence[NamedLine],
    *,
    x_axis: str,
    y_axis: str,
    spots: Sequence[Spot] = (),
    ends: Sequence[Mark] = (),
    width: int,
) -> dict[str, Any]:
    """Draw lines that differ by dash, each named at its end, with marked places."""
    layers: list[Any] = []
    looks = strokes(len(drawn))
    scale = alt.Scale(zero=False, nice=False)
    for line, (stroke, dash, *_) in zip(drawn, looks, strict=True):
        values = [{"x": x, "y": y, "name": line.name} for x, y in zip(line.x, line.y, strict=True)]
        layers.append(
            of_rows(values)
            .mark_line(color=stroke, strokeWidth=2.2, strokeDash=list(dash) or [1, 0])
            .encode(
                x=alt.X("x:Q", title=x_axis, scale=scale, axis=few_ticks(8 if width > 400 else 5)),
                y=alt.Y("y:Q", title=y_axis, axis=alt.Axis(tickCount=5, grid=False)),
                order=alt.Order("x:Q"),
                tooltip=told({"name": "line"}, {"x": x_axis, "y": y_axis}),
            )
        )
    for place, spot in enumerate(spots):
        stroke, _, _, shape = looks[spot.line]
        base = of_rows([{"x": spot.x, "y": spot.y, "label": spot.label}]).encode(
            x=alt.X("x:Q"), y=alt.Y("y:Q")
        )
        # Above a crossing and below it there are no lines; a curve that rises has room at its left.
        side: dict[str, Any] = (
            {"dy": 16 if place % 2 else -14}
            if spot.crossing
            else {"align": "right", "dx": -8, "dy": -8 if place % 2 else 10}
        )
        layers += [
            base.mark_point(shape=shape, size=80, filled=True, color=stroke, opacity=1, stroke="white"),
            *lifted(base.encode(text=alt.Text("label:N")), stroke, **side),
        ]
    named = [ShadedBand(line.name, line.x, line.y, line.y, line.y) for line in drawn]
    return finished(alt.layer(*layers, *upright(ends), *line_names(named, _HIGH)), width, _HIGH)
