"""The car from its left, to scale: where its parts act, what they push with, and how far the nose is up.

Everything is placed by the nominal values of one condition, springs and pitch as they are, so that what comes
near the ground on paper does so on the track.  Pitch is too small to read there: it stands beside the car
once more, exaggerated, and the drawing says by how much.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from explorer.graph.written import System
from explorer.study.car_parts import part_of
from reports.drawings.sheet import Point, Sheet, scale_bar
from reports.formatting import NEWTONS, Amount, Units, amount
from reports.theme import ACCENT, ALARM, INK, QUIET

Values = Mapping[str, float | None]

NEEDED = ("wheelbase", "cg_station", "cg_height", "pitch", "front_compression", "rear_compression")
PARTS = ("wing", "splitter", "floor")
_WIDTH, _HEIGHT = 660.0, 224.0
_GROUND = 172.0
# As long as there is room for below the ground, where the largest forces push.
_LONGEST_ARROW = 44.0
# The tilted bar beside the car is at most this steep.
_STEEPEST = math.radians(30.0)
# Pitch that would be written as zero.
_LEVEL = math.radians(0.05)
_FACTORS = (1, 2, 3, 5, 10, 20)
# Forces are written to the newton: finer is not read off a drawing.
_TO_THE_NEWTON = 20.0


@dataclass(frozen=True)
class Load:
    """One force: where it acts, which way it pushes, its size and its name."""

    name: str
    station: float
    height: float
    down: float = 0.0
    rearwards: float = 0.0

    @property
    def size(self) -> float:
        """Size, whichever way it points."""
        return abs(self.down) + abs(self.rearwards)

    @property
    def words(self) -> str:
        """Name of the force, which is a lift where it points upwards."""
        return self.name.replace("downforce", "lift") if self.down < 0 else self.name


def drawn_quantities(points: Sequence[str]) -> set[str]:
    """Name all that a drawing reads, so that who needs nothing else evaluates nothing else."""
    return {
        *NEEDED,
        *("tyre_radius", "loaded_tyre_radius", "body_drag_height", "flap_opening", "weight", "drag_force"),
        *(f"{part}_{what}" for part in PARTS for what in ("station", "height", "downforce")),
        *(f"{axle}_{what}" for axle in ("front", "rear") for what in ("downforce", "axle_load")),
        *(f"{point}_{what}" for point in points for what in ("station", "clearance_at_rest")),
    }


def can_draw(values: Values) -> bool:
    """Tell whether a condition holds what the drawing needs."""
    return all(values.get(name) is not None for name in NEEDED)


def exaggeration(conditions: Sequence[Values]) -> int:
    """Return the factor by which the bar is tilted more than the car, the same for all conditions."""
    steepest = max((abs(values["pitch"] or 0.0) for values in conditions), default=0.0)
    return max((factor for factor in _FACTORS if factor * steepest <= _STEEPEST), default=1)


def side_view(
    values: Values,
    points: Sequence[str],
    *,
    system: System,
    display: Mapping[str, str],
    factor: int,
    longest: float,
    letters: float = 1.0,
) -> str:
    """Draw the car in one condition.

    Parameters
    ----------
    values:
        Nominal values by quantity.
    points:
        Names of the points under the car.
    system, display:
        NEWTONS, Units to write in.
    factor:
        Exaggeration of the tilted bar.
    longest:
        Force [N] that is drawn as the longest arrow, the same for all conditions.
    letters:
        How many times as large words are written, for a drawing that is shown small.
    """
    known = {name: value for name, value in values.items() if value is not None}
    sheet = _sheet(known, points)
    sheet.letters = letters
    body = _BodyDrawn(known["wheelbase"], known["front_compression"], known["rear_compression"])
    _ground(sheet, display, system)
    _body(sheet, known, points, body)
    _loads(sheet, known, body, system, longest)
    _tilted_bar(sheet, known["pitch"], factor, display, system)
    return sheet.svg()


# Height of a row of words, and width of a letter of it.
_ROW, _LETTER = 14.0, 5.1


def two_cars(
    first: Values,
    other: Values,
    points: Sequence[str],
    written: Sequence[tuple[str, str]],
    names: tuple[str, str],
    *,
    system: System,
    display: Mapping[str, str],
    factor: int,
) -> str:
    """Draw two cars over each other, the other one dashed, with what differs led to the part it is of.

    Parameters
    ----------
    first, other:
        Values by quantity, in one condition.
    points:
        Names of the points under the car.
    written:
        Quantity and words of each input that differs.
    names:
        Of the two cars.
    system, display, factor:
        As for ``side_view``.
    """
    known, less = ({k: v for k, v in values.items() if v is not None} for values in (first, other))
    sheet = _sheet(known, points)
    cars = ((known, INK, ""), (less, ALARM, "6 3"))
    outlines = [_outline_at(sheet, values, points) for values, *_ in cars]
    # A floor that would go into the ground goes no farther than the words begin.
    lowest = max(sheet.ground, *(y for outline in outlines for _, y in outline))
    sheet.height += _ROW * len(written) + lowest - sheet.ground
    _ground(sheet, display, system)
    for (values, colour, dash), outline in zip(cars, outlines, strict=True):
        sheet.line([*outline, outline[0]], colour=colour, dash=dash)
        for station in (0.0, values["wheelbase"]):
            sheet.circle(sheet.at((station, _wheel(values))), _wheel(values) * sheet.scale, fill="none")
        rise = 44.0 * math.tan(factor * values["pitch"])
        sheet.line([(18.0, 34.0 - rise), (106.0, 34.0 + rise)], colour=colour, dash=dash, width=2.4)
    _wing(
        sheet,
        known,
        _BodyDrawn(known["wheelbase"], known["front_compression"], known["rear_compression"]),
        _outline(known, points)[1][1][1],
    )
    for place, (values, name, colour) in enumerate(((known, names[0], INK), (less, names[1], ALARM))):
        pitch = amount(
            values["pitch"], Units("rad", display.get("pitch", "deg")), spread=math.radians(2)
        ).text(system)
        sheet.text((120, 26 + 15 * place), f"{name}: pitch {pitch}", colour=colour, weight=600)
    _differences(sheet, written, part_places(first, points), lowest + 24.0)
    return sheet.svg()


def _outline_at(sheet: Sheet, values: Mapping[str, float], points: Sequence[str]) -> list[Point]:
    body = _BodyDrawn(values["wheelbase"], values["front_compression"], values["rear_compression"])
    floor, rest = _outline(values, points)
    return [sheet.at(body(one)) for one in (*floor, *rest)]


def _differences(
    sheet: Sheet, written: Sequence[tuple[str, str]], places: Mapping[str, Point], top: float
) -> None:
    """Write what differs from ``top`` on, each led up to its part: no leader runs through a word."""
    left = 230.0
    widest = left + _LETTER * max((len(words) for _, words in written), default=0)
    rows = []
    for quantity, words in written:
        target = places.get(part_of(quantity))
        # Parts above the words come first, then those at their left, then those at their right.
        side = 0 if target is None or left <= target[0] <= widest else 1 if target[0] < left else 2
        rows.append((side, left + _LETTER * len(words), words, target))
    led: set[Point] = set()
    for row, (side, right, words, target) in enumerate(sorted(rows, key=lambda one: one[:2])):
        y = top + _ROW * row
        sheet.text((left, y), words, size=10)
        if target is None or target in led:
            continue
        led.add(target)
        start, turn = (right + 4, widest + 10.0 + 4 * row) if side == 2 else (left - 4, left - 10.0 - 4 * row)
        corners = [(start, y - 4), (turn, y - 4), (turn, sheet.ground)]
        sheet.line([*corners, target], colour=QUIET, width=0.7)
        sheet.circle(target, 3, fill=QUIET, stroke=QUIET)


def part_places(values: Values, points: Sequence[str]) -> dict[str, Point]:
    """Return where on the drawing of a condition each part of the car is, in pixels."""
    known = {name: value for name, value in values.items() if value is not None}
    sheet, radius, base = _sheet(known, points), _wheel(known), known["wheelbase"]
    body = _BodyDrawn(base, known["front_compression"], known["rear_compression"])
    places = {
        "wheels": (0.0, radius),
        "springs": (base, 1.3 * radius),
        "battery": (0.3 * base, 1.1 * radius),
        "body": (known["cg_station"], known["cg_height"]),
        # On the arrow of the drag.
        "air": (base + 1.9 * radius, known.get("body_drag_height", known["cg_height"])),
    }
    if "wing_station" in known and "wing_height" in known:
        places["wing"] = body((known["wing_station"] - 0.08 * base, known["wing_height"]))
        places["servo"] = body((known["wing_station"] + 0.09 * base, known["wing_height"] + 0.03 * base))
    for part in ("splitter", "floor"):
        if f"{part}_station" in known:
            places[part] = body((known[f"{part}_station"], known.get(f"{part}_height", 0.02)))
    return {part: sheet.at(place) for part, place in places.items()}


def _sheet(values: Mapping[str, float], points: Sequence[str]) -> Sheet:
    stations = _stations(values, points)
    low, high = min(stations), max(stations)
    pixels = (_WIDTH - 190) / (high - low)
    return Sheet(_WIDTH, _HEIGHT, pixels, 80 - pixels * low, _GROUND)


def largest_force(conditions: Sequence[Values]) -> float:
    """Return the largest force [N] that would be drawn."""
    sizes = [load.size for values in conditions for load in list_loads(values)]
    return max(sizes, default=1.0) or 1.0


@dataclass(frozen=True)
class _BodyDrawn:
    """Moves a place on the body from rest to where the compressed springs put it."""

    wheelbase: float
    front: float
    rear: float

    def __call__(self, point: Point) -> Point:
        station, height = point
        slope = (self.rear - self.front) / self.wheelbase
        return station + height * slope, height - self.front - slope * station


def _stations(values: Mapping[str, float], points: Sequence[str]) -> list[float]:
    names = [f"{part}_station" for part in (*PARTS, "cg")] + [f"{point}_station" for point in points]
    found = [values[name] for name in names if name in values]
    radius = _wheel(values)
    return [*found, -radius, values["wheelbase"] + radius]


def _wheel(values: Mapping[str, float]) -> float:
    """Radius of the wheels; where the study has none, one that looks right."""
    return values.get("tyre_radius") or values.get("loaded_tyre_radius") or 0.13 * values["wheelbase"]


def _ground(sheet: Sheet, display: Mapping[str, str], system: System) -> None:
    sheet.line([(0, sheet.ground), (sheet.width, sheet.ground)], width=1.4)
    scale_bar(sheet, display.get("wheelbase", "mm"), system, widest=110)
    sheet.text((sheet.width - 8, sheet.height - 9), "← front", colour=QUIET, anchor="end")


def _body(sheet: Sheet, values: Mapping[str, float], points: Sequence[str], body: _BodyDrawn) -> None:
    radius, base = _wheel(values), values["wheelbase"]
    floor, rest = _outline(values, points)
    outline, roof = (*floor, *rest), rest[1][1]
    sheet.area([sheet.at(body(corner)) for corner in outline], fill="#f1f3f5", stroke=QUIET)
    sheet.line([sheet.at(body(corner)) for corner in floor], width=2.6)
    _wing(sheet, values, body, roof)
    for station in (0.0, base):
        sheet.circle(sheet.at((station, radius)), radius * sheet.scale, fill="white")
        sheet.circle(sheet.at((station, radius)), 2.5, fill=INK)
    x, y = sheet.at(body((values["cg_station"], values["cg_height"])))
    sheet.circle((x, y), 6)
    sheet.area([(x, y), (x, y - 6), (x + 6, y)], fill=INK)
    sheet.area([(x, y), (x, y + 6), (x - 6, y)], fill=INK)


def _outline(values: Mapping[str, float], points: Sequence[str]) -> tuple[list[Point], list[Point]]:
    """Return the corners of the body as at rest: those under the car, then those above."""
    radius, base = _wheel(values), values["wheelbase"]
    under = sorted(
        (values[f"{point}_station"], values.get(f"{point}_clearance_at_rest", 0.0))
        for point in points
        if f"{point}_station" in values
    ) or [(0.0, 0.25 * radius), (base, 0.25 * radius)]
    floor = [(under[0][0], under[0][1]), *under[1:-1], (under[-1][0], under[-1][1])]
    roof = max(height for _, height in under) + 1.8 * radius
    return floor, [
        (base + 0.8 * radius, 0.75 * roof),
        (base * 0.75, roof),
        (base * 0.38, roof),
        (-0.8 * radius, 0.62 * roof),
    ]


def _wing(sheet: Sheet, values: Mapping[str, float], body: _BodyDrawn, roof: float) -> None:
    if "wing_station" not in values or "wing_height" not in values:
        return
    station, height = values["wing_station"], values["wing_height"]
    half = 0.09 * values["wheelbase"]
    # The angle only tells shut from open; the drawing of the linkage has the true one.
    steep = math.radians(8 + 32 * (1 - values.get("flap_opening", 0.0)))
    hinge = (station + 0.2 * half, height + 0.1 * half)
    tail = (hinge[0] + 1.3 * half * math.cos(steep), hinge[1] + 1.3 * half * math.sin(steep))
    foot = (values["wheelbase"] + 0.2 * half, 0.75 * roof)
    sheet.line([sheet.at(body(foot)), sheet.at(body((station, height)))], colour=QUIET)
    sheet.line([sheet.at(body((station - half, height - 0.05 * half))), sheet.at(body(hinge))], width=3.2)
    sheet.line([sheet.at(body(hinge)), sheet.at(body(tail))], colour=ACCENT, width=3.2)


def list_loads(values: Values) -> list[Load]:
    """List the forces that the run has values for: weight, air, drag and tyres."""
    known = {name: value for name, value in values.items() if value is not None}
    base, radius = known["wheelbase"], _wheel(known)
    axles = (("front", 0.0), ("rear", base))
    loads = []
    if "weight" in known:
        loads.append(Load("weight", known["cg_station"], known["cg_height"], down=known["weight"]))
    parts = [part for part in PARTS if f"{part}_downforce" in known and f"{part}_station" in known]
    for part in parts:
        height = known.get(f"{part}_height", 0.02)
        name = f"{part} downforce"
        loads.append(Load(name, known[f"{part}_station"], height, down=known[f"{part}_downforce"]))
    for axle, station in () if parts else axles:
        if f"{axle}_downforce" in known:
            loads.append(Load(f"{axle} downforce", station, 2.2 * radius, down=known[f"{axle}_downforce"]))
    if "drag_force" in known:
        height = known.get("body_drag_height", known["cg_height"])
        loads.append(Load("drag", base + 1.9 * radius, height, rearwards=known["drag_force"]))
    for axle, station in axles:
        if f"{axle}_axle_load" in known:
            loads.append(Load(f"{axle} tyres", station, 0.0, down=-known[f"{axle}_axle_load"]))
    return loads


def _loads(
    sheet: Sheet, values: Mapping[str, float], body: _BodyDrawn, system: System, longest: float
) -> None:
    for load in list_loads(values):
        length = _LONGEST_ARROW * load.size / longest
        written = _newtons(load.size).text(system)
        if "tyres" in load.name:
            _tyre_load(sheet, load, written, longest)
        elif load.rearwards:
            x, y = sheet.at(body((load.station, load.height)))
            sheet.arrow((x, y), (x + min(length, sheet.width - x - 30), y), colour=QUIET, width=2.4)
            sheet.text((x, y - 7), f"{load.words} {written}", colour=QUIET)
        else:
            _upright_load(sheet, sheet.at(body((load.station, load.height))), load, written, length)
    _centres(sheet, values, body)


def _pitch(value: float | None, display: Mapping[str, str]) -> Amount:
    return amount(value, Units("rad", display.get("pitch", "deg")), spread=math.radians(2))


def _newtons(size: float) -> Amount:
    return amount(size, NEWTONS, spread=_TO_THE_NEWTON)


def _upright_load(sheet: Sheet, place: Point, load: Load, written: str, length: float) -> None:
    """Draw a force on the body: it presses on the place it acts at, or pulls away from it."""
    x, y = place
    colour = INK if load.name == "weight" else ACCENT if load.down >= 0 else ALARM
    tip, tail = (x, y - 4), (x, y - length - 4)
    sheet.circle(place, 3, fill=colour, stroke=colour)
    sheet.arrow(*((tail, tip) if load.down >= 0 else (tip, tail)), colour=colour, width=2.4)
    label = f"{load.words} {written}"
    if load.name == "weight":
        sheet.text((x + 9, y - 10), label, colour=colour)
        return
    # Before it, where nothing stands in the way, unless the edge of the sheet is near.
    side = -8 if x > sheet.width / 4 else 8
    anchor = "end" if side < 0 else "start"
    sheet.text((x + side, y - max(length, 8)), label, colour=colour, anchor=anchor)


def _tyre_load(sheet: Sheet, load: Load, written: str, longest: float) -> None:
    """Draw what the ground carries, below the ground; a lifted axle is said in words."""
    x, y = sheet.at((load.station, 0.0))
    if load.down >= 0:
        sheet.text((x, y + 20), f"{load.name} lifted", colour=ALARM, anchor="middle", weight=600)
        return
    length = _LONGEST_ARROW * load.size / longest
    sheet.arrow((x, y + 2 + length), (x, y + 2), colour=INK, width=2.4)
    sheet.text((x + 10, y + 24), f"{load.name} carry {written}")


def _centres(sheet: Sheet, values: Mapping[str, float], body: _BodyDrawn) -> None:
    """Mark the centre of pressure of each part with a cross and its name."""
    for part in PARTS:
        if f"{part}_station" not in values or f"{part}_downforce" in values:
            continue
        x, y = sheet.at(body((values[f"{part}_station"], values.get(f"{part}_height", 0.02))))
        sheet.line([(x - 4, y - 4), (x + 4, y + 4)], colour=ACCENT, width=1.8)
        sheet.line([(x - 4, y + 4), (x + 4, y - 4)], colour=ACCENT, width=1.8)
        sheet.text((x, y - 8), part, colour=ACCENT, anchor="middle", size=10)


def _tilted_bar(sheet: Sheet, pitch: float, factor: int, display: Mapping[str, str], system: System) -> None:
    """Draw the pitch once more, larger than it is, in the upper left corner."""
    middle, half = (62.0, 34.0), 44.0
    rise = half * math.tan(factor * pitch)
    sheet.line([(middle[0] - half, middle[1]), (middle[0] + half, middle[1])], colour=QUIET, dash="3 3")
    sheet.line([(middle[0] - half, middle[1] - rise), (middle[0] + half, middle[1] + rise)], width=3)
    side = "up" if pitch >= 0 else "down"
    words = _pitch(abs(pitch), display).text(system)
    sheet.text((120, 32), "level" if abs(pitch) < _LEVEL else f"nose {side} {words}", weight=600)
    sheet.text(
        (120, 47),
        f"bar tilted {factor} times as far" if factor > 1 else "bar tilted as the car",
        colour=QUIET,
    )


def describe(values: Values, words: str, display: Mapping[str, str]) -> tuple[str | Amount, ...]:
    """Say in words what the drawing shows."""
    pitch = _pitch(values["pitch"], display)
    loads = [part for load in list_loads(values) for part in (f"; {load.words} ", _newtons(load.size))]
    return (f"Side view of the car, {words}: pitch ", pitch, ", nose-up positive", *loads, ".")
