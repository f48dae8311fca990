"""The motion in time, step by step: heave and pitch of the car on springs, dampers and stops.

With z how far the body is down over each axle, y the height of the road there, and loads counted over those
at rest, the equations are

    z'' = mobility * (air - ground)
    ground = max(rate * travel + damping * travel' + stops, -load at rest),       travel = z + y

so that a tyre never pulls.  A wheel that has left the road hangs down as fast as its damper lets it, no lower
than its droop stop holds it, and carries nothing until the road is there again.

Classical Runge-Kutta steps of fourth order; each sample has its own: a share of its fastest swing, less near
a stop.  What begins or ends, a bump or a gust, does so between two steps.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from explorer.model.air_in_motion import AirOnAxles, SplitterGap
from explorer.model.half_car import HalfCar, LooseWheel, aligned, both_axles
from explorer.model.numeric import Mask
from explorer.model.road import RoadAndGust
from explorer.quantity import Array

#: Radians of the fastest swing in a step, between the stops and on them.
RADIANS, RADIANS_ON_STOPS = 0.4, 0.8
#: Steps from one event to the next, at least; steps between the stops in all, at most.
LEAST_STEPS, MOST_STEPS = 8, 5000
#: Share of a step that it is not cut below when a wheel is about to be back on the road.
LEAST_CUT = 0.02


class Course(NamedTuple):
    """Where the motion starts and how far it is followed.

    Attributes
    ----------
    front_drop, rear_drop:
        How far the body is down over each axle at the steady attitude.
    least_lean, most_lean:
        How much lower the rear is than the front when the car counts as gone over, forwards and backwards.
    watch_time:
        How long to go on after the last of bump and gust.

    """

    front_drop: Array
    rear_drop: Array
    least_lean: Array
    most_lean: Array
    watch_time: Array

    def gone(self, drop: Array) -> Mask:
        """Tell where the car has gone over."""
        leaning = lean(drop)
        over: Mask = (leaning >= self.most_lean) | (leaning <= self.least_lean)
        return over


def lean(pair: Array) -> Array:
    """Return how much more there is at the rear than at the front."""
    more: Array = pair[1] - pair[0]
    return more


class Bump(NamedTuple):
    """The road the car meets at an instant: height and rise at both axles, height under the splitter."""

    height: Array
    rise: Array
    under_splitter: Array


class Meeting(NamedTuple):
    """What the car meets at an instant: the air, its loads on both axles, and the road unless it is level."""

    pressure: Array
    air_level: Array
    air_loss: Array
    bump: Bump | None

    def travel(self, drop: Array) -> Array:
        """Return how far both axles are down on the road."""
        return drop if self.bump is None else drop + self.bump.height

    def travel_speed(self, speed: Array) -> Array:
        """Return how fast both axles go down on the road."""
        return speed if self.bump is None else speed + self.bump.rise


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
    """A step just taken, from one body to the next, with the lowest load of its start and middle.

    Loads are over those at rest, as if the ground could pull; ``time`` is that at the end.
    """

    time: Array
    step: Array
    before: Body
    after: Body
    load: Array


@dataclass(frozen=True)
class Ride:
    """The car, the air on it, what it runs into, and from where to where."""

    car: HalfCar
    air: AirOnAxles
    splitter: SplitterGap
    road: RoadAndGust
    course: Course
    shape: tuple[int, ...]

    @classmethod
    def of(
        cls, car: HalfCar, air: AirOnAxles, splitter: SplitterGap, road: RoadAndGust, course: Course
    ) -> Ride:
        """Bring everything together, with axles first and the axes of the samples in line."""
        shapes = [field.shape[1:] for field in (*car, *air)]
        shape = np.broadcast_shapes(*shapes, *(np.shape(field) for field in (*splitter, *road, *course)))
        return cls(
            HalfCar(*(aligned(field, len(shape)) for field in car)),
            AirOnAxles(*(aligned(field, len(shape)) for field in air)),
            splitter,
            road,
            course,
            shape,
        )

    @cached_property
    def _has_stops(self) -> bool:
        return bool(np.any(np.isfinite(self.car.bump) | np.isfinite(self.car.droop)))

    @cached_property
    def _gap_counts(self) -> bool:
        return bool(np.any(self.splitter.gain))

    @cached_property
    def _step_on_stops(self) -> Array:
        return RADIANS_ON_STOPS / self.car.fastest_on_stops()

    @cached_property
    def _loose(self) -> LooseWheel:
        return self.car.loose()

    @cached_property
    def _delays(self) -> Array:
        return aligned(self.road.delays(), len(self.shape))

    @cached_property
    def steady(self) -> Array:
        """How far the body is down over each axle at the steady attitude, for every sample."""
        pair = both_axles(self.course.front_drop, self.course.rear_drop)
        return aligned(pair, len(self.shape)) + np.zeros(self.shape)

    @cached_property
    def start(self) -> Array:
        """When the wheels meet the first of bump and gust, or the splitter meets the bump."""
        ahead = np.where(self.splitter.gain * self.road.bump_height == 0, 0.0, self.splitter.lead)
        return np.minimum(self.road.start(), -ahead) + np.zeros(self.shape)

    def standing(self) -> Body:
        """Return the body at the steady attitude, all wheels on the road."""
        drop, still = self.steady, np.zeros_like(self.steady)
        return Body(drop, still, still, drop, np.zeros(drop.shape, dtype=bool))

    def squared_swing(self, body: Body) -> Array:
        """Return the square of how far each axle would swing from its steady place, left alone."""
        return (body.drop - self.steady) ** 2 + body.speed**2 / (self.car.rate * self.car.own)

    def meeting(self, time: Array, *, level: bool = False) -> Meeting:
        """Return what the car meets at a time, on a level road or on the bump."""
        pressure = self.road.pressure(time)
        air_level = pressure * self.air.level + self.air.transfer
        air_loss = pressure * self.air.loss
        if level or not np.any(self.road.bump_height):
            return Meeting(pressure, air_level, air_loss, None)
        height, rise = self.road.bump(time - self._delays)
        under = self.road.bump(time + self.splitter.lead)[0] if self._gap_counts else height[0]
        if np.any(self.road.air_follows_road):
            air_level = air_level + air_loss * self.road.air_follows_road * (height[0] - height[1])
        return Meeting(pressure, air_level, air_loss, Bump(height, rise, under))

    def acceleration(self, drop: Array, speed: Array, met: Meeting, off: Mask | None) -> tuple[Array, Array]:
        """Return the acceleration of the body over both axles, and the loads as if the ground could pull.

        ``off`` tells which wheels are off the road; None when none is.
        """
        leaning = lean(drop)
        travel = met.travel(drop)
        load = self.car.load(travel, met.travel_speed(speed), stops=self._has_stops)
        ground = np.maximum(load, -self.car.at_rest)
        if off is not None:
            ground = ground * ~off - self.car.at_rest * off
        force = met.air_level - met.air_loss * leaning
        force -= ground
        if self._gap_counts:
            road = np.zeros(()) if met.bump is None else met.bump.under_splitter
            force += self.splitter.load(met.pressure, leaning, drop[0], road)
        return self.car.acceleration(force), load

    def moments(self, events: Sequence[Array] = ()) -> Iterator[Moment]:
        """Move the car from its steady attitude through bump and gust and on.

        Parameters
        ----------
        events:
            Times, besides those at which wheels meet or leave the bump and the gust turns, to end a step at.

        """
        time = self.start
        ends = np.sort(np.stack(np.broadcast_arrays(time, *self.road.events(), *events)), axis=0)
        longest = RADIANS / self.car.fastest()
        watch_time = self.course.watch_time
        followed = (ends[-1] - time + watch_time) / longest < MOST_STEPS
        # A motion too long to be followed takes a single step without an answer.
        ends, watch_time = np.where(followed, ends, time), np.where(followed, watch_time, longest)
        body = self.standing()
        body = body._replace(drop=np.where(followed, body.drop, np.nan))
        for length in np.diff(ends, axis=0):
            for moment in self._onwards(time, length, np.minimum(longest, length / LEAST_STEPS), body):
                time, body = moment.time, moment.after
                yield moment
        yield from self._onwards(time, watch_time, longest, body, level=True)

    def _onwards(
        self, time: Array, left: Array, longest: Array, body: Body, *, level: bool = False
    ) -> Iterator[Moment]:
        """Go on for the time that is left to the next event; ``level`` when no more are to come."""
        left = left * ~self.course.gone(body.drop)
        longest = np.maximum(longest, 1e-12)
        met = self.meeting(time, level=level)
        while np.any(left > 0):
            count = np.maximum(np.ceil(left / self._shortened(longest, body, met)), 1)
            step = left / count
            middle, last = met, met
            if not level:
                middle, last = self.meeting(time + step / 2), self.meeting(time + step)
            moment = self._step(time, step, body, (met, middle, last))
            yield moment
            time, body, met = moment.time, moment.after, last
            left = (left - step) * ((count > 1) & ~self.course.gone(body.drop))

    def _shortened(self, step: Array, body: Body, met: Meeting) -> Array:
        """Return the step, shorter on a stop or close to one, cut where a wheel comes back to the road."""
        travel, speed = met.travel(body.drop), met.travel_speed(body.speed)
        if np.any(body.off):
            landing = 1.01 * self._time_to_land(body, travel, speed)
            step = np.minimum(step, np.maximum(landing, LEAST_CUT * step))
        if not self._has_stops:
            return step
        ahead = travel + step * speed
        low, high = np.minimum(travel, ahead), np.maximum(travel, ahead)
        near = ((low < -self.car.droop) | (high > self.car.bump)) & ~body.off
        shorter: Array = step - np.any(near, axis=0) * np.maximum(step - self._step_on_stops, 0)
        return shorter

    def _time_to_land(self, body: Body, travel: Array, speed: Array) -> Array:
        """Return how long until the first wheel that is off the road is back, by how fast it closes in."""
        gap = body.hanging - travel
        closing = speed + self._loose.speed(body.hanging)
        root = closing**2 + 2 * body.acceleration * gap
        pace = closing + np.sqrt(np.maximum(root, 0))
        time = 2 * gap / np.maximum(pace, 1e-12)
        first: Array = np.min(np.where(body.off & (root > 0), time, np.inf), axis=0)
        return first

    def _step(self, time: Array, step: Array, body: Body, met: tuple[Meeting, Meeting, Meeting]) -> Moment:
        """Take one step of the classical Runge-Kutta method of fourth order."""
        drop, speed, half = body.drop, body.speed, step / 2
        off = body.off if np.any(body.off) else None
        first, load = self.acceleration(drop, speed, met[0], off)
        speed_2 = speed + half * first
        second, _ = self.acceleration(drop + half * speed, speed_2, met[1], off)
        speed_3 = speed + half * second
        third, load_middle = self.acceleration(drop + half * speed_2, speed_3, met[1], off)
        fourth, load_end = self.acceleration(drop + step * speed_3, speed + step * third, met[2], off)
        inner = second + third
        # A sample that waits for others, with a step of nothing, stays as it is and has no load to tell.
        moving = step > 0
        after = body._replace(
            drop=drop + step * (speed + step / 6 * (first + inner)),
            speed=speed + step / 6 * (first + 2 * inner + fourth),
            acceleration=np.where(moving, fourth, body.acceleration),
        )
        load = np.where(moving, np.minimum(load, load_middle), np.inf)
        lifted = moving & (body.off | (np.minimum(load, load_end) < -self.car.at_rest))
        if np.any(lifted):
            # A wheel that leaves the road in mid-step hangs down from where it was when the step began.
            hanging = np.where(body.off, body.hanging, met[0].travel(drop))
            hanging = np.where(lifted, self._loose.hung(hanging, step), body.hanging)
            off = np.where(moving, lifted & (met[2].travel(after.drop) < hanging), body.off)
            after = after._replace(hanging=hanging, off=off)
        return Moment(time + step, step, body, after, load)


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
