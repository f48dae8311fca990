"""Braking: what tyres, brakes, air and slope together take off the speed, and how far the car goes meanwhile.

Three decelerations decide, each balanced with the load it moves between the axles: the one the tyres hold,
the one at which the rear wheels leave the ground, where braking ends, and the one the brakes give.  The
smallest counts, but never less than rolling alone gives.  The flap is closed, as it must be before the brakes
are used.  What bends sharply, the brakes and the change from one limit to the other, is taken as it is at
every speed; the rest is smooth in the speed squared, and needs the pitch of the car at a few speeds only.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, given, quantity
from explorer.model.brakes.slowing import Slowing, slowing
from explorer.model.interpolation import FEW, through
from explorer.model.numeric import CurveOf, balanced, looks

reaction_time = given(
    "s",
    "Time from seeing the need to stop to the thumb on the brake; 0 leaves it out.",
    default=0.0,
    at_least=0,
    usual="0.2 to 1.5 s, typically 0.5",
    of_the_day=True,
)


@quantity("1", source="definition")
def braking_friction(tyre_friction: Array) -> Array:
    """Friction coefficient of the tyres in braking: that of the driven tyres unless it is given."""
    return tyre_friction


class BrakedCar(NamedTuple):
    """Axle loads, drag with slope and scraping, and rolling resistance, which follow from the pitch."""

    front_axle_load: Array
    rear_axle_load: Array
    air_and_slope: Array
    rolling: Array


@quantity("N", source="definition")
def braked_car(
    front_axle_load: Array,
    rear_axle_load: Array,
    drag_force: Array,
    grade_force: Array,
    rolling_resistance_force: Array,
    scraping_force: Array,
) -> BrakedCar:
    """Axle loads and resistances at this speed, together, since all follow from one pitch."""
    return BrakedCar(
        front_axle_load, rear_axle_load, drag_force + grade_force + scraping_force, rolling_resistance_force
    )


class BrakingLimits(NamedTuple):
    """What decides how a car slows at one speed, each of it smooth in the speed squared.

    Attributes
    ----------
    tyres:
        Deceleration the tyres hold [m/s2].
    rear_load, unloading:
        Load on the rear axle at held speed [N], and what each m/s2 of deceleration takes from it [kg].
    coasting, gain:
        Deceleration without brakes [m/s2], and what each newton of braking adds to it [1/kg].
    """

    tyres: Array
    rear_load: Array
    unloading: Array
    coasting: Array
    gain: Array

    def deceleration(self, push: Array) -> Array:
        """Return the deceleration with brakes that give so many newtons at the wheels."""
        lifting = np.where(self.unloading > 0, self.rear_load / np.maximum(self.unloading, 1e-12), np.inf)
        braked = np.minimum(np.minimum(self.tyres, lifting), self.coasting + self.gain * push)
        return np.maximum(braked, self.coasting)


@quantity(
    "1",
    source="Newton's second law and moments about the contact patches, the load that braking moves included",
    varying={
        "braked_car": "longitudinal_acceleration",
        "brake_limit": ("front_axle_load", "rear_axle_load"),
    },
    fails="the pitch has diverged, or braking and axle loads find no balance",
)
def braking_limits(
    braked_car: Callable[..., BrakedCar],
    brake_limit: Curve,
    mass: Array,
    rotating_mass_factor: Array,
    gravity: Array,
) -> BrakingLimits:
    """Limits on how the car slows at this speed: grip, the rear wheels lifting, resistance, brakes.

    At the limit of the tyres, wheels and motor slow down by the brakes, not by the tyres: their inertia does
    not count there, nor does rolling resistance, which is part of what the tyres hold.
    """
    met = balanced(CurveOf(_held, (braked_car, brake_limit, mass)), np.zeros(()), gravity)
    tyres, steady, car = met.root, BrakedCar(*met.at_first), BrakedCar(*met.at_root)
    resisting, more = (at.air_and_slope + at.rolling for at in (steady, car))
    inertia = mass * rotating_mass_factor - (more - resisting) / tyres
    unloading = (steady.rear_axle_load - car.rear_axle_load) / tyres
    return BrakingLimits(tyres, steady.rear_axle_load, unloading, resisting / inertia, 1 / inertia)


def _held(
    braked_car: Callable[..., BrakedCar], brake_limit: Curve, mass: Array, tried: Array
) -> tuple[Array, ...]:
    """Return how much more the tyres would slow the car than is tried, and the car."""
    car = braked_car(-tried)
    held = (brake_limit(car.front_axle_load, car.rear_axle_load) + car.air_and_slope) / mass
    return held - tried, *car


@quantity(
    "m/s2",
    source="the smallest of three limits: see braking_limits",
    fails="the pitch has diverged, or braking and axle loads find no balance",
)
def braking_deceleration(braking_limits: BrakingLimits, brake_push: Array) -> Array:
    """Deceleration at this speed with the brakes as hard on as tyres and rear wheels allow, positive."""
    return braking_limits.deceleration(brake_push)


@quantity("N", source="Newton's second law")
def braking_force(braking_deceleration: Array, mass: Array) -> Array:
    """All that slows the car at this speed with the brakes as hard on as tyres and rear wheels allow."""
    return mass * braking_deceleration


@quantity(
    "N",
    source="definition",
    varying={"rear_axle_load": "longitudinal_acceleration"},
    fails="the pitch has diverged, or braking and axle loads find no balance",
)
def rear_load_in_braking(rear_axle_load: Curve, braking_deceleration: Array) -> Array:
    """Load on both rear tyres together while the car brakes as hard as it can at this speed."""
    return rear_axle_load(-braking_deceleration)


def braking_line(braking_limits: Curve, brake_push: Curve, low: Array, high: Array) -> Slowing:
    """Tabulate the braking between two speeds, flap closed."""
    energy = np.maximum((high**2 - low**2) / 2, 1e-9)
    places = [(np.sqrt(low**2 + 2 * place * energy), 0.0) for place in FEW]
    known = looks(braking_limits, places, np.shape(energy))
    curves = [through(values) for values in zip(*known, strict=True)]

    def deceleration(speed: Array) -> Array:
        share = (speed**2 - low**2) / (2 * energy)
        return BrakingLimits(*(curve(share) for curve in curves)).deceleration(brake_push(speed))

    return slowing(deceleration, low, high)


@quantity("m", source="way at a held speed")
def reaction_distance(speed: Array, reaction_time: Array, radio_delay: Array) -> Array:
    """How far the car goes from seeing the need to stop until the brakes act, at held speed."""
    return speed * (reaction_time + radio_delay)


@quantity(
    "m",
    source="distance = integral of speed over deceleration: polynomials between a few speeds, Simpson's rule",
    varying={"braking_limits": ("speed", "flap_opening"), "brake_push": "speed"},
    fails="the brakes do not stop the car, or its pitch has diverged",
)
def braking_way(braking_limits: Curve, brake_push: Curve, speed: Array) -> Array:
    """Distance from this speed to a stop with the flap closed, from the moment the brakes act."""
    way: Array = braking_line(braking_limits, brake_push, np.zeros_like(speed), speed).distance[-1]
    return way


@quantity("m", source="sum", fails="the brakes do not stop the car, or its pitch has diverged")
def stopping_distance(reaction_distance: Array, braking_way: Array) -> Array:
    """Distance from this speed to a stop with the flap closed, reaction and radio included.

    For where people may stand it is the least a car under control needs, not what one out of control takes:
    see run_out_distance.
    """
    return reaction_distance + braking_way


@quantity("m", source="sum", fails="the brakes do not stop the car, or its pitch has diverged")
def fail_safe_stopping_distance(speed: Array, fail_safe_hold: Array, braking_way: Array) -> Array:
    """Distance from the loss of the signal to a stop, for a fail-safe that cuts the drive and brakes."""
    return speed * fail_safe_hold + braking_way
