"""Where short labels stand beside points of a chart, so that none covers a point or another label."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

# Of a digit at the size that charts are lettered in, with room to breathe, in pixels.
_LETTER = 6.8
_ROOM = 4.0
_HIGH = 13.0
_NEAREST, _NEXT = 13.0, 5.0
_AROUND = 16
# Half the size of a point, where a line to it ends.
POINT = 6.0
# Where along a line it is looked at.
_ALONG = tuple(part / 16 for part in range(1, 17))


@dataclass(frozen=True)
class Box:
    """A rectangle in pixels, y downwards."""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: Box) -> bool:
        """Whether the two have more than an edge in common."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def holds(self, other: Box) -> bool:
        """Whether the other lies inside."""
        return (
            self.left <= other.left
            and other.right <= self.right
            and self.top <= other.top
            and other.bottom <= self.bottom
        )


@dataclass(frozen=True)
class Label:
    """A text with its middle and the point it belongs to, in pixels."""

    text: str
    x: float
    y: float
    at: tuple[float, float]

    @property
    def box(self) -> Box:
        """Rectangle that the text covers."""
        return text_box(self.text, self.x, self.y)

    @property
    def far(self) -> bool:
        """Whether a line must lead to it."""
        # A long text stands farther from its point for its length alone.
        reach = _NEAREST + _NEXT + _LETTER * (len(self.text) - 1) / 2
        return math.dist((self.x, self.y), self.at) > reach

    @property
    def leader(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Ends of a line from beside the text to beside its point."""
        (px, py), box = self.at, self.box
        # The nearest place on the rectangle of the text.
        start = (min(max(px, box.left), box.right), min(max(py, box.top), box.bottom))
        share = min(1.0, POINT / (math.dist(start, self.at) or 1.0))
        return start, (px + share * (start[0] - px), py + share * (start[1] - py))

    @property
    def line(self) -> tuple[Box, ...]:
        """What the line to a far text covers; nothing where none is needed."""
        if not self.far:
            return ()
        (x, y), (x2, y2) = self.leader
        along = [(x + share * (x2 - x), y + share * (y2 - y)) for share in _ALONG]
        return tuple(Box(at - 1, height - 1, at + 1, height + 1) for at, height in along)


def text_box(text: str, x: float, y: float) -> Box:
    """Return the rectangle of a text around its middle."""
    half = (_LETTER * len(text) + _ROOM) / 2
    return Box(x - half, y - _HIGH / 2, x + half, y + _HIGH / 2)


def place_labels(
    points: Sequence[tuple[float, float]], texts: Sequence[str], taken: Sequence[Box], area: Box
) -> tuple[Label, ...]:
    """Put each text as near to its point as there is room, the first ones first.

    Parameters
    ----------
    points, texts:
        In pixels, y downwards.
    taken:
        What no text may cover.
    area:
        What every text must stay inside.  Where it is full, a text stands on its point.
    """
    occupied = list(taken)
    placed: list[Label] = []
    for point, text in zip(points, texts, strict=True):
        free = (
            label
            for label in _around(point, text, math.hypot(area.right - area.left, area.bottom - area.top))
            if area.holds(label.box)
            and not any(label.box.overlaps(box) for box in occupied)
            and not any(part.overlaps(other.box) for part in label.line for other in placed)
        )
        found = next(free, Label(text, *point, point))
        occupied += [found.box, *found.line]
        placed.append(found)
    return tuple(placed)


def _around(point: tuple[float, float], text: str, most: float) -> Iterator[Label]:
    """Try places around a point, the near ones first, to the right before the left."""
    half = (_LETTER * len(text) - _LETTER) / 2
    distance = _NEAREST
    while distance < most:
        for turn in sorted(range(_AROUND), key=lambda turn: min(turn, _AROUND - turn)):
            angle = 2 * math.pi * turn / _AROUND
            x = point[0] + (distance + half * abs(math.cos(angle))) * math.cos(angle)
            yield Label(text, x, point[1] - distance * math.sin(angle), point)
        distance += _NEXT


def joined(numbers: Sequence[int]) -> str:
    """Write numbers that share a place, runs of three and more as a range: "2, 5-8"."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    parts = [
        f"{run[0]}\N{EN DASH}{run[-1]}" if len(run) > 2 else ", ".join(str(number) for number in run)
        for run in runs
    ]
    return ", ".join(parts)
