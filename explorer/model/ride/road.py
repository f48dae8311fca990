"""What road and wind do to a car at speed: one bump or crest, and one gust, each a haversine.

The front wheels meet the bump first, the rear ones a wheelbase later.  The gust meets the whole car at once.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity
from explorer.model.ride.half_car import both_axles

bump_height = given(
    "m",
    """Height of the bump or crest the car runs over; negative for a dip.

    Its shape is a haversine: from the level up to this height and down again, without a corner.
    """,
    default=0.0,
    usual="-30 to 30 mm",
    of_the_day=True,
)
bump_length = given(
    "m",
    "Length of the bump or crest along the road, foot to foot.",
    default=1.0,
    above=0,
    usual="0.02 to 20 m",
    of_the_day=True,
)
air_follows_road = given(
    "1",
    """Share of the road's slope under the car that the air follows.

    0 for a bump no longer than the car, whose slope the parts feel as pitch; 1 for a crest many cars long.
    """,
    default=0.0,
    at_least=0,
    at_most=1,
)
gust_rise_time = given(
    "s",
    "Time in which the gust rises to its full strength, and in which it falls.",
    default=0.1,
    above=0,
    usual="0.05 to 1 s, typically 0.2",
    of_the_day=True,
)
gust_hold_time = given(
    "s",
    "Time for which the gust stays at its full strength.",
    default=0.0,
    at_least=0,
    usual="0 to 3 s, typically 0.5",
    of_the_day=True,
)
gust_lead = given(
    "s",
    """Time from the start of the gust to the front wheels' meeting the bump; negative when the bump is first.

    With the defaults the front wheels meet the bump in the full gust.
    """,
    default=0.1,
    of_the_day=True,
)


class RoadAndGust(NamedTuple):
    """The bump and the gust as the car meets them, in time from the front wheels' meeting the bump."""

    bump_height: Array
    bump_time: Array
    rear_delay: Array
    air_follows_road: Array
    gust: Array
    gust_start: Array
    gust_rise_time: Array
    gust_hold_time: Array
    airspeed: Array
    air_density: Array

    def start(self) -> Array:
        """Return when the wheels meet the first of bump and gust."""
        by_gust = np.where(self.bump_height == 0, self.gust_start, np.minimum(self.gust_start, 0))
        return np.where(self.gust == 0, 0.0, by_gust)

    def events(self) -> list[Array]:
        """Return the times at which a bump under a wheel or the gust begins, turns or ends."""
        risen = self.gust_start + self.gust_rise_time
        falls = risen + self.gust_hold_time
        wind = (self.gust_start, risen, falls, falls + self.gust_rise_time)
        gusts = [np.where(self.gust != 0, time, self.start()) for time in wind]
        return [*gusts, *self.bump_events(np.zeros(())), *self.bump_events(self.rear_delay)]

    def bump_events(self, delay: Array) -> list[Array]:
        """Return when a place meets and leaves the bump that it meets a delay late; not before the start."""
        start = self.start()
        return [
            np.where(self.bump_height != 0, np.maximum(time, start), start)
            for time in (delay, delay + self.bump_time)
        ]

    def highest_before(self, time: Array, delay: Array) -> Array:
        """Return the highest road a place has been over by a time, when it meets the bump a delay late."""
        return np.maximum(self.bump(np.minimum(time - delay, self.bump_time / 2))[0], 0)

    def shortest_turn(self) -> Array:
        """Return the shorter of the times in which road and gust rise and fall, endless without both."""
        up_and_down = np.where(self.bump_height != 0, self.bump_time, np.inf)
        return np.minimum(up_and_down, np.where(self.gust != 0, 2 * self.gust_rise_time, np.inf))

    def delays(self) -> Array:
        """Return when each axle meets the bump, axles first."""
        return both_axles(np.zeros_like(self.rear_delay), self.rear_delay)

    def bump(self, since: Array) -> tuple[Array, Array]:
        """Return height and rate of rise of the road at a place, by the time since it met the bump."""
        if since.ndim > 1:
            # Axle by axle: most of the time only one of them is on the bump.
            heights, rises = zip(*(self.bump(axle) for axle in since), strict=True)
            return np.stack(heights), np.stack(rises)
        on = (since > 0) & (since < self.bump_time) & (self.bump_height != 0)
        if not np.any(on):
            return np.zeros_like(since), np.zeros_like(since)
        # One sine, of half the phase from the top, gives sine and cosine of the whole.
        half = np.sin(np.pi / 2 * (since / self.bump_time - 0.5) * on)
        square = half**2
        lift = (1 - 2 * square) * self.bump_height * on
        height = lift * (1 - 2 * square)
        rise = lift * half * np.sqrt(1 - square) * (-4 * np.pi / self.bump_time)
        return height, rise

    @property
    def gust_length(self) -> Array:
        """How long the gust blows in all."""
        return 2 * self.gust_rise_time + self.gust_hold_time

    def pressure(self, time: Array) -> Array:
        """Return the dynamic pressure of the air that meets the car."""
        since = time - self.gust_start
        airspeed = self.airspeed + np.zeros_like(since)
        blowing = np.nonzero((since > 0) & (since < self.gust_length) & (self.gust != 0))
        if blowing[0].size:
            fields = (self.gust, self.gust_rise_time, self.gust_hold_time)
            gust, rise_time, hold_time = (np.broadcast_to(one, since.shape)[blowing] for one in fields)
            rise = np.minimum(since[blowing] / rise_time, 1)
            fall = np.maximum((since[blowing] - hold_time) / rise_time - 1, 0)
            airspeed[blowing] += gust * np.sin(np.pi / 2 * (rise + fall)) ** 2
        pressure: Array = 0.5 * self.air_density * airspeed**2
        return pressure


@quantity("1", source="haversines; for the gust the shape of the discrete gust of 14 CFR 25.341(a)")
def road_and_gust(
    bump_height: Array,
    bump_length: Array,
    air_follows_road: Array,
    gust: Array,
    gust_lead: Array,
    gust_rise_time: Array,
    gust_hold_time: Array,
    speed: Array,
    airspeed: Array,
    air_density: Array,
    wheelbase: Array,
) -> RoadAndGust:
    """Bump and gust together, as the motion in time needs them."""
    # A car that stands still needs for ever to pass a bump: that is too long to be followed.
    moving = np.maximum(speed, 1e-9)
    return RoadAndGust(
        bump_height,
        bump_length / moving,
        wheelbase / moving,
        air_follows_road,
        gust,
        -gust_lead,
        gust_rise_time,
        gust_hold_time,
        airspeed,
        air_density,
    )
