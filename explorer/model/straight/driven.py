"""What moves a car along the straight, and what ends its run."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from explorer.graph.arrays import Array, Mask
from explorer.graph.quantity import Curve
from explorer.model.straight.run import State


class RoadForces(NamedTuple):
    """What the pitch decides of a car at speed: axle loads, and all that holds it back."""

    front_axle_load: Array
    rear_axle_load: Array
    resistance_force: Array


class Drive(NamedTuple):
    """What moves the car: curves of the graph, and the inertia they act on.

    ``road_forces`` is a function of speed, flap opening and acceleration, ``wheel_force`` of speed, and
    ``excess_force`` of push, front and rear axle load and resistance.  ``loads_bend`` tells which cars need
    steps of their own.
    """

    road_forces: Callable[..., RoadForces]
    wheel_force: Curve
    excess_force: Curve
    inertia: Array
    loads_bend: Array


class End(NamedTuple):
    """What ends a run: its distance, a speed too low, a speed that is enough, a time."""

    length: Array
    standing: Array
    enough: Array | float
    until: Array | float

    def running(self, state: State) -> Mask:
        """Tell which cars have not come to the end."""
        going: Mask = (state.distance < self.length) & (state.speed > self.standing)
        return going & (state.speed < self.enough) & (state.time < self.until)
