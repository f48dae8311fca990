"""Numbers that are each possible but at odds with one another, or beyond the cars this was made for.

A caution with the likely slip, never a refusal.  All bounds here are judgement, with room on both sides.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from explorer.graph.graph import Graph
from explorer.graph.quantity import Quantity
from explorer.graph.units import from_si, parse, to_si, written_in
from explorer.graph.words import Number, Sentence, told
from explorer.study.inputs import Input
from explorer.study.study import Study

#: What the README says of these cars; 1:10 to 1:5 of wheelbases between 2.3 and 3.1 m.
MADE_FOR = {"mass": ("3 kg", "15 kg"), "wheelbase": ("230 mm", "620 mm")}
SPEEDS = ("30 m/s", "70 m/s")
_GRAVITY = 9.81
# What a wrong unit or a slipped point makes of a value.
_SLIPS = (1e-3, 1e3, 0.1, 10.0, 1e-2, 1e2)
# A reading of the day so many standard deviations off is a slip, or the study is wrong of other days.
FAR = 5.0
_SPEED = re.compile(r"(\d+(?:\.\d+)?)\s*(m/s|km/h|mph)")
# Behind and ahead of the wheels a car reaches this far, in wheelbases.
_AHEAD, _BEHIND = 0.75, 1.75


@dataclass(frozen=True)
class _GivenCar:
    """What the study itself gives, at its nominal values in SI units."""

    given: Mapping[str, Input]
    graph: Graph
    elements: tuple[str, ...]
    points: tuple[str, ...]

    def __call__(self, *names: str) -> list[float] | None:
        """Return the values of some inputs; None when one of them is not given."""
        if not all(name in self.given for name in names):
            return None
        return [float(self.given[name].distribution.nominal) for name in names]

    def said(self, name: str, value: float | None = None) -> Number:
        """Return an input's value for a sentence, or another in its unit."""
        one = self.given[name]
        shown = one.distribution.nominal if value is None else value
        return Number(float(shown), unit=self.graph[name].unit, display_unit=one.display_unit)


Odd = Iterator[Sentence]


def number_of(text: str, unit: str) -> Number:
    """Return a number for a sentence, written with its unit."""
    value, written = parse(text, None, unit)
    return Number(value, unit=unit, display_unit=written)


def odd_inputs(study: Study) -> list[Sentence]:
    """Return a caution for each input that is odd by itself or beside others, with the likely slip."""
    alone = _outside_usual(study)
    return [*alone.values(), *odd_combinations(study, alone), *_far_from_any_day(study)]


def _far_from_any_day(study: Study) -> Odd:
    """Yield a caution for each reading of the day that hardly any day would bring."""
    for name, any_day in study.any_day.inputs.items():
        read, expected = study.inputs[name], any_day.distribution
        spread = math.hypot(read.distribution.sd, expected.sd)
        if abs(read.distribution.mean - expected.mean) > FAR * spread:
            unit, shown = study.graph[name].unit, read.display_unit
            values = (read.distribution.nominal, expected.nominal)
            numbers = [Number(float(value), unit=unit, display_unit=shown) for value in values]
            words = f"{name} is {{}} under [today], far from the {{}} of any other day under [inputs]"
            yield told(f"{words}: check its unit, or what is said of any day", *numbers)


def _outside_usual(study: Study) -> dict[str, Sentence]:
    cautions = {one.key: odd_by_itself(study.graph[one.quantity], one) for one in study.all_inputs()}
    return {key: words for key, words in cautions.items() if words}


def odd_by_itself(quantity: Quantity, given: Input) -> Sentence:
    """Return a caution for an input that is outside what is usual, with the likely slip; else nothing."""
    usual, value = quantity.usual, given.distribution.nominal
    if usual is None or given.default:
        return ()
    low, high = (number_of(text, quantity.unit) for text in (usual.low, usual.high))
    # Nothing at all is a choice: a car without the part, or one that stands.
    if low.value <= value <= high.value or value == 0 == quantity.at_least:
        return ()
    number = Number(float(value), unit=quantity.unit, display_unit=given.display_unit)
    words = f"{given.key} is {{}}, where {{}} to {{}} is usual of such cars ({usual.source})"
    meant = _meant(number, low.value, high.value)
    return told(words, number, low, high) + (told("; did you mean {}?", meant) if meant else ())


def _meant(given: Number, low: float, high: float) -> Number | None:
    """Return the same number with another sign, in another unit or with another point, if that is usual."""
    if low <= -given.value <= high:
        return replace(given, value=-given.value)
    # About the front axle every shrunken length is usual.
    least = 0.1 * high if low < 0 and given.unit == "m" else 0.0
    typed = from_si(given.value, given.display_unit)
    for other in written_in(given.unit):
        meant = float(to_si(typed, other, given.unit))
        if other != given.display_unit and low <= meant <= high and abs(meant) >= least:
            return Number(meant, unit=given.unit, display_unit=other)
    slips = (by for by in _SLIPS if low <= given.value * by <= high and abs(given.value * by) >= least)
    slip = next(slips, None)
    return replace(given, value=given.value * slip) if slip else None


def odd_combinations(study: Study, odd: Collection[str] = ()) -> Odd:
    """Yield a caution for each combination that is odd.

    Parameters
    ----------
    odd:
        Keys of inputs that are known to be odd by themselves: nothing is held against them.
    """
    families = study.graph.families
    car = _GivenCar(
        {name: one for name, one in study.inputs.items() if not one.default and name not in odd},
        study.graph,
        tuple(families.get("element", ())),
        tuple(families.get("point", ())),
    )
    for rule in RULES:
        yield from rule(car)
    for place in study.conditions.values():
        own = [name for name, one in place.overrides.items() if one.key == f"{name}@{place.name}"]
        there = replace(car, given={**car.given, **place.overrides})
        yield from _stations(there, own, f"conditions.{place.name}.")
    yield from _speeds(study, odd)
    yield from _words_of_conditions(study, odd)
    yield from _decimal_commas(study)


def _words_of_conditions(study: Study, odd: Collection[str]) -> Odd:
    """Tell words that say another speed than their condition has: they head every figure of it."""
    for name, condition in study.conditions.items():
        given = study.given_in(name)
        if "speed" not in given or given["speed"].key in odd:
            continue
        known = [
            float(one.distribution.nominal) for key, one in given.items() if study.graph[key].unit == "m/s"
        ]
        said = [number_of(f"{number} {unit}", "m/s") for number, unit in _SPEED.findall(condition.words)]
        if said and not any(math.isclose(one.value, it, rel_tol=0.02) for one in said for it in known):
            speed = given["speed"]
            yield told(
                f"the words of conditions.{name} say {{}}, and its speed is {{}}, which its figures are of: "
                "correct the words, or the speed",
                said[0],
                Number(float(speed.distribution.nominal), unit="m/s", display_unit=speed.display_unit),
            )


def _decimal_commas(study: Study) -> Odd:
    """Tell readings such as 9,4, 9,6: whole numbers far apart, of which every other one is alike."""
    for name, entry in study.entries.inputs.items():
        readings = entry.get("readings") if isinstance(entry, Mapping) else None
        if not readings or len(readings) % 2 or not all(type(one) is int and one > 0 for one in readings):
            continue
        whole = readings[::2]
        if max(whole) - min(whole) <= 1 and max(readings) - min(readings) > 0.25 * max(readings):
            meant = ", ".join(f"{a}.{b}" for a, b in zip(whole, readings[1::2], strict=True))
            yield (
                f"the readings of {name} are {', '.join(map(str, readings))}, far apart; if commas between "
                f"them were meant as decimal points, write {meant}"
            )


def _size(car: _GivenCar) -> Odd:
    for name, (low, high) in MADE_FOR.items():
        if found := car(name):
            least, most = (number_of(text, car.graph[name].unit) for text in (low, high))
            if not least.value <= found[0] <= most.value:
                yield told(
                    f"{name} is {{}}; this tool was made for cars of {{}} to {{}}",
                    car.said(name),
                    least,
                    most,
                )


def _speeds(study: Study, odd: Collection[str]) -> Odd:
    low, high = (number_of(text, "m/s") for text in SPEEDS)
    given = [one["speed"] for one in map(study.given_in, study.conditions) if "speed" in one]
    if not given or any(one.key in odd for one in given):
        return
    fastest = max(given, key=lambda one: float(one.distribution.nominal))
    speed = float(fastest.distribution.nominal)
    said = Number(speed, unit="m/s", display_unit=fastest.display_unit)
    if speed > high.value:
        yield told(f"{fastest.key} is {{}}; this tool was made for {{}} to {{}}", said, low, high)
    elif 0 < speed < low.value:
        words = told("no condition is faster than {}; this tool was made for {} to {}", said, low, high)
        meant = Number(3.6 * speed, unit="m/s", display_unit="m/s")
        slipped = low.value <= meant.value <= high.value
        yield (*words, *told("; did you mean {}?", meant)) if slipped else words


def _centre_of_gravity(car: _GivenCar) -> Odd:
    if found := car("cg_station", "wheelbase"):
        station, wheelbase = found
        if not 0 < station < wheelbase:
            yield told(
                "cg_station is {}, outside the wheelbase of {}: the car would tip over; it "
                "counts from the front axle, rearwards",
                car.said("cg_station"),
                car.said("wheelbase"),
            )
    if (found := car("cg_height", "wheelbase")) and found[0] > found[1] / 2:
        yield told(
            "cg_height is {}, more than half the wheelbase of {}; it is the height above the ground",
            car.said("cg_height"),
            car.said("wheelbase"),
        )


def _stations(car: _GivenCar, names: Iterable[str] | None = None, where: str = "") -> Odd:
    if not (found := car("wheelbase")):
        return
    low, high = -_AHEAD * found[0], _BEHIND * found[0]
    for name in car.given if names is None else names:
        if not name.endswith("_station") or name == "cg_station" or "skew" in name:
            continue
        (station,) = car(name) or [0.0]
        if not low <= station <= high:
            slip = next((by for by in (-1.0, 0.1, 10.0, 1e-3) if low <= by * station <= high), None)
            words = told(
                f"{where}{name} is {{}}, outside a car with a wheelbase of {{}}; stations count from the "
                "front axle, rearwards",
                car.said(name),
                car.said("wheelbase"),
            )
            yield (*words, *told("; did you mean {}?", car.said(name, slip * station))) if slip else words


def _length(car: _GivenCar) -> Odd:
    """Hold the way from the foremost to the rearmost point against the length of the car."""
    stations = {f"{point}_station": found[0] for point in car.points if (found := car(f"{point}_station"))}
    if (length := car("car_length")) and stations:
        first, last = min(stations, key=stations.__getitem__), max(stations, key=stations.__getitem__)
        if stations[last] - stations[first] > length[0]:
            yield told(
                f"{first} is {{}} and {last} {{}}, farther apart than car_length with {{}}: one "
                "of the points lies outside the car",
                car.said(first),
                car.said(last),
                car.said("car_length"),
            )


def _splitter(car: _GivenCar) -> Odd:
    if (found := car("splitter_station")) and found[0] > 0:
        yield told(
            "splitter_station is {}, behind the front axle; ahead of it is negative: did you mean {}?",
            car.said("splitter_station"),
            car.said("splitter_station", -found[0]),
        )


def _wing_place(car: _GivenCar) -> Odd:
    if (found := car("wing_station", "wheelbase")) and 0 <= found[0] < found[1] / 2:
        station, wheelbase = found
        yield told(
            "wing_station is {}, nearer to the front axle than to the rear one; it counts "
            "from the front axle: did you mean {}?",
            car.said("wing_station"),
            car.said("wing_station", station + wheelbase),
        )
    if (found := car("wing_height", "cg_height")) and found[0] < found[1]:
        yield told(
            "wing_height is {}, below the centre of gravity at {}; both count from the ground",
            car.said("wing_height"),
            car.said("cg_height"),
        )


def _closed_and_open(car: _GivenCar) -> Odd:
    names = [f"wing_{what}_coefficient" for what in ("downforce", "drag")]
    names += [f"{element}_normal_coefficient" for element in car.elements]
    for name in names:
        closed, opened = f"{name}_closed", f"{name}_open"
        if (found := car(closed, opened)) and found[1] > found[0]:
            yield told(
                f"{opened} is {{}}, more than {closed} with {{}}: an open flap takes drag and "
                "downforce away; are the two interchanged?",
                car.said(opened),
                car.said(closed),
            )


def _clearances(car: _GivenCar) -> Odd:
    """Two points lie at rest as the floor's pitch says, give or take what the body steps between them."""
    if not (found := car("static_pitch")):
        return
    pitch = found[0]
    for k, first in enumerate(car.points):
        for second in car.points[k + 1 :]:
            names = [
                f"{point}_{what}" for what in ("station", "clearance_at_rest") for point in (first, second)
            ]
            if not (values := car(*names)):
                continue
            behind, higher = values[1] - values[0], values[3] - values[2]
            off, with_other_sign = abs(higher + pitch * behind), abs(higher - pitch * behind)
            if off > 0.025 or (off > 0.008 and with_other_sign < 0.25 * off):
                say = "is its sign right, nose-up positive?" if with_other_sign < 0.25 * off else "check them"
                yield told(
                    f"at static_pitch {{}} {second} would lie {{}} higher than {first}; their "
                    f"clearances at rest say {{}}: {say}",
                    car.said("static_pitch"),
                    car.said(names[3], -pitch * behind),
                    car.said(names[3], higher),
                )


def _chords(car: _GivenCar) -> Odd:
    """Hold the chord that the wing's area and span leave against the chords of its parts."""
    chords = {f"{element}_chord": car(f"{element}_chord") for element in car.elements}
    spans = [found[0] for element in car.elements if (found := car(f"{element}_span"))]
    area = car("wing_area")
    if not (area and spans):
        return
    whole = area[0] / max(spans)
    for name, found in chords.items():
        if found and found[0] >= whole:
            yield told(
                f"{name} is {{}}, while wing_area over the span leaves a chord of {{}} for the whole wing",
                car.said(name),
                car.said(name, whole),
            )
            return
    if (main := car("mainplane_chord")) and all(chords.values()):
        summed = main[0] + sum(found[0] for found in chords.values() if found)
        if not 1 / 1.5 < summed / whole < 1.5:
            yield told(
                "the chords of main plane and elements come to {}, while wing_area over the "
                "span leaves {}: is the area that of the whole wing, all elements closed?",
                car.said("mainplane_chord", summed),
                car.said("mainplane_chord", whole),
            )


def _elements(car: _GivenCar) -> Odd:
    for element in car.elements:
        thickness, chord, span = (f"{element}_{what}" for what in ("thickness", "chord", "span"))
        if (found := car(thickness, chord)) and found[0] > 0.4 * found[1]:
            yield told(
                f"{thickness} is {{}} at a chord of {{}}",
                car.said(thickness),
                car.said(chord),
            )
        if (found := car(span, "end_plate_spacing")) and found[0] > found[1]:
            yield told(
                f"{span} is {{}}, more than the {{}} between the end plates: it does not go in between",
                car.said(span),
                car.said("end_plate_spacing"),
            )
        pivot = [f"{element}_pivot_{what}" for what in ("station", "height")]
        if found := car(*pivot, "wing_station", "wing_height", "wheelbase"):
            x, height, wing, wing_height, wheelbase = found
            if max(abs(x - wing), abs(height - wing_height)) > wheelbase / 2:
                yield told(
                    f"the pivot of {element} ({{}}, {{}}) lies far from the wing ({{}}, {{}})",
                    car.said(pivot[0]),
                    car.said(pivot[1]),
                    car.said("wing_station"),
                    car.said("wing_height"),
                )
        rod = [f"{element}_rod_{what}" for what in ("bore", "diameter")]
        if (found := car(*rod)) and found[0] >= found[1]:
            yield told(
                f"{rod[0]} is {{}}, no less than {rod[1]} with {{}}",
                car.said(rod[0]),
                car.said(rod[1]),
            )


def _springs(car: _GivenCar) -> Odd:
    """How far half the car sinks into its springs from weightless."""
    for axle in ("front", "rear"):
        rate = f"{axle}_wheel_rate"
        if found := car(rate, "mass"):
            sag = found[1] * _GRAVITY / 4 / found[0]
            if not 0.2e-3 <= sag <= 40e-3:
                yield told(
                    f"{rate} is {{}}: a quarter of the car's weight would press it in by {{}}, where "
                    "{} to {} is usual; is it the rate at one wheel, and its unit right?",
                    car.said(rate),
                    Number(sag, unit="m"),
                    Number(0.0002, unit="m"),
                    Number(0.04, unit="m"),
                )


RULES: tuple[Callable[[_GivenCar], Odd], ...] = (
    _size,
    _centre_of_gravity,
    _stations,
    _length,
    _splitter,
    _wing_place,
    _closed_and_open,
    _clearances,
    _chords,
    _elements,
    _springs,
)
