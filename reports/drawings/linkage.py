"""The flap's linkage to scale in one position: servo horn, rods, arms and elements, seen from the left."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from explorer.graph.written import System
from reports.drawings.sheet import Point, Sheet, scale_bar
from reports.formatting import Units, amount
from reports.theme import ACCENT, INK, QUIET

Values = Mapping[str, float | None]

_NEEDED = ("servo_axis_station", "servo_axis_height", "servo_angle")
_NEEDED_EACH = (
    "pivot_station",
    "pivot_height",
    "chord",
    "pivot_fraction",
    "angle",
    "arm_length",
    "arm_angle",
    "horn_radius",
    "horn_offset",
)
_WIDTH, _HEIGHT, _MARGIN, _LABELS = 326.0, 270.0, 34.0, 96.0


@dataclass(frozen=True)
class Chain:
    """One element with its horn pin, arm pin, pivot and both edges: places in metres."""

    name: str
    servo: Point
    horn: Point
    arm: Point
    pivot: Point
    leading: Point
    trailing: Point
    angle: float

    @property
    def places(self) -> tuple[Point, ...]:
        """Every place, for fitting the drawing to the sheet."""
        return self.servo, self.horn, self.arm, self.pivot, self.leading, self.trailing


def can_draw(values: Values, elements: Sequence[str]) -> bool:
    """Tell whether a condition holds the linkage of every element."""
    names = [*_NEEDED, *(f"{element}_{name}" for element in elements for name in _NEEDED_EACH)]
    return bool(elements) and all(values.get(name) is not None for name in names)


def chains(values: Values, elements: Sequence[str]) -> tuple[Chain, ...]:
    """Place the pins of every element from its nominal lengths and angles."""
    return tuple(_chain({k: v for k, v in values.items() if v is not None}, element) for element in elements)


def _chain(values: Mapping[str, float], element: str) -> Chain:
    own = {name: values[f"{element}_{name}"] for name in _NEEDED_EACH}
    servo = (values["servo_axis_station"], values["servo_axis_height"])
    pivot = (own["pivot_station"], own["pivot_height"])
    ahead, behind = own["pivot_fraction"] * own["chord"], (1 - own["pivot_fraction"]) * own["chord"]
    return Chain(
        name=element.replace("_", " "),
        servo=servo,
        horn=_from(servo, own["horn_radius"], values["servo_angle"] + own["horn_offset"]),
        arm=_from(pivot, own["arm_length"], own["angle"] + own["arm_angle"]),
        pivot=pivot,
        leading=_from(pivot, -ahead, own["angle"]),
        trailing=_from(pivot, behind, own["angle"]),
        angle=own["angle"],
    )


def _from(place: Point, length: float, direction: float) -> Point:
    return place[0] + length * math.cos(direction), place[1] + length * math.sin(direction)


def mainplane(values: Values) -> tuple[Point, Point] | None:
    """Place both edges of the fixed main plane, when the study has one."""
    names = ("trailing_edge_station", "trailing_edge_height", "chord", "incidence")
    own = [values.get(f"mainplane_{name}") for name in names]
    known = [value for value in own if value is not None]
    if len(known) < len(names):
        return None
    station, height, chord, incidence = known
    return _from((station, height), -chord, incidence), (station, height)


def linkage_view(
    shown: Sequence[Chain],
    fitted: Sequence[Chain],
    fixed: tuple[Point, Point] | None,
    *,
    system: System,
    display: Mapping[str, str],
) -> str:
    """Draw the linkage in one position.

    Parameters
    ----------
    shown:
        The position to draw.
    fitted:
        Every position that is drawn to the same scale, so that they can be laid over each other.
    fixed:
        Both edges of the main plane.
    system, display:
        Units to write in.
    """
    places = [place for chain in fitted for place in chain.places] + list(fixed or ())
    left, right = min(x for x, _ in places), max(x for x, _ in places)
    low, high = min(y for _, y in places), max(y for _, y in places)
    pixels = min(
        (_WIDTH - 2 * _MARGIN - _LABELS) / max(right - left, 1e-6),
        (_HEIGHT - 2 * _MARGIN) / max(high - low, 1e-6),
    )
    tall = 2 * _MARGIN + pixels * (high - low)
    sheet = Sheet(_WIDTH, tall, pixels, _MARGIN - pixels * left, tall - _MARGIN + pixels * low)
    if fixed:
        sheet.line([sheet.at(place) for place in fixed], colour=QUIET, width=5)
    for chain in shown:
        _draw(sheet, chain)
    _labels(sheet, shown, system, display)
    scale_bar(sheet, display.get("wheelbase", "mm"), system, widest=90, words=", to scale")
    sheet.text((_WIDTH - 8, tall - 9), "← front", colour=QUIET, anchor="end")
    return sheet.svg()


def _draw(sheet: Sheet, chain: Chain) -> None:
    servo, horn, arm, pivot, leading, trailing = map(sheet.at, chain.places)
    sheet.line([leading, trailing], width=5, colour=ACCENT)
    sheet.line([servo, horn], width=3.2)
    sheet.line([pivot, arm], width=3.2)
    sheet.line([horn, arm], width=1.6, dash="6 3")
    for place in (horn, arm):
        sheet.circle(place, 3)
    for place in (servo, pivot):
        sheet.circle(place, 5)
        sheet.circle(place, 1.8, fill=INK)


def _labels(sheet: Sheet, shown: Sequence[Chain], system: System, display: Mapping[str, str]) -> None:
    x, y = sheet.at(shown[0].servo)
    sheet.text((x + 10, y + 4), "servo")
    last = -math.inf
    for chain in sorted(shown, key=lambda one: -one.trailing[1]):
        end = sheet.at(chain.trailing)
        level = max(end[1] + 4, last + 14)
        last = level
        unit = display.get(f"{chain.name.replace(' ', '_')}_angle", "deg")
        angle = amount(chain.angle, Units("rad", unit), spread=math.radians(2)).text(system)
        sheet.text((end[0] + 10, level), f"{chain.name} {angle}", colour=ACCENT, weight=600, size=10.5)
