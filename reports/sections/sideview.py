"""The car drawn to scale from the inputs, flap closed and open at the same speed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from reports.blocks import Figure, Paragraph, Section
from reports.drawings.sideview import can_draw, describe, exaggeration, largest_force, side_view
from reports.findings import judged_build, slug
from reports.options import SYSTEMS
from reports.report import Report

_MOST = 4
# So many times as large are the words of page one's car, which is printed small.
PAGE_ONE = 1.3


def build(report: Report) -> Section | None:
    """Draw the car at its best beside the first page's worst, at one scale and one exaggeration of pitch."""
    drawn = _drawn(report)
    if not drawn:
        return None
    factor = exaggeration([report.summary.nominal[name] for name in drawn])
    words = (
        "Every input at its nominal value. Stations and heights of the axles, the centre of gravity, "
        "the centres of pressure (crosses) and the points under the car are to scale, with springs and "
        "pitch as they are; so are the forces among each other. Wheels, body and the angle of the flap are "
        f"drawn to look right. The bar in the corner shows the pitch {factor} times as large."
    )
    worst = _worst(report, drawn)
    best = max(drawn, key=lambda name: _front_load(report, name))
    names = [name for name in dict.fromkeys((worst, best)) if name != worst or _left_out(report)]
    if not names:
        return None
    figures = tuple(_figure(report, name, f"The car, {report.condition(name)}") for name in names)
    return Section("sideview", "Side view", (Paragraph((words,)), *figures), appendix=True)


def at_worst(report: Report) -> tuple[Figure, ...]:
    """Draw the condition in which the front tyres carry least."""
    drawn = _drawn(report)
    if not drawn:
        return ()
    name = _worst(report, drawn)
    whose = " of the car as the study has it" if judged_build(report.summary).words else ""
    words = (
        f"Side view{whose} where the front tyres carry least: {report.condition(name)}, every input nominal"
    )
    # What its caption says stands in the drawing, and the first page is short of room.
    return (replace(_figure(report, name, words, letters=PAGE_ONE), name="sideview-worst", caption=()),)


def _left_out(report: Report) -> bool:
    """Tell whether the first page, which has the worst, is left out."""
    return "decision" in report.options.leave_out


def _worst(report: Report, drawn: Sequence[str]) -> str:
    return min(drawn, key=lambda name: _front_load(report, name))


def _front_load(report: Report, name: str) -> float:
    load = report.summary.nominal[name].get("front_axle_load")
    return math.inf if load is None else load


def _drawn(report: Report) -> list[str]:
    nominal = report.summary.nominal
    return [c.name for c in report.summary.conditions if can_draw(nominal.get(c.name, {}))][:_MOST]


def _figure(report: Report, name: str, title: str, letters: float = 1.0) -> Figure:
    """Draw one condition, at the scale of all."""
    nominal, display = report.summary.nominal, report.summary.display
    values = [nominal[other] for other in _drawn(report)]
    factor, longest = exaggeration(values), largest_force(values)
    points = report.summary.families.get("point", ())
    return Figure(
        name=f"sideview-{slug(name)}",
        title=title,
        alternative=describe(nominal[name], report.condition(name), display),
        caption=(
            "Pitch ",
            report.value(name, "pitch"),
            "; front tyres carry ",
            report.value(name, "front_axle_load"),
            ".",
        ),
        drawings=tuple(
            side_view(
                nominal[name],
                points,
                system=system,
                display=display,
                factor=factor,
                longest=longest,
                letters=letters,
            )
            for system in SYSTEMS
        ),
    )
