"""The motion in time, step by step: heave and pitch of the car on springs, dampers and stops.

With z how far the body is down over each axle, y the height of the road there, and loads counted over those
at rest, the equations are

    z'' = mobility * (air - ground)
    ground = max(rate * travel + damping * travel' + stops, -load at rest),       travel = z + y

so that a tyre never pulls.  A wheel that has left the road hangs down as fast as its damper lets it, no lower
than its droop stop holds it, and carries nothing until the road is there again.

Classical Runge-Kutta steps of fourth order; each sample has its own: a share of its fastest swing, less near
a stop, and cut where a wheel comes back to the road.  Bump and gust begin and end between two steps.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from explorer.model.numeric import Mask
from explorer.model.ride import Meeting, Ride, lean
from explorer.quantity import Array

#: Share of a step that it is not cut below when a wheel is about to be back on the road.
LEAST_CUT = 0.02


class Body(NamedTuple):
    """How far and how fast the body goes down over each axle, and where its wheels are: axles first.

    ``hanging`` is the travel of a wheel that is ``off`` the road, and means nothing for one that is not.
    """

    drop: Array
    speed: Array
    acceleration: Array
    hanging: Array
    off: Mask


class Moment(NamedTuple):
    """A step just taken, from one body to the next, with the lowest load on the way.

    Loads are over those at rest, as if the ground could pull; ``time`` is that at the end.
    """

    time: Array
    step: Array
    before: Body
    after: Body
    load: Array


def standing(ride: Ride) -> Body:
    """Return the body at the steady attitude, all wheels on the road."""
    drop = np.where(ride.followed, ride.steady, np.nan)
    still = np.zeros_like(drop)
    return Body(drop, still, still, drop, np.zeros(drop.shape, dtype=bool))


def squared_swing(ride: Ride, body: Body) -> Array:
    """Return the square of how far each axle would swing from its steady place, left alone."""
    swing: Array = (body.drop - ride.steady) ** 2 + body.speed**2 / (ride.car.rate * ride.car.own)
    return swing


def moments(ride: Ride, events: Sequence[Array] = ()) -> Iterator[Moment]:
    """Move the car from its steady attitude through bump and gust and on, until no sample has time left.

    Parameters
    ----------
    ride:
        The car and what it meets.
    events:
        Times, besides those at which wheels meet or leave the bump and the gust turns, to end a step at.

    """
    lengths, steps = ride.timetable(events)
    time, body = ride.start, standing(ride)
    stretch = np.zeros(time.shape, dtype=np.intp)
    left, longest = lengths[0] * ~ride.course.gone(body.drop), steps[0].copy()
    met = ride.meeting(time)
    while np.any(left > 0):
        count = np.maximum(np.ceil(left / _shortened(ride, longest, body, met)), 1)
        step = left / count
        calm = ride.calm_from(time)
        middle = met if calm else ride.meeting(time + step / 2)
        last = met if calm else ride.meeting(time + step)
        moment = _step(ride, time, step, body, (met, middle, last))
        yield moment
        time, body, met = moment.time, moment.after, last
        left = (left - step) * (count > 1)
        # On to the next stretch, for those few that have come to the end of theirs.
        over = np.flatnonzero((left == 0) & (step > 0))
        stretch[over] += 1
        left[over], longest[over] = lengths[stretch[over], over], steps[stretch[over], over]
        left *= ~ride.course.gone(body.drop)


def _shortened(ride: Ride, step: Array, body: Body, met: Meeting) -> Array:
    """Return the step, shorter on a stop or close to one, cut where a wheel comes back to the road."""
    travel, speed = met.travel(body.drop), met.travel_speed(body.speed)
    if np.any(body.off):
        landing = 1.01 * _time_to_land(ride, body, travel, speed)
        step = np.minimum(step, np.maximum(landing, LEAST_CUT * step))
    if not ride.has_stops:
        return step
    ahead = travel + step * speed
    low, high = np.minimum(travel, ahead), np.maximum(travel, ahead)
    near = ((low < -ride.car.droop) | (high > ride.car.bump)) & ~body.off
    shorter: Array = step - np.any(near, axis=0) * np.maximum(step - ride.step_on_stops, 0)
    return shorter


def _time_to_land(ride: Ride, body: Body, travel: Array, speed: Array) -> Array:
    """Return how long until the first wheel that is off the road is back, by how fast it closes in."""
    gap = body.hanging - travel
    closing = speed + ride.loose.speed(body.hanging)
    root = closing**2 + 2 * body.acceleration * gap
    pace = closing + np.sqrt(np.maximum(root, 0))
    time = 2 * gap / np.maximum(pace, 1e-12)
    first: Array = np.min(np.where(body.off & (root > 0), time, np.inf), axis=0)
    return first


def _acceleration(
    ride: Ride, drop: Array, speed: Array, met: Meeting, off: Mask | None
) -> tuple[Array, Array]:
    """Return the acceleration of the body over both axles, and the loads as if the ground could pull.

    ``off`` tells which wheels are off the road; None when none is.
    """
    leaning = lean(drop)
    load = ride.car.load(met.travel(drop), met.travel_speed(speed), stops=ride.has_stops)
    ground = np.maximum(load, -ride.car.at_rest)
    if off is not None:
        ground = ground * ~off - ride.car.at_rest * off
    force = met.air_level - met.air_loss * leaning
    force -= ground
    if ride.gap_counts:
        road = np.zeros(1) if met.bump is None else met.bump.under_splitter
        force += ride.splitter.load(met.pressure, leaning, drop[0], road)
    return ride.car.acceleration(force), load


def _step(ride: Ride, time: Array, step: Array, body: Body, met: tuple[Meeting, Meeting, Meeting]) -> Moment:
    """Take one step of the classical Runge-Kutta method of fourth order."""
    drop, speed, half = body.drop, body.speed, step / 2
    off = body.off if np.any(body.off) else None
    first, load = _acceleration(ride, drop, speed, met[0], off)
    speed_2 = speed + half * first
    second, _ = _acceleration(ride, drop + half * speed, speed_2, met[1], off)
    speed_3 = speed + half * second
    third, load_middle = _acceleration(ride, drop + half * speed_2, speed_3, met[1], off)
    fourth, load_end = _acceleration(ride, drop + step * speed_3, speed + step * third, met[2], off)
    inner = second + third
    # A sample that waits for others, with a step of nothing, stays as it is and has no load to tell.
    moving = step > 0
    after = body._replace(
        drop=drop + step * (speed + step / 6 * (first + inner)),
        speed=speed + step / 6 * (first + 2 * inner + fourth),
        acceleration=np.where(moving, fourth, body.acceleration),
    )
    load = np.where(moving, _lowest(load, load_middle, load_end), np.inf)
    lifted = moving & (body.off | (load < -ride.car.at_rest))
    if np.any(lifted):
        # A wheel that leaves the road in mid-step hangs down from where it was when the step began.
        hanging = np.where(body.off, body.hanging, met[0].travel(drop))
        hanging = np.where(lifted, ride.loose.hung(hanging, step), body.hanging)
        off = np.where(moving, lifted & (met[2].travel(after.drop) < hanging), body.off)
        after = after._replace(hanging=hanging, off=off)
    return Moment(time + step, step, body, after, load)


def _lowest(start: Array, middle: Array, end: Array) -> Array:
    """Return the lowest value of the parabola through a step's start, middle and end."""
    fall, bend = 3 * start + end - 4 * middle, 2 * (start + end) - 4 * middle
    twice = np.maximum(2 * bend, 0)
    place = np.minimum(np.maximum(fall, 0), twice) / np.maximum(twice, 1e-300)
    lowest: Array = np.minimum(np.minimum(start, end), start + place * (place * bend - fall))
    return lowest


def highest(
    so_far: Array, before: Array, rate_before: Array, after: Array, rate_after: Array, step: Array
) -> Array:
    """Return the highest of something so far, after one more step from its values and rates at both ends.

    The rate is taken as a straight line: what that misses is of third order in the step.
    """
    up, down = np.maximum(rate_before, 0), np.maximum(-rate_after, 0)
    # At the top where there is one, and no higher than the ends where there is none.
    top = (before + after) / 2 + step / 4 * (up**2 + down**2) / np.maximum(up + down, 1e-300)
    most: Array = np.maximum(np.maximum(so_far, after), top)
    return most
