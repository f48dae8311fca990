"""Full throttle of cars whose axle loads bend: each in steps of its own, as long as their error allows.

A splitter near the ground snaps down and comes up again, and a point on the road takes load off the axles:
loads bend and jump with speed and acceleration, and no limit is smooth along a stretch.  So the acceleration
is balanced at every look: the smallest of what grip and push give and of what keeps the front wheels down,
but no less than rolling free gives.  Of several balances it is the one nearest to a held speed, to which the
secant method of ``full_throttle_loads`` comes too.  Where that does not close in, mostly on a jump, the
change of sign is enclosed.

The steps are those of Bogacki and Shampine (Applied Mathematics Letters 2(4), 1989): third order, its error
told by a second.  Against small steps on the graph's own acceleration, speeds at the end of a strip come out
within 1e-4 in the median, 1.3e-3 in 98 of a hundred cars and 6e-3 in the worst of four thousand, in which the
splitter comes up or snaps within a step.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask, Placed, anywhere, picked
from explorer.model.numeric import TABLE, CurveOf, at_row, by_sample, looks, pays
from explorer.model.straight.driven import Drive, End
from explorer.model.straight.flap_schedule import Flap
from explorer.model.straight.run import State

#: Error of a step that is small, in m/s; the shortest step, which stands whatever its error, the first and
#: the longest one, in seconds; how many there are at most.  Longer ones pass over a splitter that snaps.
SMALL, SHORTEST, FIRST, LONGEST, MOST = 1.5e-2, 0.01, 0.2, 0.5, 400
#: Shares of an acceleration, or of 1 m/s2: what the last step to it may be, and how far off the one at held
#: speed a guess may lie.  Steps before it is enclosed.
CLOSE, ALIKE, SECANT = 1e-2, 0.3, 3
#: Places over the acceleration that the loads of a held speed give, between which a balance is enclosed;
#: shares into which an interval is cut then, and how often.
PLACES = np.array([-4.0, -1.0, 0.0, 0.3, 0.6, 0.9, 1.2, 1.6, 2.2, 4.0, 12.0, 50.0])
CUTS, LOOKS = np.linspace(0, 1, 9), 3
#: Front load over inertia, per acceleration, in a car of usual height: a scale, on which no balance hangs.
UNLOADING = 0.2


class _Going(NamedTuple):
    """A car on its way: its state, and the span it tries next."""

    state: State
    span: Array


def followed(drive: Drive, begin: State, flap: Flap, end: End) -> list[State]:
    """Follow each car to its end; its states step after step, the first one ``begin``."""
    first = _balanced(drive, begin.speed, flap.opening(begin.time, after=True), begin.acceleration)
    car = _Going(begin._replace(acceleration=first), np.full(np.shape(first), FIRST))
    return [car.state, *_stepped(drive, car, flap, end, MOST)]


def _stepped(drive: Drive, car: _Going, flap: Flap, end: End, steps: int) -> list[State]:
    """Go on step after step; where few go on, those alone."""
    rows: list[State] = []
    for left in range(steps, 0, -1):
        running = end.running(car.state)
        if not anywhere(running):
            break
        if all(pays(curve, running) for curve in drive[:3]):
            for fewer in _stepped(*picked((drive, car, flap, end, left), running)):
                rows.append(State(*(each.copy() for each in (rows or [car.state])[-1])))
                for values, some in zip(rows[-1], fewer, strict=True):
                    values[running] = some
            break
        car = _step(drive, car, flap, end, running)
        rows.append(car.state)
    return rows


def _step(drive: Drive, car: _Going, flap: Flap, end: End, running: Mask) -> _Going:
    """Try one step; a car whose step errs too much stays where it is, and tries a shorter one."""
    (time, distance, speed, first), span = car
    opening = flap.opening(time, after=True)
    opens = running & (opening != flap.opening(time, after=False))
    if anywhere(opens):
        first = np.where(opens, _balanced(drive, speed, opening, first), first)
    most = (end.length - distance) / speed + 1e-3
    until = np.minimum(flap.next_event(time), end.until)
    then = np.where(running, np.minimum(time + np.minimum(span, most), until), time)
    tried = then - time

    def at(part: float, pull: Array, guess: Array) -> Array:
        opening = flap.opening(time + part * tried, after=False)
        return _balanced(drive, speed + part * tried * pull, opening, guess)

    second = at(0.5, first, first)
    third = at(0.75, second, 1.5 * second - 0.5 * first)
    pull = (2 * first + 3 * second + 4 * third) / 9
    last = at(1.0, pull, 2 * third - second)
    error = np.abs(tried / 72 * (6 * second + 8 * third - 5 * first - 9 * last))
    good = running & ((error <= SMALL) | (span <= SHORTEST))
    way = tried * (speed + tried / 6 * (first + second + third))
    here, there = (*car.state[:3], first), (then, distance + way, speed + tried * pull, last)
    state = State(*(np.where(good, new, old) for new, old in zip(there, here, strict=True)))
    # The cube root of what is allowed over the error, less a fifth; where a force has no value, the least.
    longer = np.fmax(0.8 * np.cbrt(SMALL / np.maximum(error, 1e-9)), 0.2)
    again = np.clip(tried * np.minimum(longer, 4.0), SHORTEST, LONGEST)
    # A step that an event cut short does not hold back the next.
    return _Going(state, np.where(good & (tried < span), np.maximum(again, span), again))


class _Pushed(NamedTuple):
    """A car at one speed, and its push."""

    drive: Drive
    push: Array
    speed: Array
    opening: Array


def _surplus(car: _Pushed, tried: Array) -> Array:
    """Return how much more the car would accelerate than is tried, by the limit that counts."""
    forces, inertia = car.drive.road_forces(car.speed, car.opening, tried), car.drive.inertia
    driven = car.drive.excess_force(car.push, *forces) / inertia - tried
    rolling = -forces.resistance_force / inertia - tried
    return np.maximum(np.minimum(driven, forces.front_axle_load / (UNLOADING * inertia)), rolling)


def _balanced(drive: Drive, speed: Array, opening: Array, guess: Array) -> Array:
    """Return the acceleration: the balance nearest to a held speed, near the guess if that is like it."""
    curve = CurveOf(_surplus, (_Pushed(drive, drive.wheel_force(speed), speed, opening),))
    held = np.zeros(np.broadcast_shapes(np.shape(guess), np.shape(speed)))
    steady = curve(held)
    then = np.where(np.abs(guess - steady) <= ALIKE * (1 + np.abs(steady)), guess, steady)
    return _closing_in(curve, held, steady, then, SECANT)


def _closing_in(curve: CurveOf, at: Array, value: Array, then: Array, steps: int) -> Array:
    """Go on from two places by the secant method; where that does not close in soon, enclose the balance."""
    if not steps:
        return _enclosed(curve, at)
    left = curve(then)
    root: Array = then + left * (then - at) / np.where(value == left, 1.0, value - left)
    wide = ~(np.abs(root - then) <= CLOSE * (1 + np.abs(root)))
    if anywhere(wide):
        root = _mended(_closing_in, (curve, then, left, root, steps - 1), root, wide)
    return root


def _mended(function: Callable[..., Array], state: tuple[Any, ...], found: Array, where: Mask) -> Array:
    """Return what was found, and in some places what a function gives for those cars."""
    if where.ndim != 1 or where.size < TABLE or not by_sample(state[0]):
        return np.where(where, function(*state), found)
    rows = np.flatnonzero(where)
    # So many at least that they are not taken for the rows of a table.
    some = Placed(where.size, np.resize(rows, max(rows.size, TABLE)))
    found = found.copy()
    found[rows] = function(*picked(state, some))[: rows.size]
    return found


def _enclosed(curve: CurveOf, at: Array) -> Array:
    """Return the balance nearest to a held speed, the way that points; in a jump past zero the jump."""
    shape = np.shape(at)
    steady = curve(np.zeros(shape))
    places = np.multiply.outer(PLACES, steady + np.copysign(0.5, steady))
    for _ in range(LOOKS):
        values = np.stack(looks(curve, [(place,) for place in places], shape))
        turns = (values[:-1] > 0) != (values[1:] > 0)
        turns &= np.isfinite(values[:-1]) & np.isfinite(values[1:])
        ahead = turns & (np.abs(places[1:]) > np.abs(places[:-1]))
        row = np.argmax(np.where(np.any(ahead, axis=0), ahead, turns), axis=0)
        low, high, left, over = (at_row(of, row + more) for of in (places, values) for more in (0, 1))
        places = low + np.multiply.outer(CUTS, high - low)
    apart = np.where(left == over, np.nan, left - over)
    return np.where(np.any(turns, axis=0), low + (high - low) * left / apart, np.nan)
