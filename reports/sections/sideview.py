"""The car drawn to scale from the inputs, flap closed and open at the same speed."""

from __future__ import annotations

from reports.blocks import Figure, Paragraph, Section
from reports.drawings.sideview import can_draw, describe, exaggeration, largest_force, side_view
from reports.findings import slug
from reports.options import SYSTEMS
from reports.report import Report

_MOST = 4


def build(report: Report) -> Section | None:
    """One drawing a condition, at one scale and one exaggeration of pitch."""
    nominal = report.summary.nominal
    drawn = [c.name for c in report.summary.conditions if can_draw(nominal.get(c.name, {}))][:_MOST]
    if not drawn:
        return None
    values = [nominal[name] for name in drawn]
    factor, longest = exaggeration(values), largest_force(values)
    points = report.summary.families.get("point", ())
    figures = tuple(
        Figure(
            name=f"sideview-{slug(name)}",
            title=f"The car, {report.condition(name)}",
            alternative=describe(nominal[name], report.condition(name), report.summary.display),
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
                    display=report.summary.display,
                    factor=factor,
                    longest=longest,
                )
                for system in SYSTEMS
            ),
        )
        for name in drawn
    )
    words = (
        "Every input at its nominal value. Stations and heights of the axles, the centre of gravity, "
        "the centres "
        "of pressure (crosses) and the points under the car are to scale, with springs and pitch as "
        "they are; so "
        "are the forces among each other. Wheels, body and the angle of the flap are drawn to look "
        "right. The "
        f"bar in the corner shows the pitch {factor} times as large."
    )
    return Section("sideview", "The car, seen from its left", (Paragraph((words,)), *figures))
