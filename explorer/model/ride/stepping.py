"""One step of the motion in time: heave and pitch of the car on springs, dampers and stops.

With z how far the body is down over each axle, y the height of the road there, and loads counted over those
at rest, the equations are

    z'' = mobility * (air - ground)
    ground = max(rate * travel + damping * travel' + stops, -load at rest),       travel = z + y

so that a tyre never pulls.  A wheel that has left the road hangs down as fast as its damper lets it, no lower
than its droop stop holds it, and carries nothing until the road is there again.

Steps are classical Runge-Kutta ones of fourth order; loads are read at both ends of a step and in its middle.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask
from explorer.model.ride.ride import Meeting, Ride, lean

#: A load, in newtons, that no axle ever carries.
NEVER = 1e12


class Body(NamedTuple):
    """How far and how fast the body goes down over each axle, and where its wheels are: axles first.

    ``load`` is that over the one at rest as if the ground could pull; ``hanging`` is the travel of a wheel
    that is ``off`` the road, and means nothing for one that is not.
    """

    drop: Array
    speed: Array
    acceleration: Array
    load: Array
    hanging: Array
    off: Mask


class Moment(NamedTuple):
    """A step just taken, from one body to the next, with the lowest load on the way.

    Loads are over those at rest, as if the ground could pull; ``time`` is that at the end; ``aloft`` is how
    long each axle was off the road.
    """

    time: Array
    step: Array
    before: Body
    after: Body
    load: Array
    aloft: Array


def standing(ride: Ride) -> Body:
    """Return the body at the steady attitude, all wheels on the road."""
    drop = np.where(ride.followed, ride.steady, np.nan)
    still = np.zeros_like(drop)
    return Body(drop, still, still, ride.car.load(drop, still), drop, np.zeros(drop.shape, dtype=bool))


def squared_swing(ride: Ride, body: Body) -> Array:
    """Return the square of how far each axle would swing from its steady place, left alone."""
    swing: Array = (body.drop - ride.steady) ** 2 + body.speed**2 / (ride.car.rate * ride.car.own)
    return swing


def stepped(
    ride: Ride, time: Array, step: Array, body: Body, met: tuple[Meeting, Meeting, Meeting]
) -> Moment:
    """Take one step of the classical Runge-Kutta method of fourth order.

    Parameters
    ----------
    ride:
        The car and what it meets.
    time, step, body:
        Where the step begins and how long it is; a sample that waits for others has a step of nothing.
    met:
        What is met at the step's start, middle and end.
    """
    drop, speed, half, sixth = body.drop, body.speed, step / 2, step / 6
    most = ride.unloaded + NEVER * ~body.off if np.any(body.off) else None

    def acceleration(drop: Array, speed: Array, met: Meeting) -> Array:
        return _acceleration(ride, drop, _load(ride, drop, speed, met), met, most)

    first = _acceleration(ride, drop, body.load, met[0], most)
    speed_2 = speed + half * first
    second = acceleration(drop + half * speed, speed_2, met[1])
    speed_3 = speed + half * second
    third = acceleration(drop + half * speed_2, speed_3, met[1])
    fourth = acceleration(drop + step * speed_3, speed + step * third, met[2])
    inner = second + third
    outer = first + inner
    drop_after = drop + step * (speed + sixth * outer)
    outer += inner
    outer += fourth
    speed_after = speed + sixth * outer
    load = _load(ride, drop_after, speed_after, met[2])
    after = Body(drop_after, speed_after, fourth, load, body.hanging, body.off)
    eighth = step / 8
    drop_middle = (drop + drop_after) / 2 + eighth * (speed - speed_after)
    speed_middle = (speed + speed_after) / 2 + eighth * (first - fourth)
    return _with_wheels(ride, time, step, (body, after), met, _load(ride, drop_middle, speed_middle, met[1]))


def _load(ride: Ride, drop: Array, speed: Array, met: Meeting) -> Array:
    """Return the load on both axles over that at rest, as if the ground could pull."""
    travel, travel_speed = met.travel(drop), met.travel_speed(speed)
    return ride.car.load(travel, travel_speed, stops=ride.has_stops, droop=ride.has_droop)


def _acceleration(ride: Ride, drop: Array, load: Array, met: Meeting, most: Array | None) -> Array:
    """Return the acceleration of the body over both axles, by the loads as if the ground could pull.

    ``most`` is the highest load over that at rest: never reached on the road, that of nothing off it; None
    when every wheel is on the road.
    """
    leaning, ground = lean(drop), np.maximum(load, ride.unloaded)
    if most is not None:
        np.minimum(ground, most, out=ground)
    force = met.air_level - met.air_loss * leaning
    force -= ground
    if ride.gap_counts:
        road = np.zeros(1) if met.bump is None else met.bump.under_splitter
        force += ride.splitter.load(met.pressure, leaning, ride.splitter.gap(drop[0], leaning) - road)
    if ride.has_points:
        beyond = ride.points.beyond(drop, met.under_points)
        if np.any(beyond):
            force -= ride.points.load(beyond)
    return ride.car.acceleration(force)


def _with_wheels(
    ride: Ride,
    time: Array,
    step: Array,
    bodies: tuple[Body, Body],
    met: tuple[Meeting, Meeting, Meeting],
    load_middle: Array,
) -> Moment:
    """Tell what the wheels did in a step from one body to another."""
    body, after = bodies
    before, travel = met[0].travel(body.drop), met[2].travel(after.drop)
    load = _lowest(body.load, load_middle, after.load, ride.car.stops_between(before, travel))
    moving = step > 0
    if not np.all(moving):
        # A sample that waits for others has no load to tell.
        load += NEVER * ~moving
    lifted = (load < ride.unloaded) | body.off
    if not np.any(lifted):
        return Moment(time + step, step, body, after, load, np.zeros(()))
    aloft = step * np.maximum(_share_below(ride.unloaded, body.load, load_middle, after.load), body.off)
    # A wheel hangs down from where it was when it left the road, by a parabola backwards from the step's end.
    speed, speed_after = met[0].travel_speed(body.speed), met[2].travel_speed(after.speed)
    slower = aloft / np.maximum(2 * step, 1e-300) * (speed_after - speed)
    left_at = travel - aloft * (speed_after - slower)
    left_at += body.off * (body.hanging - left_at)
    hanging = ride.loose.hung(left_at, aloft)
    after = after._replace(hanging=hanging, off=lifted & (travel < hanging))
    return Moment(time + step, step, body, after, load, aloft * (body.off | after.off))


def _lowest(start: Array, middle: Array, end: Array, bent: Mask) -> Array:
    """Return the lowest of the parabola through a step's start, middle and end; of the three if ``bent``."""
    lowest = np.minimum(np.minimum(start, middle), end)
    fallen, risen = start - middle, end - middle
    inside = np.nonzero(~bent & (3 * fallen + risen > 0) & (3 * risen + fallen > 0))
    fallen, risen = fallen[inside], risen[inside]
    lowest[inside] = middle[inside] - (risen - fallen) ** 2 / (8 * (risen + fallen))
    return lowest


def _share_below(level: Array, start: Array, middle: Array, end: Array) -> Array:
    """Return how much of a step is left when something first falls below a level, by straight lines."""
    soon = middle < level
    above, below = middle + soon * (start - middle), end + soon * (middle - end)
    part = (level - below) / np.maximum(above - below, 1e-12)
    share: Array = np.maximum((np.minimum(np.maximum(part, 0), 1) + soon) / 2, start < level)
    return share


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
