"""Every limit in one picture: how far the cars lie from it, and whether enough lie on its good side."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from explorer.graph.written import MINUS
from reports.blocks import SIGNS
from reports.charts import finished, height_of, named_rows, of_rows, row_names, told
from reports.formatting import kept_together
from reports.later import alt
from reports.theme import ALARM, BAND, INK, QUIET

# Rows reach at least and at most so many spreads to either side of the line.
_NEAREST, _FARTHEST = 2.0, 6.0
_ROW = 26
# More rows would have letters too small for paper, below a decision that is read in half a minute.
MOST_ROWS = 17
# With more limits than this rows are as low as their words allow, and names have one line, for one page (but
# for a phone, which has less width than height: `fitted` in page.js).
_MANY, _LOW_ROW, _SMALL, _LETTERS = 10, 18, 10, 11
_LONGEST = 34
_ONE_LINE = {"labelExpr": "join(split(datum.label, '\\n'), ' ')"}
# Width of a column of the matrix, and of its words in letters.
_CELL, _NARROW = 62, 11
# Width of the rows themselves, without names and words, for few limits and for many.
_PLOT, _SLIM = 320, 250
# Share of the width that a few words take at its left end.
_CLEAR = 0.3


@dataclass(frozen=True)
class LimitRow:
    """One limit: where its cars lie, in spreads of its margin, positive on the good side.

    ``low`` to ``high`` holds nine cars in ten, ``decisive`` is the car on which the verdict hangs; minus
    infinity where too many cars have no answer.  Without ``low`` only the ``words`` are drawn.
    """

    name: str
    verdict: str
    words: str
    safety: bool = False
    low: float | None = None
    median: float | None = None
    high: float | None = None
    decisive: float | None = None


def limit_rows(rows: Sequence[LimitRow]) -> dict[str, Any]:
    """Draw a row a limit: the line is the limit, right of it is good."""
    drawn = [row for row in rows if row.low is not None]
    left, right = _ends(drawn)
    # On a narrow screen the words at the right are off the edge: the sign of the verdict leads the name.
    many = len(rows) > _MANY
    width = _SLIM if many else _PLOT
    signed = [f"{SIGNS[row.verdict]} {row.name}" for row in rows]
    shown = row_names(signed, _LONGEST)
    names = [shown[name] for name in signed]
    values = [_row(name, row, left, right, many) for name, row in zip(names, rows, strict=True)]
    letters = _SMALL if many else _LETTERS
    base = of_rows(values)
    y = named_rows(sort=names, labelFontSize=letters, **(_ONE_LINE if many else {}))
    axis = alt.Axis(
        grid=False, tickMinStep=1, format=".3~g", labelExpr=f"replace(datum.label, '-', '{MINUS}')"
    )
    x = alt.Scale(domain=[left, right], nice=False)
    title = "in steps of the cars' scatter (standard deviations): right is good"

    def along(field: str) -> Any:
        return alt.X(f"{field}:Q", title=title, scale=x, axis=axis)

    def at(place: float) -> Any:
        return alt.XDatum(place, title=title, scale=x, axis=axis)

    known = base.transform_filter("isValid(datum.low)")
    tooltip = told(
        {"name": "limit", "words": "cars that meet it"},
        {"median": "median, in standard deviations", "decisive": "deciding car, in standard deviations"},
        ".2~f",
    )
    layers = [
        known.mark_bar(color=BAND, size=12).encode(x=along("low"), x2=alt.X2("high:Q"), y=y, tooltip=tooltip),
        of_rows([{"at": 0.0}]).mark_rule(color=INK, strokeWidth=1.6).encode(x=along("at")),
        known.mark_point(filled=True, size=55, color=INK, opacity=1, stroke="white", strokeWidth=1).encode(
            x=along("median"), y=y, tooltip=tooltip
        ),
        base.transform_filter("isValid(datum.decisive)")
        .mark_tick(thickness=6, size=18 if many else 24, opacity=1)
        .encode(
            x=along("decisive"),
            y=y,
            color=alt.condition("datum.decisive >= 0", alt.value(INK), alt.value(ALARM)),
            tooltip=tooltip,
        ),
        # Placed by the scale they stay in the picture of a phone, where words beside it have no room.
        base.mark_text(align="left", dx=1, color=ALARM, fontWeight=600).encode(
            x=at(left), y=y, text=alt.Text("short:N")
        ),
        base.mark_text(align="right", dx=-2, color=INK, fontWeight=600).encode(
            x=at(right), y=y, text=alt.Text("ahead:N")
        ),
        base.mark_text(align="left", dx=10, color=QUIET, dy=0 if many else 8).encode(
            x=alt.value(width - 12), y=y, text=alt.Text("words:N")
        ),
    ]
    if not many:
        layers.append(
            base.mark_text(align="left", dx=10, color=INK, dy=-6, fontWeight=600).encode(
                x=alt.value(width - 12), y=y, text=alt.Text("verdict:N")
            )
        )
    return finished(
        alt.layer(*layers), width - 12, (_LOW_ROW if many else _ROW) * max(len(rows), 1), plot=True
    )


def _ends(rows: Sequence[LimitRow]) -> tuple[float, float]:
    """Show all that lies within reach; an arrow stands for what lies beyond."""
    values = [
        value
        for row in rows
        for value in (row.low, row.median, row.high, row.decisive)
        if value is not None and math.isfinite(value)
    ]
    low, high = min(values, default=0.0), max(values, default=0.0)
    return -min(max(-1.1 * low, _NEAREST), _FARTHEST), min(max(1.1 * high, _NEAREST), _FARTHEST)


def _row(name: str, row: LimitRow, left: float, right: float, many: bool) -> dict[str, Any]:
    """Keep a row within the picture."""

    def within(value: float | None) -> float | None:
        return None if value is None else min(max(value, left), right)

    gone = row.high is not None and row.high <= left
    ahead = row.low is not None and row.low >= right
    lacking = row.decisive is not None and row.decisive < left
    # Too many without an answer: said where the bar of the others leaves room for words.
    clear = row.low is not None and row.low > left + _CLEAR * (right - left)
    unanswered = row.decisive == -math.inf and clear
    beyond = any(one is not None and one > right for one in (row.decisive, row.median))
    low, high = (None if gone or ahead else within(one) for one in (row.low, row.high))
    # A median or a deciding car beyond the end of the picture is nowhere in it.
    median = None if row.median is None or not left <= row.median <= right else row.median
    return {
        "name": name,
        "verdict": f"{SIGNS[row.verdict]} {row.verdict}{', safety' if row.safety else ''}",
        "words": f"{row.words}{', safety' if row.safety and many else ''}",
        "low": low,
        "median": median,
        "high": high,
        "decisive": row.decisive if within(row.decisive) == row.decisive else None,
        "short": "◀ far short" if gone else "◀ no answer" if unanswered else "◀" if lacking else "",
        "ahead": "far inside ▶" if ahead and not lacking else "▶" if beyond or ahead else "",
    }


def verdict_matrix(found: Iterable[tuple[str, str, str, str]]) -> dict[str, Any]:
    """Draw limits by runs: dark where a limit fails, grey where it is open, sign and share written in.

    Each row is a limit, a run, its verdict, and the per cent of cars that meet it written out.
    """
    found = tuple(found)
    named = row_names(limit for limit, *_ in found)
    values = [
        {
            "limit": named[limit],
            "run": _lines(run, _NARROW),
            "verdict": word,
            "words": f"{SIGNS[word]} {met}",
        }
        for limit, run, word, met in found
    ]
    shades = alt.Scale(domain=["pass", "undecided", "fail"], range=["#ffffff", "#d3d8dd", INK])
    return _matrix(
        values,
        "run",
        alt.Color("verdict:N", scale=shades, legend=None),
        alt.condition("datum.verdict == 'fail'", alt.value("white"), alt.value(INK)),
        "words:N",
        _CELL,
    )


def part_matrix(parts: Iterable[tuple[str, str, float]], cell: int = _CELL) -> dict[str, Any]:
    """Draw limits by inputs: darker where an input answers for more, with the per cent written in.

    Each part is a limit, an input, and what that answers for of the spread of the limit's margin.
    """
    parts = tuple(parts)
    named = row_names(limit for limit, *_ in parts)
    values = [
        {
            "limit": named[limit],
            "name": _lines(name, _NARROW),
            "share": round(100 * max(share, 0.0)),
        }
        for limit, name, share in parts
    ]
    greys = alt.Scale(type="threshold", domain=[5, 20, 50], range=["#ffffff", "#d3d8dd", BAND, INK])
    return _matrix(
        values,
        "name",
        alt.Color("share:Q", scale=greys, legend=None),
        alt.condition("datum.share >= 50", alt.value("white"), alt.value(INK)),
        "share:Q",
        cell,
    )


def _lines(name: str, longest: int) -> str:
    return "\n".join(textwrap.wrap(kept_together(name), longest))


def _matrix(
    values: Sequence[Mapping[str, Any]], across: str, fill: Any, ink: Any, text: str, cell: int
) -> dict[str, Any]:
    """Draw limits by what stands ``across``, each cell filled and written into."""
    limits, names = (list(dict.fromkeys(str(row[key]) for row in values)) for key in ("limit", across))
    lines = "split(datum.label, '\\n')"
    axis = alt.Axis(
        labelAngle=0, labelFontSize=_SMALL, labelAlign="center", domain=False, ticks=False, labelExpr=lines
    )
    base = of_rows(values).encode(
        x=alt.X(f"{across}:N", title=None, sort=names, axis=axis), y=named_rows("limit", sort=limits)
    )
    layers = [
        base.mark_rect(stroke=QUIET, strokeWidth=0.5).encode(color=fill),
        base.mark_text(baseline="middle").encode(text=text, color=ink),
    ]
    return finished(alt.layer(*layers), cell * len(names), height_of(limits), plot=True)
