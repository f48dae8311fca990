"""How far and how long a car takes to lose speed, from its deceleration at each speed.

Distance is the integral of speed over deceleration, time that of one over it: Simpson's rule between speeds
equally far apart.  Between those, distance and time are cubics through values and slopes, both known.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Rows
from explorer.model.numeric import at_row

#: Stretches of speed between two rows of the tables.
STRETCHES = 16


class Slowing(NamedTuple):
    """A car on its way from a high to a low speed: tables with the speeds first, from the lowest upwards.

    Attributes
    ----------
    speed:
        The speeds, the last one the highest.
    slowness:
        One over the deceleration at each; not a number where the car does not slow.
    distance, time:
        What it takes from each speed down to the lowest.
    """

    speed: Array
    slowness: Array
    distance: Array
    time: Array

    def distance_from(self, speed: Array) -> Array:
        """Return how far the car goes from a speed down to the lowest; nothing from below that."""
        return self._at(speed, self.distance, self.speed * self.slowness)

    def time_from(self, speed: Array) -> Array:
        """Return how long the car takes from a speed down to the lowest; nothing from below that."""
        return self._at(speed, self.time, self.slowness)

    def speed_after(self, distance: Array) -> Array:
        """Return the speed left when the car has come so far from the highest; none past the whole way."""
        left = self.distance[-1] - np.maximum(distance, 0)
        row = sum((each <= left for each in self.distance[1:-1]), np.zeros(np.shape(left), np.intp))
        begin = at_row(self.distance, row)
        width = at_row(self.distance, row + 1) - begin
        share = (left - begin) / np.where(width > 0, width, 1.0)
        square = _cubic(share, width, row, self.speed**2, 2 / self.slowness)
        moving: Array = np.where(left > 0, np.sqrt(np.maximum(square, 0)), 0 * left)
        return moving

    def _at(self, speed: Array, table: Array, slope: Array) -> Array:
        low, high = self.speed[0], self.speed[-1]
        width = (high - low) / STRETCHES
        place = (np.clip(speed, low, high) - low) / np.where(width > 0, width, np.inf)
        row = np.minimum(np.nan_to_num(place).astype(np.intp), STRETCHES - 1)
        return _cubic(place - row, width, row, table, slope)


def slowing(deceleration: Callable[[Array], Array], low: Array, high: Array) -> Slowing:
    """Tabulate the way from a high to a low speed.

    Parameters
    ----------
    deceleration:
        Elementwise function of the speed, cheap to evaluate; the car slows where it is positive.
    low, high:
        Speeds in m/s, broadcast against the samples.
    """
    shares = np.linspace(0, 1, 2 * STRETCHES + 1)
    places = [low + share * np.maximum(high - low, 0.0) for share in shares]
    found = np.stack(np.broadcast_arrays(*[np.maximum(deceleration(place), 0.0) for place in places]))
    speed = np.stack(np.broadcast_arrays(*places, found[0])[:-1])
    slowness = 1 / np.where(found > 0, found, np.nan)
    sixth = (speed[2::2] - speed[:-2:2]) / 6
    nothing = np.zeros_like(speed[:1])

    def running(slope: Array) -> Array:
        """Integrate from the lowest speed on, by Simpson's rule."""
        parts = sixth * (slope[:-2:2] + 4 * slope[1::2] + slope[2::2])
        return np.concatenate([nothing, np.cumsum(parts, axis=0)])

    return Slowing(speed[::2], slowness[::2], running(speed * slowness), running(slowness))


def _cubic(share: Array, width: Array, row: Rows, values: Array, slopes: Array) -> Array:
    """Return, at a share of the way from a row to the next, the cubic through values and slopes of both."""
    first, last = at_row(values, row), at_row(values, row + 1)
    begin, end = width * at_row(slopes, row), width * at_row(slopes, row + 1)
    rise = last - first
    bend = (1 - share) * (rise - begin) - share * (rise - end)
    cubic: Array = first + share * (rise - (1 - share) * bend)
    return cubic
