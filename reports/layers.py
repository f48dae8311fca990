"""Layers of a chart in the words of Vega-Lite: rows, a mark, and which column each channel shows.

Plain data, for a library of objects around it would take longer than everything else about a chart; the tests
hold every chart against the schema.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from reports.look import CONFIG

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"
Layer = dict[str, Any]
Rows = Sequence[Mapping[str, Any]]

_KINDS = {"Q": "quantitative", "N": "nominal"}


def column(name: str, **how: Any) -> dict[str, Any]:
    """Show a column: "speed:Q" is of numbers, "name:N" of names, "high" the other end of what is shown."""
    field, _, kind = name.partition(":")
    return {"field": field, **({"type": _KINDS[kind]} if kind else {}), **how}


def layer(mark: str, rows: Rows, channels: Mapping[str, Any], **look: Any) -> Layer:
    """Draw a mark for each row.

    Parameters
    ----------
    mark:
        Its name in Vega-Lite.
    rows:
        Data; layers given the same rows share them.
    channels:
        What each channel shows.
    look:
        Properties of the mark that do not depend on the row.

    """
    return {"data": rows, "mark": {"type": mark, **look}, "encoding": dict(channels)}


def few_ticks(number: int = 5) -> dict[str, Any]:
    """Return an axis without a grid and with about so many ticks."""
    return {"tickCount": number, "format": ".5~g", "grid": False, "labelOverlap": True}


def finished(layers: Sequence[Layer], width: int, height: int, right: int = 12) -> dict[str, Any]:
    """Put layers on common axes; set the size and the look, name the data and round it.

    Lines are labelled outside the axes, so nothing may be clipped.
    """
    shared = list({id(layer["data"]): layer["data"] for layer in layers}.values())
    names = {id(rows): f"rows-{position}" for position, rows in enumerate(shared)}
    return {
        "$schema": SCHEMA,
        "config": CONFIG,
        "width": width - right,
        "height": height,
        "padding": {"left": 4, "top": 6, "right": right, "bottom": 4},
        "autosize": {"type": "pad", "contains": "content"},
        "layer": [{**layer, "data": {"name": names[id(layer["data"])]}} for layer in layers],
        "datasets": {names[id(rows)]: [_short(row) for row in rows] for rows in shared},
    }


def _short(row: Mapping[str, Any]) -> dict[str, Any]:
    """Keep six figures: a chart shows fewer, and the page stays small."""
    return {key: _figures(value) if isinstance(value, float) else value for key, value in row.items()}


def _figures(value: float) -> float | None:
    return float(f"{value:.6g}") if math.isfinite(value) else None
