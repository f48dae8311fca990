"""The car seen from the side as one rigid body on two axles: inertia, dampers, and how it swings without air.

Wheels have no mass of their own here: each is on the road, or hangs in the air.  A bump so short that a wheel
would hop on its tyre, or that the tyre would swallow, is outside the model.  The tyre is part of the rate of
its wheel, as in the steady model, and damped with it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask
from explorer.graph.quantity import given, quantity
from explorer.model.attitude.suspension import AxleSpring

pitch_gyration_share = given(
    "1",
    """Radius of gyration in pitch over the wheelbase.

    The default is a judgement: 0.5 would be all of the mass at the axles of a car balanced in the middle.
    """,
    default=0.45,
    above=0,
    usual="0.35 to 0.60, typically 0.45",
)
axle_damping_ratio = given(
    "1",
    "Damping of the {axle} over the critical one, the {axle} axle taken alone; the default is a judgement.",
    default=0.3,
    at_least=0,
    usual="0.1 to 0.8, typically 0.3",
    lever="0.05",
)

_TWO_MODES = "Gillespie, Fundamentals of Vehicle Dynamics, ch. 5: bounce and pitch of the undamped half-car"


@quantity("kg m2", source="definition: mass times the radius of gyration squared", usual="0.01 to 1.5 kg*m2")
def pitch_inertia(mass: Array, pitch_gyration_share: Array, wheelbase: Array) -> Array:
    """Moment of inertia of the car in pitch, about its centre of gravity.

    Give it directly when it was measured by swinging the car.
    """
    return mass * (pitch_gyration_share * wheelbase) ** 2


@quantity("N s/m", source="definition of the damping ratio of one mass on one spring")
def axle_damper_rate(
    axle_damping_ratio: Array, axle_wheel_rate: Array, axle_static_load: Array, gravity: Array
) -> Array:
    """Force per speed of one {axle} damper, at the wheel, the same in both directions.

    Give it directly when it was measured; at the damper, times the motion ratio squared.
    """
    return 2 * axle_damping_ratio * np.sqrt(axle_wheel_rate * axle_static_load / (2 * gravity))


@quantity("Hz", source=_TWO_MODES)
def lower_ride_frequency(
    front_axle_rate: Array,
    rear_axle_rate: Array,
    mass: Array,
    pitch_inertia: Array,
    cg_station: Array,
    wheelbase: Array,
) -> Array:
    """Frequency of the slower of the two ways the car swings on its springs, without air and dampers."""
    mean, reach = _squared_rates(front_axle_rate, rear_axle_rate, mass, pitch_inertia, cg_station, wheelbase)
    return np.sqrt(np.maximum(mean - reach, 0)) / (2 * np.pi)


@quantity("Hz", source=_TWO_MODES)
def higher_ride_frequency(
    front_axle_rate: Array,
    rear_axle_rate: Array,
    mass: Array,
    pitch_inertia: Array,
    cg_station: Array,
    wheelbase: Array,
) -> Array:
    """Frequency of the faster of the two ways the car swings on its springs, without air and dampers."""
    mean, reach = _squared_rates(front_axle_rate, rear_axle_rate, mass, pitch_inertia, cg_station, wheelbase)
    return np.sqrt(mean + reach) / (2 * np.pi)


def _squared_rates(
    front: Array, rear: Array, mass: Array, inertia: Array, cg_station: Array, wheelbase: Array
) -> tuple[Array, Array]:
    """Return the middle of the two squared circular frequencies and how far they are from it."""
    behind = wheelbase - cg_station
    heave = (front + rear) / mass
    turn = (front * cg_station**2 + rear * behind**2) / inertia
    coupling = (rear * behind - front * cg_station) ** 2 / (mass * inertia)
    return (heave + turn) / 2, np.sqrt((heave - turn) ** 2 / 4 + coupling)


def both_axles(front: Array, rear: Array) -> Array:
    """Stack a front and a rear value: axles first."""
    return np.stack(np.broadcast_arrays(front, rear))


class HalfCar(NamedTuple):
    """Both axles of the car, front first: every field has the shape (2, samples).

    Attributes
    ----------
    rate, damping:
        Load per travel and per speed of an axle, both wheels.
    at_rest:
        Load on the axle at rest.
    bump, droop, stop_rate:
        Travels from rest to the stops, infinite where there is none, and what both add to the rate.
    own, across:
        Acceleration of the body over an axle per force there, and per force at the other axle.
    """

    rate: Array
    damping: Array
    at_rest: Array
    bump: Array
    droop: Array
    stop_rate: Array
    own: Array
    across: Array

    def fastest(self) -> Array:
        """Return the highest circular frequency of springs and dampers, stops out of reach: (samples,)."""
        return np.maximum(np.sqrt(self._largest(self.rate)), self._largest(self.damping) / 2)

    def fastest_on_stops(self, more: Array | float = 0.0) -> Array:
        """Return the highest circular frequency with every stop touched, and more rate added: (samples,)."""
        return np.sqrt(self._largest(self.rate + self.stop_rate + more))

    def _largest(self, rate: Array) -> Array:
        """Return the larger eigenvalue of the mobility times a rate on each axle."""
        front, rear = self.own * rate
        coupling = self.across[0] * rate[0] * self.across[1] * rate[1]
        larger: Array = (front + rear) / 2 + np.sqrt((front - rear) ** 2 / 4 + coupling)
        return larger

    def acceleration(self, force: Array) -> Array:
        """Return the downward acceleration of the body over both axles under a force over each."""
        return self.own * force + self.across * force[::-1]

    def past_stops(self, travel: Array, *, droop: bool = True) -> Array:
        """Return how far a travel lies past the stops, 0 between them; those in droop may be left out."""
        past: Array = np.maximum(travel - self.bump, 0)
        if droop:
            past += np.minimum(travel + self.droop, 0)
        return past

    def stops_between(self, travel: Array, other: Array) -> Mask:
        """Tell where a stop is touched at one of two travels only."""
        between: Mask = (travel > self.bump) != (other > self.bump)
        between |= (travel < -self.droop) != (other < -self.droop)
        return between

    def load(self, travel: Array, speed: Array, *, stops: bool = True, droop: bool = True) -> Array:
        """Return the load on both axles over that at rest, as if the ground could pull."""
        load = self.rate * travel
        load += self.damping * speed
        if stops:
            load += self.stop_rate * self.past_stops(travel, droop=droop)
        return load

    def loose(self) -> LooseWheel:
        """Return how a wheel behaves that has left the road: spring and damper alone move it."""
        relaxed = -self.at_rest / self.rate
        stopped = -(self.at_rest + self.stop_rate * self.droop) / (self.rate + self.stop_rate)
        # A wheel without a damper is down at once, all but.
        return LooseWheel(relaxed, np.maximum(relaxed, stopped), self.rate / np.maximum(self.damping, 1e-9))


class LooseWheel(NamedTuple):
    """A wheel off the road: travels at which its spring is relaxed and at which it ends up, rate of decay."""

    relaxed: Array
    held: Array
    decay_rate: Array

    def hung(self, travel: Array, time: Array) -> Array:
        """Return how far a wheel that left the road at a travel still hangs from there after a time."""
        decay = np.exp(-self.decay_rate * time)
        return np.maximum(self.held, self.relaxed + (travel - self.relaxed) * decay)

    def speed(self, travel: Array) -> Array:
        """Return how fast a wheel goes down that hangs at a travel."""
        return (travel - self.relaxed) * self.decay_rate * (travel > self.held)


@quantity("1", source="Newton's and Euler's laws of one rigid body, seen at its two axles")
def half_car(
    mass: Array,
    pitch_inertia: Array,
    cg_station: Array,
    wheelbase: Array,
    front_axle_spring: AxleSpring,
    rear_axle_spring: AxleSpring,
    front_damper_rate: Array,
    rear_damper_rate: Array,
    front_static_load: Array,
    rear_static_load: Array,
) -> HalfCar:
    """Springs, dampers, stops and inertia of both axles, together, as the motion in time needs them."""

    def reach(travel: Array) -> Array:
        # The defaults of the travels mean that there is no stop.
        return np.where(travel >= 1, np.inf, travel)

    behind = wheelbase - cg_station
    across = 1 / mass - cg_station * behind / pitch_inertia
    front, rear = front_axle_spring, rear_axle_spring
    pairs = (
        (front.rate, rear.rate),
        (2 * front_damper_rate, 2 * rear_damper_rate),
        (front_static_load, rear_static_load),
        (reach(front.bump), reach(rear.bump)),
        (reach(front.droop), reach(rear.droop)),
        (2 * front.wheel_stop_rate, 2 * rear.wheel_stop_rate),
        (1 / mass + cg_station**2 / pitch_inertia, 1 / mass + behind**2 / pitch_inertia),
        (across, across),
    )
    return HalfCar(*(both_axles(*pair) for pair in pairs))
