"""Points and a rising line drawn with signs, for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

WIDE = 60
HIGH = 12
_ACROSS, _UP, _CORNER = "-", "|", "+"


def hours_chart(
    points: Sequence[tuple[str, float, float]], steps: Sequence[tuple[float, float]], *, most_hours: float
) -> list[str]:
    """Draw what is gained against hours.

    Parameters
    ----------
    points:
        Name (a sign or two), hours and gain of each; one that finds its place taken moves to the right.
    steps:
        Hours and gain so far of the line that rises from zero, in order.
    most_hours:
        Right end of the line and, unless a point lies beyond, of the chart.

    Returns
    -------
    list of str
        Lines from top to bottom: the area with the gains at its left, then the hours.
    """
    hours = max([most_hours, *(at for _, at, _ in points)])
    gain = max([gain for _, _, gain in points] + [gain for _, gain in steps], default=0.0) or 1.0
    area = [[" "] * (WIDE + 4) for _ in range(HIGH + 1)]

    def column(at: float) -> int:
        return round(WIDE * at / hours)

    def row(value: float) -> int:
        return HIGH - round(HIGH * min(1.0, max(0.0, value / gain)))

    _draw_steps(area, [(column(at), row(value)) for at, value in [*steps, *_end(steps, most_hours)]])
    for name, at, value in points:
        _write(area[row(value)], column(at), name)
    left = [f"{gain * (HIGH - line) / HIGH:7.3g} " if line % 4 == 0 else " " * 8 for line in range(HIGH + 1)]
    lines = [(label + "".join(signs)).rstrip() for label, signs in zip(left, area, strict=True)]
    return [*lines, _hours_line(hours)]


def _end(steps: Sequence[tuple[float, float]], most_hours: float) -> list[tuple[float, float]]:
    """Lead the line on to the end of the hours."""
    return [(max(most_hours, steps[-1][0]), steps[-1][1])] if steps else []


def _draw_steps(area: list[list[str]], corners: Sequence[tuple[int, int]]) -> None:
    column, row = 0, HIGH
    for right, top in corners:
        for place in range(column, right):
            area[row][place] = _ACROSS
        for line in range(top, row):
            area[line][right] = _UP
        area[row][right] = _CORNER if top != row else _ACROSS
        column, row = right, top
        area[row][column] = _CORNER


def _write(line: list[str], place: int, name: str) -> None:
    """Write a name where no other stands."""
    while any(sign.isalnum() for sign in line[max(0, place - 1) : place + len(name) + 1]):
        place += 1
        if place + len(name) > len(line):
            line += [" "] * (len(name) + 1)
    line[place : place + len(name)] = name


def _hours_line(hours: float) -> str:
    marks = [" "] * (WIDE + 16)
    for part in range(5):
        text = f"{hours * part / 4:.3g}" + (" hours" if part == 4 else "")
        place = 8 + round(WIDE * part / 4)
        marks[place : place + len(text)] = text
    return "".join(marks).rstrip()
