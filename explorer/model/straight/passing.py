"""Can it pass?  Against a car alike that starts the straight at the same moment and speed, a gap ahead.

The car ahead keeps its flap closed and runs in undisturbed air; this car uses its flap, in the wake the
condition gives, taken as the same all along the straight.  The pass is made when this car, at its own braking
point, has made up the gap and a car's length: it is alongside, nose level with nose.  A car ahead that can be
caught like that is slower, and brakes later still.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from explorer.graph.quantity import Array, given, quantity
from explorer.model.straight.run import Run
from explorer.model.straight.straight import BrakingPoint

gap_to_car_ahead = given(
    "m",
    "Room between the nose of this car and the tail of the car ahead, at the start of the straight.",
    at_least=0,
)
car_length = given("m", "Length of the car, nose to tail.", above=0)

_FAILS = "the straight is too short to brake in, a car does not reach its end, or its pitch diverges on it"


@quantity("1", source="definition")
def run_in_the_wake(run_without_flap: Run) -> Run:
    """Time, distance and speed of this car along the straight with the flap never used, braking left out."""
    return run_without_flap


@quantity(
    "m",
    source="difference of both distances at the same time",
    varying={"run_without_flap": ("wake_loss_front", "wake_loss_rear")},
    fails=_FAILS,
)
def pass_metres_gained(
    run_without_flap: Callable[..., Run],
    run_in_the_wake: Run,
    braking_with_flap: BrakingPoint,
    wake_loss_front: Array,
    wake_loss_rear: Array,
) -> Array:
    """Metres this car gains up to its braking point on the car ahead."""
    # Without a wake the car ahead runs as this one would with its flap shut: that run is there already.
    waked = np.any(wake_loss_front) or np.any(wake_loss_rear)
    ahead = run_without_flap(0.0, 0.0) if waked else run_in_the_wake
    return braking_with_flap.distance - ahead.distance_at(braking_with_flap.time)


@quantity("m", source="definition", fails=_FAILS)
def pass_margin(pass_metres_gained: Array, gap_to_car_ahead: Array, car_length: Array) -> Array:
    """Metres this car is ahead of level when it has to brake; negative: so many metres are lacking.

    A limit of at least 0 on it gives the probability that the pass is made before braking.
    """
    return pass_metres_gained - (gap_to_car_ahead + car_length)
