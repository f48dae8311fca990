"""Front load of the car that is gaining speed: full throttle takes load off the front axle.

The verdict of a car that holds its speed is not that of the car on its way there.  Everything here is at full
throttle, the acceleration balanced with the axle loads that it brings; the condition's own acceleration does
not matter.  The push is not cut where the front lifts, so a load below zero says by how much it lifts.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask
from explorer.graph.quantity import Curve, Part, quantity
from explorer.model.numeric import first_fall

#: Speed at which a run begins [m/s]; places looked at first; times the grid is made finer, and by how much.
WALKING_PACE, PLACES, ROUNDS, FINER = 1.0, 24, 3, 4

_FAILS = "the pitch has diverged, or acceleration and axle loads find no balance"


class DrivenCar(NamedTuple):
    """What acceleration changes of a car at full throttle: push left over, and load on the front tyres."""

    excess_force: Array
    front_axle_load: Array


@quantity("N", source="definition")
def driven_car(excess_force: Array, front_axle_load: Array) -> DrivenCar:
    """Push left over and front load at this speed, together, since both follow from one pitch."""
    return DrivenCar(excess_force, front_axle_load)


class FullThrottle(NamedTuple):
    """Acceleration and front load that go with each other at full throttle."""

    pushed_acceleration: Annotated[
        Array,
        Part("m/s2", "Acceleration at this speed at full throttle, even past the one that lifts the front."),
    ]
    full_throttle_front_load: Annotated[
        Array,
        Part(
            "N",
            "Vertical load on the front tyres at full throttle at this speed; negative means that they have "
            "lifted.",
        ),
    ]


@quantity(
    "1",
    source="Newton's second law, the load it moves between the axles included; secant method",
    varying={"driven_car": "longitudinal_acceleration"},
    fails=_FAILS,
)
def full_throttle(
    driven_car: Callable[..., DrivenCar], mass: Array, rotating_mass_factor: Array
) -> FullThrottle:
    """Acceleration and front load at full throttle at this speed, solved together.

    Accelerating moves load to the rear, which lets rear tyres push harder: both are balanced.
    """
    inertia = mass * rotating_mass_factor
    car = driven_car(0.0)
    tried = surplus_before = car.excess_force / inertia
    before = np.zeros_like(tried)
    found: Mask = np.zeros(np.shape(tried), dtype=bool)
    load = np.full(np.shape(tried), np.nan)
    # A straight line, which loads and grip are between stops, is met at once: more than a few rounds tell
    # of cars that have no balance.
    for _ in range(50):
        car = driven_car(tried)
        surplus = car.excess_force / inertia - tried
        run = np.where(surplus == surplus_before, 1.0, surplus - surplus_before)
        step = np.where(surplus == 0, 0.0, -surplus * (tried - before) / run)
        now = ~found & (np.abs(step) <= 1e-10 * (1 + np.abs(tried)))
        load, found = np.where(now, car.front_axle_load, load), found | now
        step = np.where(found, 0.0, step)
        if np.all(found | np.isnan(step)):
            break
        before, surplus_before, tried = tried, surplus, tried + step
    return FullThrottle(np.where(found, tried, np.nan), load)


@quantity(
    "m/s",
    source="root of full_throttle_front_load over speed",
    varying={"full_throttle_front_load": "speed"},
    capped_by="speed_cap",
)
def full_throttle_lift_off_speed(full_throttle_front_load: Curve, speed_cap: Array) -> Array:
    """Lowest speed at which the front axle carries nothing at full throttle.

    Walking pace for a car that lifts its front wheels on moving off.  Looked for in sixteen equal steps and
    then closed in on: a dip below zero and back within one step is not seen.
    """
    return first_fall(full_throttle_front_load, WALKING_PACE, speed_cap, steps=16).position


class LeastFrontLoad(NamedTuple):
    """Where a run at full throttle takes most off the front axle."""

    lowest_front_load: Annotated[
        Array, Part("N", "Least load on the front tyres from walking pace to this speed at full throttle.")
    ]
    lowest_front_load_speed: Annotated[
        Array, Part("m/s", "Speed at which a run at full throttle takes most off the front axle.")
    ]


@quantity(
    "1",
    source="least value of full_throttle_front_load over speed, on a grid made finer around it",
    varying={"full_throttle_front_load": "speed"},
    fails=_FAILS,
)
def least_front_load(full_throttle_front_load: Curve, speed: Array) -> LeastFrontLoad:
    """Least front load of a run at full throttle up to this speed, and where it happens."""
    pace = np.minimum(WALKING_PACE, speed)
    step = (speed - pace) / PLACES
    least = _least_of(full_throttle_front_load, [pace + step * place for place in range(PLACES + 1)])
    for finer in FINER ** np.arange(1.0, ROUNDS + 1):
        aside = [step * place / finer for place in range(1 - FINER, FINER) if place]
        middle = least.lowest_front_load_speed
        least = _least_of(
            full_throttle_front_load, [np.clip(middle + by, pace, speed) for by in aside], least
        )
    return least


def _least_of(load_at: Curve, speeds: list[Array], least: LeastFrontLoad | None = None) -> LeastFrontLoad:
    for place in speeds:
        load = load_at(place)
        if least is None:
            least = LeastFrontLoad(load, np.broadcast_to(place, np.shape(load)))
        # A load that is missing stays missing: what comes after it is not reached.
        lower = (load < least.lowest_front_load) | (np.isnan(load) & ~np.isnan(least.lowest_front_load))
        least = LeastFrontLoad(
            np.where(lower, load, least.lowest_front_load),
            np.where(lower, place, least.lowest_front_load_speed),
        )
    assert least is not None  # there is a place at least
    return least
