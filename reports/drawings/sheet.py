"""A sheet to draw on: lengths in metres become pixels, and every word becomes harmless text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

from explorer.graph.units import known_unit
from explorer.graph.written import System
from reports.formatting import Units, amount, scale
from reports.theme import FONT, INK, QUIET

Point = tuple[float, float]


@dataclass
class Sheet:
    """Collects shapes, then writes them as SVG.

    Stations run to the right, heights up; ``scale`` is pixels a metre, ``left`` and ``ground`` the pixels at
    which station and height are zero; ``letters`` times as large are all words, for a drawing shown small.
    """

    width: float
    height: float
    scale: float
    left: float
    ground: float
    letters: float = 1.0
    shapes: list[str] = field(default_factory=list)

    def at(self, point: Point) -> Point:
        """Turn a station and a height into pixels."""
        return self.left + self.scale * point[0], self.ground - self.scale * point[1]

    def line(
        self,
        points: Sequence[Point],
        *,
        colour: str = INK,
        width: float = 1.2,
        dash: str = "",
    ) -> None:
        """Draw a line through points in pixels."""
        corners = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self.shapes.append(
            f'<polyline points="{corners}" fill="none" stroke="{colour}" stroke-width="{width}" '
            f'stroke-linejoin="round"{dashes}/>'
        )

    def area(self, points: Sequence[Point], *, fill: str, stroke: str = INK) -> None:
        """Fill an area between points in pixels."""
        corners = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        self.shapes.append(f'<polygon points="{corners}" fill="{fill}" stroke="{stroke}" stroke-width="1"/>')

    def circle(self, centre: Point, radius: float, *, fill: str = "white", stroke: str = INK) -> None:
        """Draw a circle around a point in pixels."""
        x, y = centre
        self.shapes.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}" fill="{fill}" stroke="{stroke}" '
            'stroke-width="1.2"/>'
        )

    def arrow(self, start: Point, end: Point, *, colour: str, width: float = 2.0) -> None:
        """Draw an arrow between two points in pixels."""
        (x0, y0), (x1, y1) = start, end
        length = math.hypot(x1 - x0, y1 - y0)
        if length < 1:
            return
        along = ((x1 - x0) / length, (y1 - y0) / length)
        head = min(8.0, length)
        neck = (x1 - head * along[0], y1 - head * along[1])
        across = (-along[1] * head * 0.42, along[0] * head * 0.42)
        self.line([start, neck], colour=colour, width=width)
        self.area(
            [end, (neck[0] + across[0], neck[1] + across[1]), (neck[0] - across[0], neck[1] - across[1])],
            fill=colour,
            stroke=colour,
        )

    def text(
        self,
        at: Point,
        words: str,
        *,
        colour: str = INK,
        anchor: str = "start",
        weight: int = 400,
        size: float = 11,
    ) -> None:
        """Write words at a point in pixels."""
        letters = f"{size * self.letters:.3g}"
        self.shapes.append(
            f'<text x="{at[0]:.1f}" y="{at[1]:.1f}" font-family="{FONT}" font-size="{letters}" '
            f'fill="{colour}" text-anchor="{anchor}" font-weight="{weight}">{escape(words)}</text>'
        )

    def svg(self) -> str:
        """Return the drawing."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width:.0f}" height="{self.height:.0f}" '
            f'viewBox="0 0 {self.width:.0f} {self.height:.0f}" aria-hidden="true">'
            + "".join(self.shapes)
            + "</svg>"
        )


def scale_bar(sheet: Sheet, given: str, system: System, *, widest: float, words: str = "") -> None:
    """Draw a bar of a round length, in the units shown, in the lower left corner.

    Parameters
    ----------
    sheet:
        Where to draw.
    given, system:
        The builder's unit of length, and the system to write in.
    widest:
        Most pixels it may take.
    words:
        What to add to the length.
    """
    shown = scale(Units("m", given), system)
    one = known_unit(shown.unit).factor
    length = one * nice_length(widest / sheet.scale / one)
    left, y = 8.0, sheet.height - 9
    right = left + length * sheet.scale
    sheet.line([(left, y - 4), (left, y), (right, y), (right, y - 4)], colour=QUIET)
    sheet.text((right + 6, y), amount(length, Units("m", given)).text(system) + words, colour=QUIET)


def nice_length(longest: float) -> float:
    """Return the largest of 1, 2 or 5 times a power of ten that is not longer."""
    power = 10.0 ** math.floor(math.log10(longest))
    return next(step * power for step in (5, 2, 1) if step * power <= longest * (1 + 1e-9))
