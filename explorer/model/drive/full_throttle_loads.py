"""Front load of the car as its condition drives it: full throttle takes load off the front axle.

The verdict of a car that holds its speed is not that of the car on its way there.  At full throttle and in
coasting the acceleration is balanced with the axle loads that it brings.  The push is not cut where the front
lifts, so a load below zero says by how much it lifts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Annotated, NamedTuple

import numpy as np

from explorer.graph.arrays import Array, picked
from explorer.graph.quantity import Curve, Part, quantity
from explorer.model.numeric import CurveOf, at_row, balanced, looks, pays

#: Speed at which a run begins [m/s]; places looked at first; times the grid is made finer, and by how much.
WALKING_PACE, PLACES, ROUNDS, FINER = 1.0, 24, 3, 4


class DrivenCar(NamedTuple):
    """What acceleration changes of a car at full throttle: push left over, and load on the front tyres."""

    excess_force: Array
    front_axle_load: Array


@quantity("N", source="definition")
def driven_car(excess_force: Array, front_axle_load: Array) -> DrivenCar:
    """Push left over and front load at this speed, together, since both follow from one pitch."""
    return DrivenCar(excess_force, front_axle_load)


class FullThrottle(NamedTuple):
    """Acceleration at full throttle, and the front load that goes with it."""

    pushed_acceleration: Annotated[
        Array,
        Part("m/s2", "Acceleration at this speed at full throttle, even past the one that lifts the front."),
    ]
    front_load: Array


@quantity(
    "1",
    source="Newton's second law, the load it moves between the axles included; secant method",
    varying={"driven_car": "longitudinal_acceleration"},
    fails="the pitch has diverged, or acceleration and axle loads find no balance",
)
def full_throttle(
    driven_car: Callable[..., DrivenCar], mass: Array, rotating_mass_factor: Array
) -> FullThrottle:
    """Acceleration and front load at full throttle at this speed, solved together.

    Accelerating moves load to the rear, which lets rear tyres push harder: both are balanced.
    """
    # A straight line, which loads and grip are between stops, is met at once: more than a few rounds tell
    # of cars that have no balance.
    met = balanced(CurveOf(_surplus, (driven_car, mass * rotating_mass_factor)), np.zeros(()))
    return FullThrottle(met.root, *met.at_root)


def _surplus(driven_car: Callable[..., DrivenCar], inertia: Array, tried: Array) -> tuple[Array, Array]:
    """Return how much more the car would accelerate than is tried, and its front load."""
    car = driven_car(tried)
    return car.excess_force / inertia - tried, car.front_axle_load


@quantity("m/s2", source="definition", default=0.0)
def longitudinal_acceleration(pushed_acceleration: Array) -> Array:
    """Acceleration along the track for the axle loads; negative when the car slows down.

    A condition says it by its throttle: none at a held speed, which is meant where nothing is said; what the
    push leaves at full throttle; what drag and rolling resistance take in coasting.  Or give it, for braking.
    """
    return pushed_acceleration


class LeastFrontLoad(NamedTuple):
    """Where a run takes most off the front axle."""

    lowest_front_load: Annotated[
        Array, Part("N", "Least load on the front tyres of a run from walking pace to this speed, or back.")
    ]
    lowest_front_load_speed: Annotated[
        Array, Part("m/s", "Speed at which a run up to this speed, or back, takes most off the front axle.")
    ]


@quantity(
    "1",
    source="least value of front_axle_load over speed, on a grid made finer around it",
    varying={"front_axle_load": "speed"},
    fails="the pitch has diverged",
)
def least_front_load(front_axle_load: Curve, speed: Array) -> LeastFrontLoad:
    """Least front load of a run up to this speed, and where it happens.

    Where grip gives way to power the load turns in a kink: the grid is made finer around the lowest place
    looked at, and around the dip before the end that is likely the deepest.
    """
    pace = np.minimum(WALKING_PACE, speed)
    step = (speed - pace) / PLACES
    speeds = [pace + step * place for place in range(PLACES + 1)]
    first = front_axle_load(pace)
    shape = np.broadcast_shapes(np.shape(first), np.shape(speed))
    found = [first, *looks(front_axle_load, [(place,) for place in speeds[1:]], shape)]
    loads = np.stack(np.broadcast_arrays(*found))
    # A load that is missing stays missing: what comes after it is not reached.
    lowest, dip = (
        np.argmin(np.where(np.isnan(loads), -np.inf, one), axis=0) for one in (loads, _dips(loads))
    )
    near, deep = (LeastFrontLoad(at_row(loads, row), pace + step * row) for row in (lowest, dip))
    curve = CurveOf(_made_finer, (front_axle_load, pace, speed, step))
    least: LeastFrontLoad = curve(*near)
    # No dip at all stands as one at the start.
    apart = (dip != lowest) & (dip > 0)
    if not np.any(apart):
        return least
    if pays(curve, apart):
        other = LeastFrontLoad(*(values.copy() for values in np.broadcast_arrays(*least)))
        for values, some in zip(other, picked(curve, apart)(*picked(deep, apart)), strict=True):
            values[apart] = some
    else:
        other = curve(*deep)
    return _least_of(*zip(least, other, strict=True))


def _made_finer(
    front_axle_load: Curve, pace: Array, speed: Array, step: Array, load: Array, place: Array
) -> LeastFrontLoad:
    """Look around a place with ever smaller steps."""
    near = LeastFrontLoad(load, place)
    for finer in FINER ** np.arange(1.0, ROUNDS + 1):
        aside = [step * by / finer for by in range(1 - FINER, FINER) if by]
        tried = [np.clip(near.lowest_front_load_speed + by, pace, speed) for by in aside]
        found = looks(front_axle_load, [(one,) for one in tried], np.shape(load))
        near = _least_of([near[0], *found], [near[1], *tried])
    return near


def _dips(loads: Array) -> Array:
    """Return how deep the load dips around each place: to where the lines beside it meet; else infinite."""
    before, here, after = loads[1:-3], loads[2:-2], loads[3:-1]
    falling, rising = before - loads[:-4], loads[4:] - after
    with np.errstate(divide="ignore", invalid="ignore"):
        across = (after - before - rising - falling) / (falling - rising)
    meet = (falling < 0) & (rising > 0) & (np.abs(across) <= 1)
    depth = np.where(meet, np.minimum(before + falling * (across + 1), here), here)
    dips = np.full_like(loads, np.inf)
    dips[2:-2] = np.where((here <= before) & (here <= after), depth, np.inf)
    return dips


def _least_of(loads: Array | Sequence[Array], speeds: Sequence[Array]) -> LeastFrontLoad:
    """Return the lowest; a load that is missing stays missing: what comes after it is not reached."""
    least = LeastFrontLoad(loads[0], np.broadcast_to(speeds[0], np.shape(loads[0])))
    for load, place in zip(loads[1:], speeds[1:], strict=True):
        lower = (load < least.lowest_front_load) | (np.isnan(load) & ~np.isnan(least.lowest_front_load))
        least = LeastFrontLoad(
            np.where(lower, load, least.lowest_front_load),
            np.where(lower, place, least.lowest_front_load_speed),
        )
    return least
