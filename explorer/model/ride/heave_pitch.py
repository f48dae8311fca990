"""Heave and pitch in time: what a bump, a crest or a gust does to attitude, axle loads and clearances.

Speed is held, and the drive makes up what the gust adds to the drag.  The car starts at its steady attitude
and is watched for a while after bump and gust have passed, or until no swing to come can show anything new;
without either it stays there, and every quantity here equals its steady namesake.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask
from explorer.graph.quantity import given, quantity
from explorer.model.aero.ground_effect import GroundEffect
from explorer.model.ride.air_in_motion import AirOnAxles, RoadPoints
from explorer.model.ride.fading import Fading
from explorer.model.ride.following import follow
from explorer.model.ride.half_car import HalfCar
from explorer.model.ride.ride import Course, Ride, lean
from explorer.model.ride.road import RoadAndGust
from explorer.model.ride.stepping import Moment, highest, squared_swing
from explorer.model.ride.wheel_hop import SLOW_ENOUGH

watch_time = given("s", "How long the car is watched after bump and gust have passed.", default=0.5, above=0)
pitch_cap = given(
    "rad",
    """Pitch, up or down, at which the motion is followed no further: the car counts as gone over.

    The equations hold for small angles; the default of 20 degrees is a judgement.
    """,
    default=float(np.deg2rad(20)),
    above=0,
)
#: A swing is over when it is down to this share of the widest, or to this many metres over both axles.
SETTLED_SHARE, SETTLED_SWING = 0.1, 1e-4

_SOURCE = (
    "Newton's and Euler's laws of the half-car (Gillespie, Fundamentals of Vehicle Dynamics, ch. 5), "
    "Runge-Kutta of fourth order, left early by a bound on the energy (Lyapunov's direct method)"
)
_FAILS = "pitch has diverged before bump and gust, or the car is too slow for the motion to be followed"


class Excursion(NamedTuple):
    """What is kept of a motion: lean as in ``ride``, loads over those at rest."""

    highest_lean: Array
    lowest_front_load: Array
    lowest_rear_load: Array
    front_time_off_road: Array
    settled: Array


@quantity(
    "s",
    source="judgement, from a wheel with mass over bumps (see wheel_hop_share)",
    fails="the bump is so short that the wheels hop on their tyres (see wheel_hop_share); a longer bump, a "
    "lower speed or lighter wheels can be followed",
)
def followed_time(watch_time: Array, wheel_hop_share: Array) -> Array:
    """How long the car is followed after bump and gust; no number where its wheels would hop."""
    return np.where(wheel_hop_share > SLOW_ENOUGH, np.nan, watch_time)


@quantity("1", source="small angles: lean = pitch times wheelbase")
def course(
    front_compression: Array,
    rear_compression: Array,
    static_pitch: Array,
    wheelbase: Array,
    pitch_cap: Array,
    followed_time: Array,
) -> Course:
    """Start and end of the motion in time, together."""
    least, most = ((cap - static_pitch) * wheelbase for cap in (-pitch_cap, pitch_cap))
    return Course(front_compression, rear_compression, least, most, followed_time)


@quantity("1", source=_SOURCE, fails=_FAILS)
def excursion(
    half_car: HalfCar,
    air_on_axles: AirOnAxles,
    splitter_ground_effect: GroundEffect,
    road_points: RoadPoints,
    road_and_gust: RoadAndGust,
    course: Course,
) -> Excursion:
    """Extremes of the motion over bump and through gust, together, since all follow from one motion."""
    ride = Ride.of(half_car, air_on_axles, splitter_ground_effect, road_points, road_and_gust, course)
    return Excursion(*ride.by_parts(extremes))


class Extremes(NamedTuple):
    """Extremes of a motion so far; ``widest`` is the farthest from the steady attitude over each axle."""

    peak: Array
    load: Array
    widest: Array
    off_road: Array

    @classmethod
    def at_the_start(cls, ride: Ride) -> Extremes:
        """Return what there is before the first step."""
        nothing = np.zeros_like(ride.steady)
        load = ride.car.load(ride.steady, nothing)
        return cls(lean(ride.steady), load, nothing, nothing[0])

    @staticmethod
    def noted(ride: Ride, so_far: Extremes, moment: Moment) -> Extremes:
        """Return the extremes with one more step."""
        peak, load, widest, off_road = so_far
        before, after, step = moment.before, moment.after, moment.step
        if moment.aloft.ndim:
            off_road = off_road + moment.aloft[0]
        return Extremes(
            highest(peak, lean(before.drop), lean(before.speed), lean(after.drop), lean(after.speed), step),
            np.minimum(load, moment.load),
            np.maximum(widest, np.abs(after.drop - ride.steady)),
            off_road,
        )

    @property
    def settled_below(self) -> Array:
        """Square of the swing that counts as none."""
        low: Array = np.maximum(SETTLED_SHARE * self.widest, SETTLED_SWING) ** 2
        return low

    @staticmethod
    def known(so_far: Extremes, fading: Fading, energy: Array, left: Array) -> Mask:
        """Tell where no swing to come reaches an extreme and the last ones count as none."""
        beaten = lean(fading.steady) + fading.travel(energy, -1, 1) > so_far.peak
        beaten = beaten | np.any(fading.lowest_load(energy) < so_far.load, axis=0)
        last = fading.swing(fading.after(energy, left))
        known: Mask = ~beaten & np.all(last <= so_far.settled_below, axis=0)
        return known


def extremes(ride: Ride) -> Array:
    """Return the fields of ``Excursion`` for samples moved together: (fields, samples)."""
    found, body, early = follow(ride, Extremes.at_the_start(ride), Extremes.noted, Extremes.known)
    swinging = np.any(squared_swing(ride, body) > found.settled_below, axis=0) | ride.course.gone(body.drop)
    unknown = np.isnan(found.peak)
    off_road, settled = (np.where(unknown, np.nan, each) for each in (found.off_road, early | ~swinging))
    return np.stack((found.peak, *found.load, off_road, settled))


@quantity("rad", source="see excursion", fails=_FAILS, capped_by="pitch_cap")
def peak_pitch(excursion: Excursion, static_pitch: Array, wheelbase: Array, pitch_cap: Array) -> Array:
    """Highest nose-up pitch of the body over the bump and through the gust, against the level.

    At its cap the car has gone over.
    """
    return np.minimum(static_pitch + excursion.highest_lean / wheelbase, pitch_cap)


@quantity("N", source="as front_axle_load, at every instant", fails=_FAILS)
def lowest_front_axle_load(excursion: Excursion, front_static_load: Array) -> Array:
    """Lowest load on both front tyres together over the bump and through the gust.

    Below zero they leave the road; it is then the pull the ground would need, had it to keep them down, and
    says how far past lift-off the car is.  The motion itself goes on without any pull.
    """
    return front_static_load + excursion.lowest_front_load


@quantity("N", source="as rear_axle_load, at every instant", fails=_FAILS)
def lowest_rear_axle_load(excursion: Excursion, rear_static_load: Array) -> Array:
    """Lowest load on both rear tyres together over the bump and through the gust; below zero they lift."""
    return rear_static_load + excursion.lowest_rear_load


@quantity("s", source="see excursion", fails=_FAILS)
def front_airborne_time(excursion: Excursion) -> Array:
    """How long the front wheels are off the road, in all: without steering."""
    return excursion.front_time_off_road


@quantity("1", source="see excursion; how small a swing counts as none is a judgement", fails=_FAILS)
def returns_to_level(excursion: Excursion) -> Array:
    """1 where the car swings back to its steady attitude, 0 where it goes over or still swings at the end.

    It is back when, at the end of the time it is watched, the swing over both axles is down to a tenth of the
    widest, or to a tenth of a millimetre.  The mean says how often it comes back.
    """
    return excursion.settled


@quantity("m", source="geometry: the floor is a straight line between the axles", fails=_FAILS)
def point_smallest_clearance(
    half_car: HalfCar,
    air_on_axles: AirOnAxles,
    splitter_ground_effect: GroundEffect,
    road_points: RoadPoints,
    road_and_gust: RoadAndGust,
    course: Course,
    wheelbase: Array,
    point_station: Array,
    point_clearance_at_rest: Array,
    tyre_rise: Array,
) -> Array:
    """Smallest height of the named point above the road, the bump under it included; zero: it scrapes."""
    ride = Ride.of(half_car, air_on_axles, splitter_ground_effect, road_points, road_and_gust, course)
    smallest: Array = point_clearance_at_rest + tyre_rise - ride.by_parts(deepest, point_station / wheelbase)
    return smallest


class Depth(NamedTuple):
    """How close a point came to the road, over rest; its share of the wheelbase, its delay on the bump."""

    most: Array
    share: Array
    delay: Array

    def sunk(self, ride: Ride, drop: Array, speed: Array, time: Array) -> tuple[Array, Array]:
        """Return how close the point is to the road at a time, over rest, and how fast it comes closer."""
        height, rise = ride.road.bump(time - self.delay)
        return drop[0] + self.share * lean(drop) + height, speed[0] + self.share * lean(speed) + rise

    @staticmethod
    def noted(ride: Ride, so_far: Depth, moment: Moment) -> Depth:
        """Return the depth with one more step."""
        before, after, then = moment.before, moment.after, moment.time - moment.step
        start = so_far.sunk(ride, before.drop, before.speed, then)
        end = so_far.sunk(ride, after.drop, after.speed, moment.time)
        return so_far._replace(most=highest(so_far.most, *start, *end, moment.step))

    @staticmethod
    def known(so_far: Depth, fading: Fading, energy: Array, left: Array) -> Mask:
        """Tell where no swing to come brings the point closer to the road."""
        front, rear = 1 - so_far.share, so_far.share
        level = front * fading.steady[0] + rear * fading.steady[1]
        closer: Mask = level + fading.travel(energy, front, rear) <= so_far.most
        return closer


def deepest(ride: Ride, share: Array) -> Array:
    """Return how close a point comes to the road, over rest, at a share of the wheelbase: (samples,)."""
    delay = ride.road.rear_delay * share
    most = ride.steady[0] + share * lean(ride.steady) + ride.road.highest_before(ride.start, delay)
    start = Depth(*(each + np.zeros_like(ride.start) for each in (most, share, delay)))
    found, _, _ = follow(ride, start, Depth.noted, Depth.known, ride.road.bump_events(delay))
    return found.most
