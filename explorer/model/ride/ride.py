"""What takes part in the motion in time: the car, the air on it, the road, the gust, and from where to where.

Samples are in line here, on one last axis, which has the length 1 where all are alike; axles come before it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple, TypeVar

import numpy as np
import numpy.typing as npt

from explorer.graph.arrays import Array, Mask
from explorer.model.aero.ground_effect import GroundEffect
from explorer.model.ride.air_in_motion import AirOnAxles, RoadPoints
from explorer.model.ride.half_car import HalfCar, LooseWheel, both_axles
from explorer.model.ride.road import RoadAndGust

#: Radians of the fastest swing in a step, between the stops and on them.
RADIANS, RADIANS_ON_STOPS = 0.7, 0.7
#: Steps in which road or gust rise and fall, at least; steps between the stops in all, at most.
LEAST_STEPS, MOST_STEPS = 12, 5000
#: Samples that are moved together, as many as stay near the processor.
PART = 8192

Group = TypeVar("Group", bound=tuple[Any, ...])
Index = npt.NDArray[np.intp]


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


class Bump(NamedTuple):
    """The road at an instant: height and rise at both axles, height under the splitter and under points."""

    height: Array
    rise: Array
    under_splitter: Array
    under_points: Array


class Meeting(NamedTuple):
    """What the car meets at an instant: the air, its loads on both axles, and the road unless it is level."""

    pressure: Array
    air_level: Array
    air_loss: Array
    bump: Bump | None

    def travel(self, drop: Array) -> Array:
        """Return how far both axles are down on the road."""
        return drop if self.bump is None else drop + self.bump.height

    @property
    def under_points(self) -> Array | float:
        """Return the height of the road under each point."""
        return 0.0 if self.bump is None else self.bump.under_points

    def travel_speed(self, speed: Array) -> Array:
        """Return how fast both axles go down on the road."""
        return speed if self.bump is None else speed + self.bump.rise


class Timetable(NamedTuple):
    """Lengths of the stretches between events, in order, and the longest steps in them: (stretches, samples).

    Stretches of nothing come last, one at least.
    """

    lengths: Array
    longest: Array


@dataclass(frozen=True)
class Ride:
    """The car, the air on it, what it runs into, and from where to where."""

    car: HalfCar
    air: AirOnAxles
    splitter: GroundEffect
    points: RoadPoints
    road: RoadAndGust
    course: Course
    shape: tuple[int, ...]

    @classmethod
    def of(
        cls,
        car: HalfCar,
        air: AirOnAxles,
        splitter: GroundEffect,
        points: RoadPoints,
        road: RoadAndGust,
        course: Course,
    ) -> Ride:
        """Bring everything together, the samples in line."""
        shapes = [field.shape[1:] for field in (*car, *air, *points)]
        shape = np.broadcast_shapes(*shapes, *(np.shape(field) for field in (*splitter, *road, *course)))

        def in_line(group: Group, axles: int) -> Group:
            return _each(group, lambda field: _in_line(np.asarray(field), shape, axles))

        return cls(
            in_line(car, 1),
            in_line(air, 1),
            in_line(splitter, 0),
            in_line(points, 1),
            in_line(road, 0),
            in_line(course, 0),
            shape,
        )

    def by_parts(self, find: Callable[..., Array], *others: Array) -> Array:
        """Apply a function to parts of the samples; put the answers side by side.

        Parameters
        ----------
        find:
            Function of a ride, and of the same samples of the others, to an array with samples last.
        others:
            More values by sample.
        """
        lined = tuple(_in_line(np.asarray(other), self.shape, 0) for other in others)
        size = math.prod(self.shape)
        parts = [np.arange(begin, min(begin + PART, size)) for begin in range(0, size, PART)]
        answer = np.concatenate([find(self.of_samples(part), *taken(lined, part)) for part in parts], axis=-1)
        return answer.reshape((*answer.shape[:-1], *self.shape))

    def of_samples(self, part: Index) -> Ride:
        """Return the ride of some of the samples."""
        parts = (self.car, self.air, self.splitter, self.points, self.road, self.course)
        car, air, splitter, points, road, course = taken(parts, part)
        return Ride(car, air, splitter, points, road, course, part.shape)

    @cached_property
    def has_stops(self) -> bool:
        """Whether any sample has a stop within reach."""
        return bool(np.any(np.isfinite(self.car.bump) | np.isfinite(self.car.droop)))

    @cached_property
    def has_droop(self) -> bool:
        """Whether any sample has a stop in droop within reach."""
        return bool(np.any(np.isfinite(self.car.droop)))

    @cached_property
    def has_points(self) -> bool:
        """Whether the body has points that the road may push up."""
        return bool(len(self.points.share))

    @cached_property
    def point_delays(self) -> Array:
        """Return when each point meets the bump after the front wheels, points first."""
        return self.points.share * self.road.rear_delay

    @cached_property
    def bumped(self) -> Mask:
        """Tell which points the bump reaches at the steady attitude."""
        near: Mask = self.points.beyond(self.steady, self.road.bump_height) > 0
        return near & (self.road.bump_height > 0)

    @cached_property
    def unloaded(self) -> Array:
        """Load, over that at rest, of an axle that carries nothing."""
        nothing: Array = -self.car.at_rest
        return nothing

    @cached_property
    def gap_counts(self) -> bool:
        """Whether the splitter's gap changes its downforce in any sample."""
        return bool(np.any(self.splitter.gain))

    @cached_property
    def lead(self) -> Array:
        """How long the splitter meets a bump before the front wheels do."""
        early: Array = -self.splitter.place * self.road.rear_delay
        return early

    @cached_property
    def step_on_stops(self) -> Array:
        """Longest step of a car that touches a stop."""
        return RADIANS_ON_STOPS / self.car.fastest_on_stops()

    @cached_property
    def step_on_points(self) -> Array:
        """Longest step of a car that a point on the road pushes up."""
        share, rate = self.points.share, self.points.rate
        ahead, behind = np.abs(1 - share), np.abs(share)
        added = both_axles(
            np.sum(rate * ahead * (ahead + behind), axis=0), np.sum(rate * behind * (ahead + behind), axis=0)
        )
        return RADIANS_ON_STOPS / self.car.fastest_on_stops(added)

    @cached_property
    def loose(self) -> LooseWheel:
        """How a wheel behaves that has left the road."""
        return self.car.loose()

    @cached_property
    def steady(self) -> Array:
        """How far the body is down over each axle at the steady attitude, for every sample."""
        place = both_axles(self.course.front_drop, self.course.rear_drop)
        steady: Array = place + np.zeros(math.prod(self.shape))
        return steady

    @cached_property
    def start(self) -> Array:
        """When wheels meet the first of bump and gust, or the splitter meets the bump, for every sample."""
        ahead = np.where(self.splitter.gain * self.road.bump_height == 0, 0.0, self.lead)
        start: Array = np.minimum(self.road.start(), -ahead) + np.zeros(math.prod(self.shape))
        for delay, bumped in zip(self.point_delays, self.bumped, strict=True):
            start = np.minimum(start, np.where(bumped, delay, start))
        return start

    @cached_property
    def followed(self) -> Mask:
        """Whether the motion is short enough to be followed, by sample."""
        duration = np.max(self._ends(()), axis=0) - self.start + self.course.watch_time
        short: Mask = duration * self.car.fastest() < MOST_STEPS * RADIANS
        return short

    def _ends(self, events: Sequence[Array]) -> Array:
        under = [
            np.where(bumped, time, self.start)
            for delay, bumped in zip(self.point_delays, self.bumped, strict=True)
            for time in (delay, delay + self.road.bump_time)
            if np.any(bumped)
        ]
        every = (self.start, *self.road.events(), *events, *under)
        return np.sort(np.stack(np.broadcast_arrays(*every)), axis=0)

    def timetable(self, events: Sequence[Array] = ()) -> Timetable:
        """Return the stretches between events: wheels on and off the bump, turns of the gust, and more.

        A motion too long to be followed has a single step.
        """
        longest = RADIANS / self.car.fastest() + np.zeros_like(self.start)
        turning = np.minimum(longest, self.road.shortest_turn() / LEAST_STEPS)
        watch_time = self.course.watch_time + np.zeros_like(self.start)
        ends = self._ends(events)
        lengths = np.vstack((np.diff(ends, axis=0), watch_time, np.zeros_like(watch_time)))
        lengths = np.where(self.followed, lengths, 0.0)
        steps = np.where(lengths > 0, turning, longest)
        lengths[-2], steps[-2] = np.where(self.followed, watch_time, longest), longest
        order = np.argsort(lengths == 0, axis=0, kind="stable")
        return Timetable(np.take_along_axis(lengths, order, 0), np.take_along_axis(steps, order, 0))

    def meeting(self, time: Array) -> Meeting:
        """Return what the car meets at a time."""
        pressure = self.road.pressure(time)
        air_level = pressure * self.air.level + self.air.transfer
        air_loss = pressure * self.air.loss
        if self._bump_over(time):
            return Meeting(pressure, air_level, air_loss, None)
        height, rise = self.road.bump(time - self.road.delays())
        under = self.road.bump(time + self.lead)[0] if self.gap_counts else height[0]
        if np.any(self.road.air_follows_road):
            air_level = air_level + air_loss * self.road.air_follows_road * (height[0] - height[1])
        under_points = self.road.bump(time - self.point_delays)[0] if self.has_points else height[:0]
        return Meeting(pressure, air_level, air_loss, Bump(height, rise, under, under_points))

    def _bump_over(self, time: Array) -> bool:
        last = self.road.rear_delay
        for delay in self.point_delays:
            last = np.maximum(last, delay)
        over = (time - last >= self.road.bump_time) | (self.road.bump_height == 0)
        return bool(np.all(over))

    def calm_from(self, time: Array) -> bool:
        """Tell whether road and air change no more, for any sample."""
        blown = time - self.road.gust_start >= self.road.gust_length
        return self._bump_over(time) and bool(np.all(blown | (self.road.gust == 0)))


def lean(pair: Array) -> Array:
    """Return how much more there is at the rear than at the front."""
    more: Array = pair[1] - pair[0]
    return more


def _each(group: Group, change: Callable[[Array], Array]) -> Group:
    return type(group)(*(change(field) for field in group))


def _in_line(field: Array, shape: tuple[int, ...], axles: int) -> Array:
    """Put the axes of the samples, all but the first ``axles``, in line; one sample where all are alike."""
    ahead, samples = field.shape[:axles], field.shape[axles:]
    if math.prod(samples) == 1:
        return field.reshape(*ahead, 1)
    aligned = field.reshape(*ahead, *(1,) * (len(shape) - len(samples)), *samples)
    return np.broadcast_to(aligned, (*ahead, *shape)).reshape(*ahead, -1)


def taken(group: Any, part: Index) -> Any:
    """Return some of the samples of an array, or of all arrays in a tuple; one they share stays as it is."""
    if isinstance(group, tuple):
        return _rebuilt(group, (taken(field, part) for field in group))
    return group if group.shape[-1] == 1 else group[..., part]


def copied(group: Any) -> Any:
    """Return a copy of an array, or of all arrays in a tuple."""
    return _rebuilt(group, map(copied, group)) if isinstance(group, tuple) else group.copy()


def put(whole: Any, part: Index, group: Any) -> None:
    """Put some of the samples back in place, array by array."""
    if isinstance(whole, tuple):
        for field, changed in zip(whole, group, strict=True):
            put(field, part, changed)
    else:
        whole[..., part] = group


def _rebuilt(group: tuple[Any, ...], fields: Iterable[Any]) -> Any:
    return group._make(fields) if hasattr(group, "_make") else tuple(fields)
