"""How far a swing may still go once road and air are calm, from its energy: Lyapunov's direct method.

With d how far the body is from its steady place over each axle, v = d', springs K and dampers C on the axles,
the inertia M there (the inverse of the mobility), the air's loss by lean G, and what stops and points add, f:

    M v' = -(K + G) d - C v - f(d)

Write w = v + e d with some small e, and the energy

    V = w'M w / 2 + d'S d / 2 + U(d),     S = K + (G + G')/2 - e C + e2 M,     U' = f

Its rate is -w'(C - e M) w - e d'S d - e f d - w'(G - G')/2 d.  Where S and, with B = C - 3/2 e M, also B and
2 e S - g2 B / det B are positive, g being the off-diagonal of (G - G')/2, V falls at least as exp(-e t):
f never falls with d, so f d is above U.  Then every swing to come lies in the ellipsoid of today's V.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask
from explorer.model.ride.air_in_motion import RoadPoints
from explorer.model.ride.half_car import HalfCar
from explorer.model.ride.ride import Ride, lean

#: The e of this file's head over the least rate at which the dampers alone would stop the body.
SHARE_OF_DAMPING = 0.5
#: Balance of forces at the steady attitude, over the load at rest, with which it counts as one.
BALANCED = 1e-6


class Square(NamedTuple):
    """A symmetric matrix of two rows, one for each axle."""

    front: Array
    between: Array
    rear: Array

    def determinant(self) -> Array:
        """Return the determinant."""
        return self.front * self.rear - self.between**2

    def positive(self) -> Mask:
        """Tell where every pair but nothing gives a positive square."""
        holds: Mask = (self.front > 0) & (self.determinant() > 0)
        return holds

    def inverse(self) -> Square:
        """Return the inverse."""
        whole = self.determinant()
        return Square(self.rear / whole, -self.between / whole, self.front / whole)

    def square(self, front: Array, rear: Array) -> Array:
        """Return the square that a pair gives."""
        return self.front * front**2 + 2 * self.between * front * rear + self.rear * rear**2

    def plus(self, factor: Array | float, other: Square) -> Square:
        """Return the sum with a multiple of another."""
        return Square(*(mine + factor * its for mine, its in zip(self, other, strict=True)))


class Fading(NamedTuple):
    """What bounds a swing: ``rate`` is the e of this file's head, ``holds`` where there is such a bound."""

    rate: Array
    holds: Mask
    inertia: Square
    stiffness: Square
    give: Square
    steady: Array
    steady_load: Array
    car: HalfCar
    points: RoadPoints

    @classmethod
    def of(cls, ride: Ride) -> Fading:
        """Return the bound on swings about the steady attitude in air as calm as before the gust."""
        car, nothing = ride.car, np.zeros_like(ride.start)
        pressure = 0.5 * ride.road.air_density * ride.road.airspeed**2
        front, rear = pressure * ride.air.loss + nothing
        springs, dampers = (Square(pair[0], nothing, pair[1]) for pair in (car.rate, car.damping))
        inertia = Square(car.own[0], car.across[0] + nothing, car.own[1]).inverse()
        slowest = _least(car, dampers)
        rate = SHARE_OF_DAMPING * slowest
        losing = Square(-front, (front - rear) / 2, rear)
        stiffness = springs.plus(1, losing).plus(-rate, dampers).plus(rate**2, inertia)
        turning = (front + rear) / 2
        held = dampers.plus(-1.5 * rate, inertia)
        rest = stiffness.plus(-(turning**2) / (2 * rate * held.determinant()), held)
        load = car.load(ride.steady, np.zeros_like(ride.steady))
        force = pressure * (ride.air.level - ride.air.loss * lean(ride.steady)) + ride.air.transfer - load
        force = force - ride.points.load(ride.points.beyond(ride.steady, 0.0))
        still = np.all(np.abs(force) < BALANCED * car.at_rest, axis=0) & ~(ride.splitter.gain > 0)
        holds = still & held.positive() & stiffness.positive() & rest.positive()
        return cls(rate, holds, inertia, stiffness, stiffness.inverse(), ride.steady, load, car, ride.points)

    def energy(self, drop: Array, speed: Array) -> Array:
        """Return twice the V of this file's head."""
        away = drop - self.steady
        moving = speed + self.rate * away
        now, before = self.car.past_stops(drop), self.car.past_stops(self.steady)
        stops = np.sum(self.car.stop_rate * (now**2 - before**2 - 2 * before * away), axis=0)
        pressed, before = self.points.beyond(drop, 0.0), self.points.beyond(self.steady, 0.0)
        along = self.points.travel(away, 0.0)
        stops = stops + np.sum(self.points.rate * (pressed**2 - before**2 - 2 * before * along), axis=0)
        energy: Array = self.inertia.square(*moving) + self.stiffness.square(*away) + stops
        return energy

    def after(self, energy: Array, time: Array) -> Array:
        """Return what is left at most of an energy after a time."""
        left: Array = energy * np.exp(-self.rate * time)
        return left

    def travel(self, energy: Array, front: Array | float, rear: Array | float) -> Array:
        """Return the farthest a sum of shares of both axles' travels gets from its steady value."""
        farthest: Array = np.sqrt(energy * self.give.square(np.asarray(front), np.asarray(rear)))
        return farthest

    def swing(self, energy: Array) -> Array:
        """Return the widest swing over each axle, squared, as ``squared_swing`` has it."""
        car, give = self.car, np.stack((self.give.front, self.give.rear))
        widest: Array = energy * (give + (self.rate**2 * give + car.own) / (car.rate * car.own))
        return widest

    def lowest_load(self, energy: Array) -> Array:
        """Return the lowest load on each axle over that at rest."""
        car, give = self.car, np.stack((self.give.front, self.give.rear))
        straight = energy * ((car.rate - self.rate * car.damping) ** 2 * give + car.damping**2 * car.own)
        highest = self.steady - np.sqrt(energy * give)
        stops = car.stop_rate * (car.past_stops(highest) - car.past_stops(self.steady))
        lowest: Array = self.steady_load - np.sqrt(straight) + stops
        return lowest


def _least(car: HalfCar, dampers: Square) -> Array:
    """Return the smaller eigenvalue of mobility times dampers."""
    mean = (car.own[0] * dampers.front + car.own[1] * dampers.rear) / 2
    product = dampers.front * dampers.rear * (car.own[0] * car.own[1] - car.across[0] * car.across[1])
    smaller: Array = product / np.maximum(mean + np.sqrt(np.maximum(mean**2 - product, 0)), 1e-300)
    return smaller
