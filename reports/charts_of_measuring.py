"""What measurements bring against the hours they take, and what they bring together in the best order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

from reports.charts import (
    WIDE,
    Mark,
    few_ticks,
    finished,
    height_of,
    named_rows,
    of_rows,
    row_names,
    told,
    upright,
)
from reports.label_placement import POINT, Box, Label, joined, place_labels
from reports.later import alt
from reports.theme import ACCENT, INK, QUIET

PLOT, HEIGHT = 596, 160
# Points nearer than this have one label for all of them, in pixels.
_TOGETHER = 7.0
_LINE = 2.0

GainStanding = Literal["stands out", "tied with another", "no clear gain"]
STANDINGS: tuple[GainStanding, ...] = ("stands out", "tied with another", "no clear gain")
# The rising line stands in the key as well, as two dashes.
_ORDER = "best order, adding up"
_SHAPES = ("circle", "diamond", "cross", "M-1.2,0L-0.2,0M0.4,0L1.4,0")
_FILLS = (INK, "white", "white", "white")


@dataclass(frozen=True)
class Measured:
    """One measurement: its number in the table, what it takes, and what it brings alone with its interval."""

    number: int
    name: str
    hours: float
    value: float
    low: float
    high: float
    standing: GainStanding


@dataclass(frozen=True)
class Rise:
    """One measurement in its turn: hours and value so far, with it."""

    number: int
    hours: float
    value: float


def value_against_hours(
    spots: Sequence[Measured], rises: Sequence[Rise], *, budget: float, axis: str
) -> dict[str, Any]:
    """Draw each measurement as a numbered point, and the best order as rising steps.

    Parameters
    ----------
    spots:
        The measurements, each alone.
    rises:
        The best order within the budget; values add up.
    budget:
        Hours to spend.
    axis:
        Title of the vertical axis.
    """
    frame = _frame(spots, rises, budget)
    layers = [
        *upright([Mark(budget, f"{budget:g} h to spend")]),
        *_steps(rises, budget),
        *_points(spots, frame, axis),
        *_labels(labels_of(spots, rises, budget, frame), frame),
    ]
    return finished(alt.layer(*layers), PLOT, HEIGHT, plot=True)


@dataclass(frozen=True)
class Frame:
    """Ends of both axes, and the way from values to pixels."""

    hours: float
    low: float
    high: float
    width: float = PLOT
    height: float = HEIGHT

    def pixel(self, hours: float, value: float) -> tuple[float, float]:
        """Return the place of a value, y downwards."""
        return (
            self.width * hours / self.hours,
            self.height * (self.high - value) / (self.high - self.low),
        )

    def value(self, x: float, y: float) -> tuple[float, float]:
        """Return the value at a place."""
        return self.hours * x / self.width, self.high - y / self.height * (self.high - self.low)


def _frame(spots: Sequence[Measured], rises: Sequence[Rise], budget: float) -> Frame:
    low = min([0.0, *(spot.low for spot in spots)])
    high = max([0.0, *(spot.high for spot in spots), *(rise.value for rise in rises)])
    span = (high - low) or 1.0
    # Below the points that bring nothing there must be room for their numbers.
    return Frame(1.08 * max([budget, *(spot.hours for spot in spots)]), low - 0.2 * span, high + 0.08 * span)


def _points(spots: Sequence[Measured], frame: Frame, axis: str) -> list[Any]:
    rows = [vars(spot) | {"name": f"{spot.number}: {spot.name}"} for spot in spots]
    base = of_rows(rows).encode(
        x=alt.X(
            "hours:Q",
            title="hours it takes",
            scale=alt.Scale(domain=[0, frame.hours], nice=False),
            axis=few_ticks(8),
        ),
        tooltip=[
            *told({"name": "measurement"}, {"hours": "hours", "value": axis}, ".3~g"),
            *told({"standing": "against the others"}, {}),
        ],
    )
    scale = alt.Scale(domain=[frame.low, frame.high], nice=False, zero=False)
    whisker = base.mark_rule(color=INK, strokeWidth=1.2)
    cap = base.mark_tick(color=INK, thickness=1.2, size=7, orient="horizontal")
    key = alt.Legend(title=None, orient="bottom", columns=4, symbolSize=70, labelLimit=290)
    names = [*STANDINGS, _ORDER]
    return [
        whisker.encode(
            y=alt.Y("low:Q", title=axis, scale=scale, axis=alt.Axis(tickCount=5, format=".4~g")),
            y2=alt.Y2("high:Q"),
        ),
        cap.encode(y=alt.Y("low:Q", title=axis)),
        cap.encode(y=alt.Y("high:Q", title=axis)),
        base.mark_point(size=60, opacity=1, strokeWidth=1.6, color=INK).encode(
            y=alt.Y("value:Q", title=axis),
            shape=alt.Shape("standing:N", scale=alt.Scale(domain=names, range=list(_SHAPES)), legend=key),
            fill=alt.Fill("standing:N", scale=alt.Scale(domain=names, range=list(_FILLS))),
        ),
    ]


def _corners(rises: Sequence[Rise], budget: float) -> list[tuple[float, float]]:
    """Begin at zero and end where the hours do."""
    if not rises:
        return []
    last = rises[-1]
    return [
        (0.0, 0.0),
        *((rise.hours, rise.value) for rise in rises),
        (max(budget, last.hours), last.value),
    ]


def _steps(rises: Sequence[Rise], budget: float) -> list[Any]:
    if not rises:
        return []
    corners = _corners(rises, budget)
    line = of_rows({"hours": hours, "value": value} for hours, value in corners).mark_line(
        interpolate="step-after", color=ACCENT, strokeWidth=2.2, strokeDash=[6, 3]
    )
    return [line.encode(x=alt.X("hours:Q"), y=alt.Y("value:Q"))]


def labels_of(
    spots: Sequence[Measured], rises: Sequence[Rise], budget: float, frame: Frame
) -> tuple[Label, ...]:
    """Give each point its number, points in one place together, and name what each later step adds."""
    groups: list[tuple[tuple[float, float], list[int]]] = []
    edge = frame.pixel(budget, frame.low)[0]
    taken = [Box(edge - _LINE, 0, edge + _LINE, frame.height)]
    for spot in spots:
        x, y = frame.pixel(spot.hours, spot.value)
        top, bottom = frame.pixel(spot.hours, spot.high)[1], frame.pixel(spot.hours, spot.low)[1]
        taken += [
            Box(x - POINT, y - POINT, x + POINT, y + POINT),
            Box(x - _LINE, top, x + _LINE, bottom),
        ]
        near = next((group for group in groups if _near(group[0], (x, y))), None)
        if near is None:
            groups.append(((x, y), [spot.number]))
        else:
            near[1].append(spot.number)
    taken += _step_boxes(_corners(rises, budget), frame)
    points = [place for place, _ in groups]
    texts = [joined(numbers) for _, numbers in groups]
    for rise in rises[1:]:
        # The first step ends at the point of its own measurement, which has its number.
        points.append(frame.pixel(rise.hours, rise.value))
        texts.append(f"+{rise.number}")
    return place_labels(points, texts, taken, Box(0, 0, frame.width, frame.height))


def _near(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return abs(one[0] - other[0]) < _TOGETHER and abs(one[1] - other[1]) < _TOGETHER


def _step_boxes(corners: Sequence[tuple[float, float]], frame: Frame) -> list[Box]:
    """Return what the rising line covers."""
    boxes = []
    for before, after in pairwise(corners):
        (left, low), (right, high) = frame.pixel(*before), frame.pixel(*after)
        boxes += [
            Box(left, low - _LINE, right, low + _LINE),
            Box(right - _LINE, min(low, high), right + _LINE, max(low, high)),
        ]
    return boxes


def _labels(labels: Sequence[Label], frame: Frame) -> list[Any]:
    """Letter the labels, and lead a line to each that stands far from its point."""
    texts, leaders = [], []
    for label in labels:
        hours, value = frame.value(label.x, label.y)
        texts.append({"hours": hours, "value": value, "text": label.text})
        if label.far:
            (x, y), (x2, y2) = (frame.value(*end) for end in label.leader)
            leaders.append({"x": x, "y": y, "x2": x2, "y2": y2})
    layers = [
        of_rows(texts)
        .mark_text(fontWeight=600, align="center", baseline="middle")
        .encode(x=alt.X("hours:Q"), y=alt.Y("value:Q"), text=alt.Text("text:N"))
    ]
    if leaders:
        line = of_rows(leaders).mark_rule(color=QUIET, strokeWidth=0.8)
        layers.append(line.encode(x=alt.X("x:Q"), y=alt.Y("y:Q"), x2=alt.X2("x2:Q"), y2=alt.Y2("y2:Q")))
    return layers


def before_and_after(rows: Sequence[tuple[str, float, float]]) -> dict[str, Any]:
    """Draw a row a limit: hollow before the measurements, full after them, the line what they save.

    Each row is a limit, and the chance in per cent of judging it wrongly before and after.
    """
    states = ["before measuring", "after the measurements"]
    named = row_names(limit for limit, *_ in rows)
    values = [
        {"limit": named[limit], "chance": value, "state": state}
        for limit, *both in rows
        for state, value in zip(states, both, strict=True)
    ]
    title = "chance of judging the limit wrongly [%]"
    base = of_rows(values).encode(
        x=alt.X("chance:Q", title=title, axis=few_ticks(6)),
        y=named_rows("limit"),
        tooltip=told({"limit": "limit", "state": "when"}, {"chance": title}, ".3~g"),
    )
    key = alt.Legend(title=None, orient="top", symbolSize=70)
    shapes = alt.Scale(domain=states, range=["circle", "diamond"])
    layers = [
        base.mark_line(color=QUIET, strokeWidth=2).encode(detail=alt.Detail("limit:N")),
        base.mark_point(size=70, opacity=1, strokeWidth=1.6, color=INK).encode(
            shape=alt.Shape("state:N", scale=shapes, legend=key),
            fill=alt.Fill("state:N", scale=alt.Scale(domain=states, range=["white", INK])),
        ),
    ]
    return finished(alt.layer(*layers), WIDE, height_of([limit for limit, *_ in rows]))
