"""Braking: what tyres, air and slope together take off the speed, and how far the car goes meanwhile.

Tyres hold a friction coefficient times the load on them, downforce included; the flap is closed, as it must
be before the brakes are used.  Rolling resistance is part of what the tyres hold.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from explorer.graph.quantity import Array, Curve, given, quantity
from explorer.model.numeric import secant
from explorer.model.quadrature import FEW, MANY, running_integral, through

reaction_time = given(
    "s", "Time from seeing the need to stop to the brakes acting; 0 leaves it out.", default=0.0, at_least=0
)


@quantity("1", source="definition")
def braking_friction(tyre_friction: Array) -> Array:
    """Friction coefficient of the tyres in braking: that of the driven tyres unless it is given."""
    return tyre_friction


@quantity("N", source="balance along the track")
def braking_force(brake_limit: Array, drag_force: Array, grade_force: Array) -> Array:
    """All that slows the car at this speed with the brakes at the limit of the tyres."""
    return brake_limit + drag_force + grade_force


@quantity(
    "m/s2",
    source="Newton's second law, the load it moves between the axles included",
    varying={"braking_force": "longitudinal_acceleration"},
    fails="the pitch has diverged, or braking and axle loads find no balance",
)
def braking_deceleration(braking_force: Curve, mass: Array, gravity: Array) -> Array:
    """Deceleration at this speed with the brakes at the limit of the tyres, positive when the car slows.

    Wheels and motor slow down by the brakes, not by the tyres: their inertia does not count here.
    """
    return secant(lambda tried: braking_force(-tried) / mass - tried, np.zeros_like(mass), 1.0 * gravity)


class BrakingLine(NamedTuple):
    """How a car brakes from any speed between two: what ``braking_line`` returns.

    ``deceleration`` and ``distance`` are functions of the share of the energy that lies between the two; the
    distance is that down to the lower speed.
    """

    low: Array
    energy: Array
    deceleration: Callable[[Array], Array]
    distance: Callable[[Array], Array]

    def share(self, speed: Array) -> Array:
        """Return the share of the energy a speed has; 0 below the lower speed."""
        return np.maximum((speed**2 - self.low**2) / (2 * self.energy), 0)

    def time(self, speed: Array) -> Array:
        """Return the time it takes down to the lower speed."""
        span = np.maximum(speed - self.low, 0)
        slowness = [1 / self.deceleration(self.share(self.low + place * span)) for place in MANY]
        return span * running_integral(slowness)(np.ones(()))


def braking_line(braking_deceleration: Curve, low: Array, high: Array) -> BrakingLine:
    """Tabulate the braking between two speeds, flap closed: deceleration is smooth in the speed squared.

    Energies are per mass.  Not a number where the car does not slow.
    """
    energy = np.maximum((high**2 - low**2) / 2, 1e-9)
    known = [braking_deceleration(np.sqrt(low**2 + 2 * place * energy), 0.0) for place in FEW]
    deceleration = through([np.where(value > 0, value, np.nan) for value in known])
    way = running_integral([energy / deceleration(place) for place in MANY])
    return BrakingLine(low, energy, deceleration, way)


@quantity(
    "m",
    source="distance = integral of energy over force, by polynomials through Gauss-Chebyshev places",
    varying={"braking_deceleration": ("speed", "flap_opening")},
    fails="the brakes do not stop the car, or its pitch has diverged",
)
def stopping_distance(braking_deceleration: Curve, speed: Array, reaction_time: Array) -> Array:
    """Distance from this speed to a stop with the flap closed, the reaction time included.

    For where people may stand it is the least a car under control needs, not what one out of control takes.
    """
    line = braking_line(braking_deceleration, np.zeros_like(speed), speed)
    return speed * reaction_time + line.distance(np.ones(()))
