"""A motion from its steady attitude through bump and gust until nothing new can come of it.

Each sample has its own steps: a share of its fastest swing and of the time in which road or gust change, less
near a stop, and cut where a wheel comes back to the road.  Bump and gust begin and end between two steps.
A sample is followed no further once the bound of ``fading`` says that no swing to come lifts a wheel or shows
more than was found.

Against steps a sixteenth as long, on the three-flap demo's bump that lifts wheels and meets stops, 99 cars in
100 agree within 0.03 mm of lean, 0.1 N and 0.8 N of the lowest loads front and rear, and 0.8 ms off the road.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from itertools import count
from typing import Any, NamedTuple, TypeVar

import numpy as np

from explorer.graph.arrays import Array, Mask
from explorer.model.ride.fading import Fading
from explorer.model.ride.ride import Index, Meeting, Ride, Timetable, copied, lean, put, taken
from explorer.model.ride.stepping import NEVER, Body, Moment, standing, stepped

#: Share of a step that it is not cut below when a wheel is about to be back on the road.
LEAST_CUT = 0.02
#: Steps after which it is looked at again whose motion is over early.
LOOK_EVERY = 4
#: Share of the samples that still move at which those that do not leave the arrays.
CROWDED = 0.75

Found = TypeVar("Found", bound=tuple[Any, ...])


class Motion(NamedTuple):
    """A motion on its way.

    Attributes
    ----------
    who:
        Numbers of the samples.
    time, body:
        When and where they are.
    early:
        Whether they were left before the end, since the rest was known to change nothing.
    stretch, left, longest:
        Number of the stretch between events, time left of it, and longest step in it.
    table:
        All stretches.
    """

    who: Index
    time: Array
    body: Body
    early: Mask
    stretch: Index
    left: Array
    longest: Array
    table: Timetable


def begun(ride: Ride, events: Sequence[Array] = ()) -> Motion:
    """Return the motion before its first step.

    Parameters
    ----------
    ride:
        The car and what it meets.
    events:
        Times, besides those at which wheels meet or leave the bump and the gust turns, to end a step at.
    """
    table, body, who = ride.timetable(events), standing(ride), np.arange(ride.start.size)
    left = table.lengths[0] * ~ride.course.gone(body.drop)
    return Motion(who, ride.start, body, left < 0, np.zeros_like(who), left, table.longest[0], table)


def advanced(ride: Ride, motion: Motion, met: Meeting) -> tuple[Motion, Meeting, Moment]:
    """Take one step of each sample that has time left; return what is met then, and the step."""
    time, body, left, longest = motion.time, motion.body, motion.left, motion.longest
    count = np.maximum(np.ceil(left / _shortened(ride, longest, body, met)), 1)
    step = left / count
    calm = ride.calm_from(time)
    middle = met if calm else ride.meeting(time + step / 2)
    last = met if calm else ride.meeting(time + step)
    moment = stepped(ride, time, step, body, (met, middle, last))
    left = (left - step) * (count > 1)
    # On to the next stretch, for those few that have come to the end of theirs.
    over = np.flatnonzero((left == 0) & (step > 0))
    stretch = motion.stretch
    if over.size:
        stretch, longest = stretch.copy(), longest.copy()
        stretch[over] += 1
        left[over], longest[over] = (rows[stretch[over], over] for rows in motion.table)
    left *= ~ride.course.gone(moment.after.drop)
    following = motion._replace(
        time=moment.time, body=moment.after, stretch=stretch, left=left, longest=longest
    )
    return following, last, moment


def follow(
    ride: Ride,
    found: Found,
    note: Callable[[Ride, Found, Moment], Found],
    known: Callable[[Found, Fading, Array, Array], Mask],
    events: Sequence[Array] = (),
) -> tuple[Found, Body, Mask]:
    """Move the car from its steady attitude through bump and gust and on, and note what is looked for.

    A sample is left where it is, and leaves the arrays, when it has no time left or has gone over, or as soon
    as all that may still come lies within what was found.

    Parameters
    ----------
    ride, events:
        As for ``begun``.
    found:
        What is found before the first step: a named tuple of arrays by sample.
    note:
        Of a ride, what was found so far, and a step: what is found with it.
    known:
        Of what was found, the bound on swings, the energy of the swing and the time left: where the rest of
        the motion changes nothing.

    Returns
    -------
    found:
        What was found in all.
    body:
        Where the motion was left.
    early:
        Where it was left before its end.
    """
    motion, fading = begun(ride, events), Fading.of(ride)
    met = ride.meeting(motion.time)
    answer: tuple[Found, Body, Mask] = copied((found, motion.body, motion.early))
    for number in count(1):
        moving = motion.left > 0
        if np.count_nonzero(moving) <= CROWDED * moving.size:
            put(answer, motion.who, (found, motion.body, motion.early))
            if not np.any(moving):
                return answer
            part = np.flatnonzero(moving)
            ride, (motion, fading, found) = ride.of_samples(part), taken((motion, fading, found), part)
            met = ride.meeting(motion.time)
        motion, met, moment = advanced(ride, motion, met)
        found = note(ride, found, moment)
        if number % LOOK_EVERY == 0:
            early = _over_early(ride, motion, fading, partial(known, found))
            motion = motion._replace(early=motion.early | early, left=motion.left * ~early)
    raise AssertionError("every motion comes to its end")


def _over_early(
    ride: Ride, motion: Motion, fading: Fading, known: Callable[[Fading, Array, Array], Mask]
) -> Mask:
    """Tell which samples swing in calm air on a level road, lift no wheel again, and show nothing new."""
    following = np.minimum(motion.stretch + 1, len(motion.table.lengths) - 1)
    last = motion.table.lengths[following, np.arange(following.size)] == 0
    quiet: Mask = last & fading.holds & (motion.left > 0) & ~np.any(motion.body.off, axis=0)
    if not np.any(quiet):
        return quiet
    energy = fading.energy(motion.body.drop, motion.body.speed)
    level, reach = lean(ride.steady), fading.travel(energy, -1, 1)
    quiet &= (level + reach < ride.course.most_lean) & (level - reach > ride.course.least_lean)
    quiet &= np.all(fading.lowest_load(energy) > ride.unloaded, axis=0)
    quiet &= known(fading, energy, motion.left)
    return quiet


def _shortened(ride: Ride, step: Array, body: Body, met: Meeting) -> Array:
    """Return the step, shorter on a stop or close to one, cut where a wheel comes back to the road."""
    travel, speed = met.travel(body.drop), met.travel_speed(body.speed)
    flying = np.any(body.off)
    if flying:
        landing = 1.01 * _time_to_land(ride, body, travel, speed)
        step = np.minimum(step, np.maximum(landing, LEAST_CUT * step))
    if ride.has_points:
        coming = (
            ride.points.beyond(drop, met.under_points) for drop in (body.drop, body.drop + step * body.speed)
        )
        touched = np.any(np.maximum(*coming) > 0, axis=0)
        step = step - touched * np.maximum(step - ride.step_on_points, 0)
    if not ride.has_stops:
        return step
    ahead = travel + step * speed
    near = np.maximum(travel, ahead) > ride.car.bump
    if ride.has_droop:
        near |= np.minimum(travel, ahead) < -ride.car.droop
    if flying:
        near &= ~body.off
    shorter: Array = step - (near[0] | near[1]) * np.maximum(step - ride.step_on_stops, 0)
    return shorter


def _time_to_land(ride: Ride, body: Body, travel: Array, speed: Array) -> Array:
    """Return how long until the first wheel that is off the road is back, by how fast it closes in."""
    gap = body.hanging - travel
    closing = speed + ride.loose.speed(body.hanging)
    root = closing**2 + 2 * body.acceleration * gap
    pace = closing + np.sqrt(np.maximum(root, 0))
    time = 2 * gap / np.maximum(pace, 1e-12)
    first: Array = np.min(time + NEVER * ~(body.off & (root > 0)), axis=0)
    return first
