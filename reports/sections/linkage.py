"""The linkage drawn to scale, closed and open."""

from __future__ import annotations

import math

from explorer.graph.labels import begun
from explorer.results.records import ConditionRecord
from reports.blocks import Figure, Gallery, Line, Paragraph, Section
from reports.drawings.linkage import Chain, can_draw, chains, linkage_view, mainplane
from reports.findings import slug
from reports.formatting import Units, amount
from reports.options import SYSTEMS
from reports.report import Report


def build(report: Report) -> Section | None:
    """One drawing for each flap opening that a condition asks for, the most closed first."""
    elements = report.summary.families.get("element", ())
    nominal = report.summary.nominal
    by_opening: dict[float, ConditionRecord] = {}
    for condition in report.summary.conditions:
        values = nominal.get(condition.name, {})
        if can_draw(values, elements):
            by_opening.setdefault(values.get("flap_opening") or 0.0, condition)
    if not by_opening:
        return None
    conditions = [by_opening[opening] for opening in sorted(by_opening)]
    positions = [chains(nominal[condition.name], elements) for condition in conditions]
    fitted = [chain for position in positions for chain in position]
    figures = tuple(
        _figure(report, condition, position, fitted)
        for condition, position in zip(conditions, positions, strict=True)
    )
    words = (
        "Seen from the left, every length and angle to scale at its nominal value. Thick lines are "
        "horn and arms, "
        "dashed lines rods, accent lines the elements; double circles are fixed to the car. "
        "Incidence is positive "
        "with the trailing edge up."
    )
    return Section("linkage", "The linkage", (Paragraph((words,)), Gallery(figures)))


def _figure(
    report: Report, condition: ConditionRecord, position: tuple[Chain, ...], fitted: list[Chain]
) -> Figure:
    words = report.condition(condition.name)
    caption: Line = ()
    for chain in position:
        shown = amount(chain.angle, Units("rad", "deg"), spread=math.radians(2))
        caption = (*caption, f"{begun(chain.name)}: incidence ", shown, ". ")
    spoken = ", ".join(f"{chain.name} at {math.degrees(chain.angle):.1f} degrees" for chain in position)
    return Figure(
        name=f"linkage-{slug(condition.name)}",
        title=f"Linkage, {words}",
        alternative=(f"Linkage seen from the left, {words}: {spoken}.",),
        caption=caption,
        drawings=tuple(
            linkage_view(
                position,
                fitted,
                mainplane(report.summary.nominal[condition.name]),
                system=system,
                display=report.summary.display,
            )
            for system in SYSTEMS
        ),
        wide=False,
    )
