"""The balance of a car whose air forces stand in a map of both ride heights.

Newton's method in both travels finds it at once where the map is gentle.  Where it finds nothing, or the map
is so steep that there may be several, every balance is looked for: at a front ride height the rear axle has
its own balance, and what is then left at the front is a function of that height alone.  Of several the car
takes the one it comes to from rest as the pressure of the air rises.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask, picked
from explorer.graph.tables import LookupTable
from explorer.model.attitude.scan import STEPS, Bracket, Scan
from explorer.model.attitude.supports import Support, carried
from explorer.model.attitude.suspension import AxleSpring
from explorer.model.numeric import narrowed, shape_of

#: Share of a ride height to which it is closed in on, and to which it is known while looking for zeros.
TOLERANCE, COARSE = 1e-13, 1e-7
#: How far beyond the edges of the map is looked, in metres, with its values held.
BEYOND = 0.1
#: Rounds of Newton's method before all balances are looked for.
NEWTON_STEPS = 12


class Maps(NamedTuple):
    """Both maps and how much of each counts."""

    closed: LookupTable
    opened: LookupTable
    opening: Array

    def tangents(
        self, front: Array | float, rear: Array | float, *names: str
    ) -> list[tuple[Array, Array, Array]]:
        """Return columns with their slopes along front and rear height; held at the edge outside the map."""
        place = self.closed.locate(front, rear)
        found = [_flat(self.closed.tangent(name, place)) for name in names]
        if not np.any(self.opening):
            return found
        place = self.opened.locate(front, rear)
        other = [_flat(self.opened.tangent(name, place)) for name in names]
        share = self.opening
        return [
            (v + share * (w - v), a + share * (c - a), b + share * (d - b))
            for (v, a, b), (w, c, d) in zip(found, other, strict=True)
        ]

    def nodes(self, axis: int) -> Array:
        """Return the ride heights of both maps along an axis, and those half-way between."""
        both = np.unique(np.concatenate([_nodes(table, axis) for table in (self.closed, self.opened)]))
        return np.sort(np.concatenate([both, (both[1:] + both[:-1]) / 2]))

    def slopes(self, name: str, axis: int) -> tuple[float, float]:
        """Return the least and the greatest slope of a column along an axis, in either map and beyond."""
        steepest = [
            np.diff(table.values[name], axis=axis) / _steps(table, axis)
            for table in (self.closed, self.opened)
        ]
        least, greatest = (min(one.min() for one in steepest), max(one.max() for one in steepest))
        return min(float(least), 0.0), max(float(greatest), 0.0)

    def at(self, name: str, front: Array, rear: Array) -> Array:
        """Return a column, NaN where a map that counts does not reach."""
        value = self.closed.at(name, self.closed.locate(front, rear))
        if not np.any(self.opening):
            return value
        value_open = self.opened.at(name, self.opened.locate(front, rear))
        between = value + self.opening * (value_open - value)
        return np.where(self.opening == 0, value, np.where(self.opening == 1, value_open, between))


def _flat(tangent: tuple[Array, tuple[Array, ...]]) -> tuple[Array, Array, Array]:
    value, (by_front, by_rear) = tangent
    return value, by_front, by_rear


def _nodes(table: LookupTable, axis: int) -> Array:
    return list(table.axes.values())[axis]


def _steps(table: LookupTable, axis: int) -> Array:
    return np.expand_dims(np.diff(_nodes(table, axis)), 1 - axis)


class CarOnMap(NamedTuple):
    """A car and its maps: pressure of the air on its axles, offsets, heights at rest, load moved, springs."""

    maps: Maps
    front_pressure: Array
    rear_pressure: Array
    front_offset: Array
    rear_offset: Array
    front_rest: Array
    rear_rest: Array
    transfer: Array
    front_spring: AxleSpring
    rear_spring: AxleSpring
    points: tuple[Support, ...]

    def at_share(self, share: float) -> CarOnMap:
        """Return the car at a share of the pressure of the air."""
        return self._replace(
            front_pressure=share * self.front_pressure, rear_pressure=share * self.rear_pressure
        )

    def spare(self, front: Array | float, rear: Array | float) -> tuple[Array, Array]:
        """Return the load on each axle that nothing carries at two ride heights, held at the map's edges."""
        nose, tail = self.maps.tangents(front, rear, "front_downforce_area", "rear_downforce_area")
        front_load = self.front_spring.load(self.front_rest - front)[0]
        rear_load = self.rear_spring.load(self.rear_rest - rear)[0]
        by_points = carried(self.points, self.front_rest - front, self.rear_rest - rear)
        return (
            self.front_pressure * (nose[0] + self.front_offset) - self.transfer - front_load - by_points[0],
            self.rear_pressure * (tail[0] + self.rear_offset) + self.transfer - rear_load - by_points[1],
        )

    def has_one_balance(self) -> Mask:
        """Tell where both springs win over the steepest places of the map: then there is one balance at most.

        The Jacobian is a P-matrix everywhere (Gale & Nikaido, Mathematische Annalen 159, 1965).
        """
        by_axle = (self.front_pressure, "front_downforce_area"), (self.rear_pressure, "rear_downforce_area")
        (a, b), (c, d) = (
            [[pressure * slope for slope in self.maps.slopes(name, axis)] for axis in (0, 1)]
            for pressure, name in by_axle
        )
        front, rear = self.front_spring.rate + a[0], self.rear_spring.rate + d[0]
        coupling = np.max(np.broadcast_arrays(*(one * other for one in b for other in c)), axis=0)
        one: Mask = (front > 0) & (rear > 0) & (front * rear > coupling)
        if self.points:
            # What a point adds is symmetric: with a positive symmetric part the Jacobian stays a P-matrix.
            widest = np.max(np.broadcast_arrays(*(abs(upper + other) for upper in b for other in c)), axis=0)
            one = one & (4 * front * rear > widest**2)
        return one

    def near_rest(self) -> tuple[Array, Array, Mask]:
        """Return both travels by Newton's method from rest, and where it has found a stable balance."""
        front = np.zeros(shape_of(self))
        rear, done = front, np.zeros(np.shape(front), dtype=bool)
        for _ in range(NEWTON_STEPS):
            nose, tail = self.maps.tangents(
                self.front_rest - front, self.rear_rest - rear, "front_downforce_area", "rear_downforce_area"
            )
            front_load, front_rate = self.front_spring.load(front)
            rear_load, rear_rate = self.rear_spring.load(rear)
            front_lack = self.front_pressure * (nose[0] + self.front_offset) - self.transfer - front_load
            rear_lack = self.rear_pressure * (tail[0] + self.rear_offset) + self.transfer - rear_load
            # Going down lowers the ride height, so the map's slopes add to the springs.
            a, b = front_rate + self.front_pressure * nose[1], self.front_pressure * nose[2]
            c, d = self.rear_pressure * tail[1], rear_rate + self.rear_pressure * tail[2]
            for point in self.points:
                beyond = point.beyond(front, rear)
                rate, ahead, behind = point.rate * (beyond > 0), 1 - point.share, point.share
                a, b = a + rate * ahead * ahead, b + rate * ahead * behind
                c, d = c + rate * ahead * behind, d + rate * behind * behind
                front_lack = front_lack - point.rate * beyond * ahead
                rear_lack = rear_lack - point.rate * beyond * behind
            determinant = a * d - b * c
            front_step = (front_lack * d - b * rear_lack) / determinant
            rear_step = (a * rear_lack - c * front_lack) / determinant
            front, rear = np.where(done, front, front + front_step), np.where(done, rear, rear + rear_step)
            stable = (determinant > 0) & (a + d > 0)
            done = done | (stable & (np.abs(front_step) + np.abs(rear_step) < 1e-12))
            if np.all(done):
                break
        return front, rear, done

    def rear_height(self, front: Array | float, tolerance: float = TOLERANCE) -> Array:
        """Return the rear ride height at which the rear axle balances at a front ride height."""
        nodes = self.maps.nodes(1)
        low, high = (np.full(np.shape(front), end) for end in (nodes[0] - BEYOND, nodes[-1] + BEYOND))
        below, above = self.spare(front, low)[1], self.spare(front, high)[1]
        height, _ = narrowed(lambda tried: self.spare(front, tried)[1], low, below, high, above, tolerance)
        return np.where((below <= 0) & (above > 0), height, np.nan)

    def scan(self) -> Scan:
        """Look at the load spare at the front along its ride height: on the map, once beyond both ends."""
        nodes = self.maps.nodes(0)
        rows = np.concatenate([[nodes[0] - BEYOND], nodes, [nodes[-1] + BEYOND]])
        places = rows[:, np.newaxis] + np.zeros(shape_of(self))

        def left(front: Array | float) -> Array:
            return self.spare(front, self.rear_height(front, COARSE))[0]

        return Scan(left, places, left(places))

    def root(self, bracket: Bracket) -> Array:
        """Close in on the front ride height of a balance between two."""

        def left(front: Array | float) -> Array:
            return self.spare(front, self.rear_height(front))[0]

        lower, upper = bracket
        return narrowed(left, lower, left(lower), upper, left(upper), TOLERANCE)[0]


def balance_on_map(car: CarOnMap) -> tuple[Array, Array, Array, Array, Array]:
    """Return both travels, NaN where no balance lies on the map, loads of points, and how many are stable."""
    front, rear, stable = _balance(car)
    return front, rear, *carried(car.points, front, rear), stable


def _balance(car: CarOnMap) -> tuple[Array, Array, Array]:
    front, rear, done = car.near_rest()
    on_map = np.isfinite(car.maps.at("drag_area", car.front_rest - front, car.rear_rest - rear))
    sure = done & on_map & car.has_one_balance()
    if np.all(sure):
        return front, rear, np.ones(np.shape(front))
    shape = np.shape(front)
    front, rear = np.atleast_1d(front), np.atleast_1d(rear)
    others, stable = np.atleast_1d(~sure), np.ones(np.shape(front))
    some = picked(car._replace(front_rest=np.broadcast_to(car.front_rest, np.shape(front))), others)
    front[others], rear[others], stable[others] = _searched(some)
    return front.reshape(shape), rear.reshape(shape), stable.reshape(shape)


def _searched(car: CarOnMap) -> tuple[Array, Array, Array]:
    """Look for every balance; all fields have one axis or are numbers."""
    scan = car.scan()
    on_map = Scan(scan.left, scan.places[1:-1], scan.spare[1:-1])
    stable, (lower, upper) = on_map.stable(), on_map.first()
    several = stable > 1
    if np.any(several):
        place = car.front_rest + np.zeros(np.shape(stable))
        place[several] = _come_to(picked(car, several))
        low, high = scan.bracket(place)
        taken = several & (low >= scan.places[1]) & (high <= scan.places[-2])
        lower, upper = np.where(taken, low, lower), np.where(taken, high, upper)
    front = np.where(stable > 0, car.root(Bracket(lower, upper)), np.nan)
    rear = car.rear_height(front)
    on_map_there = np.isfinite(car.maps.at("drag_area", front, rear))
    front, rear = (np.where(on_map_there, height, np.nan) for height in (front, rear))
    return car.front_rest - front, car.rear_rest - rear, np.where(on_map_there, stable, 0)


def _come_to(car: CarOnMap) -> Array:
    """Return the front ride height just before the full pressure of the air, come to from rest."""
    place = car.front_rest + np.zeros(shape_of(car))
    for step in range(1, STEPS):
        # Pressure goes with the square of the speed.
        now = car.at_share((step / STEPS) ** 2)
        place = now.root(now.scan().bracket(place))
    return place
