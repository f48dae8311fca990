"""Full throttle along the straight: Runge-Kutta in time, with the costly forces tabulated on the way.

Four accelerations decide: what the grip of the rear tyres or of the front tyres allows, the one at which the
front wheels leave the ground, where a driver lets off, and what the push of the drive gives.  At a speed each
of them is balanced with the axle loads it brings; along the straight each is smooth, and the smallest counts,
but never less than rolling free gives.  So a stretch of the run needs
the pitch of the car at three speeds only, and takes the parabola in between; what bends sharply, the push and
the change from one limit to the other, is taken as it is at every step.  A stretch ends where the flap starts
or stops moving, or where the speed has changed by half.

Against scipy.integrate.solve_ivp on the graph's own acceleration, speeds and times come out within 2e-4.
Where axle loads bend, near the ground and on points of the body, none of this is smooth: those cars go in
steps of their own (``own_steps``).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask, anywhere, everywhere, picked
from explorer.graph.quantity import Curve, quantity
from explorer.model.numeric import CurveOf, looks, pays
from explorer.model.straight import own_steps
from explorer.model.straight.driven import Drive, End, RoadForces
from explorer.model.straight.flap_schedule import Flap
from explorer.model.straight.run import Run, State

#: Runge-Kutta steps a stretch; share by which the speed may change in it; its longest time in seconds.
STEPS, GROWTH, LONGEST = 6, 0.5, 2.0
#: A car that needs more stretches, or falls to this share of its first speed, does not get to the end.
STRETCHES, STANDING = 60, 0.01
#: A load with which an axle limits nothing, in newtons; an acceleration that limits nothing.
LOADED, ENDLESS = 1e10, 1e10
#: Above it, in m/s2 or newtons, a limit is one that nobody meets.
UNMET = 1e7


@quantity("N", source="definition")
def road_forces(front_axle_load: Array, rear_axle_load: Array, resistance_force: Array) -> RoadForces:
    """Axle loads and resistance at this speed, together, since all follow from one pitch."""
    return RoadForces(front_axle_load, rear_axle_load, resistance_force)


def run_along(
    drive: Drive,
    begin: State,
    length: Array,
    flap: Flap,
    enough: Array | float = np.inf,
    until: Array | float = np.inf,
) -> Run:
    """Follow the car from somewhere on the straight to its end, braking left out.

    Parameters
    ----------
    drive:
        What moves the car.
    begin:
        Time, distance and speed to start from; its acceleration is a guess.
    length:
        Distance at which the straight ends.
    flap:
        When the flap moves, in the time of ``begin``.
    enough, until:
        Speed and time with which the run is over before the straight is.

    Returns
    -------
    Run
        Not a number where a force has no value; short of the length where the car does not get there.
    """
    pull = drive.excess_force(drive.wheel_force(begin.speed), *drive.road_forces(begin.speed, 0.0, 0.0))
    shape = np.broadcast(pull, drive.inertia, drive.loads_bend, begin.speed, length, flap.opened).shape
    state = State(*(np.broadcast_to(each, shape) for each in begin))
    end = End(length, STANDING * begin.speed, enough, until)
    bent = np.broadcast_to(drive.loads_bend > 0, shape)
    if everywhere(bent):
        rows = own_steps.followed(drive, state, flap, end)
    else:
        smooth = end._replace(length=np.where(bent, -np.inf, end.length)) if anywhere(bent) else end
        rows = _followed(drive, state, np.zeros(shape), flap, smooth, STRETCHES)
        if anywhere(bent):
            own = end._replace(length=np.where(bent, end.length, -np.inf))
            rows = _side_by_side(rows, own_steps.followed(drive, state, flap, own), bent)
    return Run(*(np.array(values) for values in zip(*rows, strict=True)))


def _side_by_side(rows: list[State], others: list[State], where: Mask) -> list[State]:
    """Return rows of both, the shorter ones going on at their last."""
    most = max(len(rows), len(others))
    pairs = ((each[min(row, len(each) - 1)] for each in (others, rows)) for row in range(most))
    return [State(*(np.where(where, *both) for both in zip(*pair, strict=True))) for pair in pairs]


def _followed(
    drive: Drive, state: State, slackening: Array, flap: Flap, end: End, stretches: int
) -> list[State]:
    """Follow the car stretch after stretch; where few go on, those alone."""
    rows: list[State] = []
    for left in range(stretches, 0, -1):
        running = end.running(state)
        if rows and not np.any(running):
            break
        if rows and all(pays(curve, running) for curve in drive[:3]):
            for fewer in _followed(*picked((drive, state, slackening, flap, end, left), running)):
                rows.append(State(*(each.copy() for each in rows[-1])))
                for values, some in zip(rows[-1], fewer, strict=True):
                    values[running] = some
            break
        time, distance, speed, acceleration = state
        opening = flap.opening(time, after=True)
        limits = CurveOf(_limits, (drive, acceleration))
        start = limits(speed, opening)
        acceleration = start.at(drive.wheel_force(speed))
        span = np.minimum(GROWTH * speed / np.abs(acceleration), (end.length - distance) / speed + 1e-3)
        then = np.minimum(time + np.minimum(span, LONGEST), np.minimum(flap.next_event(time), end.until))
        then = np.where(running, then, time)
        reach = speed + _change(speed, acceleration, then - time, slackening)
        openings = (opening, flap.opening(then, after=False))
        stretch = _tabulated(drive.wheel_force, limits, start, (speed, reach), openings)
        rows += _stepped(stretch, State(time, distance, speed, acceleration), (then - time) / STEPS)
        slackening = _slackening(acceleration - rows[-1].acceleration, rows[-1].speed - speed)
        state = rows[-1]._replace(time=then)
    return rows


def _slackening(loss: Array, gain: Array) -> Array:
    """Return how much acceleration is lost per speed gained; none where it does not fall."""
    return np.maximum(np.where(gain == 0, 0.0, loss / np.where(gain == 0, 1.0, gain)), 0)


def _change(speed: Array, acceleration: Array, span: Array, slackening: Array) -> Array:
    """Guess the change of speed over a span of time: where to tabulate, not where the run will go."""
    rate = slackening * span
    change = np.clip(np.abs(acceleration) * span / (1 + rate / 2), 0.02 * speed, GROWTH * speed)
    return np.copysign(change, acceleration)


class _Limits(NamedTuple):
    """Accelerations of the head of this file; that of the drive without push, and per newton of push."""

    rear: Array
    front: Array
    lifting: Array
    coasting: Array
    gain: Array

    def at(self, push: Array) -> Array:
        """Return the smallest of the four at a push of the drive."""
        return _smallest([self.rear, self.front, self.lifting], self.coasting, self.gain, push)


def _smallest(limits: list[Array], coasting: Array, gain: Array, push: Array) -> Array:
    """Return the smallest of the limits and what a push gives, but no less than rolling free does."""
    driven = coasting + gain * push
    for limit in limits:
        driven = np.minimum(driven, limit)
    return np.maximum(driven, coasting)


def _limits(drive: Drive, tried: Array, speed: Array, opening: Array) -> _Limits:
    """Balance each acceleration with the loads it brings: straight lines through rest and a tried one."""
    tried = np.where(np.abs(tried) > 1, tried, 1.0)
    loads = looks(
        drive.road_forces,
        [(speed, opening, moved) for moved in (0.0, tried)],
        np.shape(drive.inertia * speed),
    )

    def left(push: float, at: RoadForces, front: float, rear: float) -> Array:
        axles = at.front_axle_load + front, at.rear_axle_load + rear
        return drive.excess_force(push, *axles, at.resistance_force)

    def balanced(push: float, front: float, rear: float) -> tuple[Array, Array]:
        at_rest = left(push, loads[0], front, rear)
        if np.min(at_rest) > UNMET:
            return np.full_like(at_rest, ENDLESS), at_rest
        moving = left(push, loads[1], front, rear)
        stiffness = drive.inertia - (moving - at_rest) / tried
        # Grip that grows faster with the acceleration than the inertia asks for has no limit.
        return np.where(stiffness > 0, at_rest / stiffness, ENDLESS), 1 / stiffness

    rear_grip, _ = balanced(np.inf, LOADED, 0.0)
    front_grip, _ = balanced(np.inf, 0.0, LOADED)
    carried, then = (at.front_axle_load for at in loads)
    unloading = (carried - then) / tried
    lifting = np.where(unloading > 0, carried / np.where(unloading > 0, unloading, 1.0), ENDLESS)
    return _Limits(rear_grip, front_grip, lifting, *balanced(0.0, 0.0, 0.0))


class _SpeedStretch(NamedTuple):
    """Parabolas, in the square of the speed, of the limits that count; how the flap changes them."""

    wheel_force: Curve
    start: Array
    per_width: Array
    terms: list[list[Array]]
    change: list[list[Array]]

    def at(self, share: float) -> Callable[[Array], Array]:
        """Return the acceleration over the speed at a share of the stretch's time."""
        terms = self.terms
        if self.change:
            terms = [
                [begin + share * more for begin, more in zip(*pair, strict=True)]
                for pair in zip(terms, self.change, strict=True)
            ]
        return partial(self._pull, terms)

    def _pull(self, terms: list[list[Array]], speed: Array) -> Array:
        place = (speed**2 - self.start) * self.per_width
        *limits, coasting, gain = (_at(place, *three) for three in terms)
        return _smallest(limits, coasting, gain, self.wheel_force(speed))


def _at(place: Array, first: Array, second: Array, third: Array) -> Array:
    """Return a parabola at a place; in place, to stay in the processor's cache."""
    value = third * place
    value += second
    value *= place
    value += first
    return value


def _tabulated(
    wheel_force: Curve,
    limits: Callable[..., _Limits],
    start: _Limits,
    speeds: tuple[Array, Array],
    openings: tuple[Array, Array],
) -> _SpeedStretch:
    """Tabulate the limits between two speeds, and between two flap openings where any differ."""
    square = speeds[0] ** 2
    width = speeds[1] ** 2 - square
    knots = (np.sqrt(square + width / 2), speeds[1])
    places = [(knot, openings[0]) for knot in knots]
    moves = bool(np.any(openings[1] != openings[0]))
    if moves:
        places += [(knot, openings[1]) for knot in (speeds[0], *knots)]
    found = looks(limits, places, np.shape(width))
    first, last = [start, *found[:2]], found[2:]
    # A limit that nobody meets need not be tabulated; what the push gives always counts.
    counts = [
        part
        for part, name in enumerate(_Limits._fields)
        if name in ("coasting", "gain") or any(np.any(at[part] < UNMET) for at in first + last)
    ]
    terms = [_parabola(*(at[part] for at in first)) for part in counts]
    change = []
    if moves:
        ends = [_parabola(*(at[part] for at in last)) for part in counts]
        change = [[b - a for a, b in zip(*pair, strict=True)] for pair in zip(terms, ends, strict=True)]
    return _SpeedStretch(wheel_force, square, 1 / width, terms, change)


def _parabola(start: Array, middle: Array, end: Array) -> list[Array]:
    """Return the terms of a parabola over a width: at the start, per share of it, per square of the share."""
    return [start, 4 * middle - 3 * start - end, 2 * (start - 2 * middle + end)]


def _stepped(stretch: _SpeedStretch, state: State, step: Array) -> list[State]:
    """Take the classical fourth-order Runge-Kutta steps of a stretch; return its states, both ends too."""
    time, distance, speed, first = state
    half, sixth = step / 2, step / 6
    rows = []
    for number in range(STEPS):
        rows.append(State(time + number * step, distance, speed, first))
        middle, end = stretch.at((number + 0.5) / STEPS), stretch.at((number + 1) / STEPS)
        second = middle(speed + half * first)
        third = middle(speed + half * second)
        fourth = end(speed + step * third)
        inner = second + third
        distance = distance + step * (speed + sixth * (first + inner))
        speed = speed + sixth * (first + 2 * inner + fourth)
        first = end(speed)
    rows.append(State(time + STEPS * step, distance, speed, first))
    return rows
