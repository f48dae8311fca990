"""The front wheels bound the drive: a car that lifts them gains no more, it goes over backwards.

The driver is taken to let off just so far that the front wheels stay on the ground, as a good one would;
``wheel_lift_speed`` says up to which speed that is needed.  Loads and lift-off are judged without this bound.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, quantity
from explorer.model.brakes.run_out import coasting_deceleration
from explorer.model.drive.full_throttle_loads import WALKING_PACE, FullThrottle
from explorer.model.numeric import CurveOf, first_fall, narrowed

#: Steps in which the speeds below are looked at for front wheels that lift.
STEPS = 12


@quantity(
    "m/s2",
    source="Newton's second law; without air the front lifts at g l_r/h: moments about the rear contact "
    "patches (Gillespie, Fundamentals of Vehicle Dynamics, ch. 1)",
    varying=dict.fromkeys(("front_axle_load", "resistance_force"), "longitudinal_acceleration"),
    fails="the pitch has diverged, or acceleration and axle loads find no balance",
)
def acceleration(
    front_axle_load: Curve,
    pushed_acceleration: Array,
    resistance_force: Curve,
    mass: Array,
    rotating_mass_factor: Array,
) -> Array:
    """Acceleration at this speed, as much throttle as the front wheels stay down with.

    Negative where the car cannot hold the speed; that of rolling free where they are up even then.
    """
    load = front_axle_load(pushed_acceleration)
    lifts = load < 0
    if not np.any(lifts):
        return pushed_acceleration
    coasting = coasting_deceleration(resistance_force, mass, rotating_mass_factor)
    pushed, rolling = np.broadcast_arrays(pushed_acceleration, -coasting)
    held = front_axle_load(rolling)
    upper = np.where(lifts & (held <= 0), rolling, pushed)
    lower = np.where(lifts, rolling, pushed)
    return narrowed(front_axle_load, lower, held, upper, load, 1e-10)[0]


@quantity(
    "m/s",
    source="highest root of the front load at full throttle up to the speed",
    varying={"full_throttle": "speed"},
)
def wheel_lift_speed(full_throttle: Callable[..., FullThrottle], speed: Array) -> Array:
    """Highest speed on the way to this one at which full throttle lifts the front wheels; 0 for none.

    Looked for downwards in equal steps: a dip below zero and back within one step is not seen.
    """
    pace = np.minimum(WALKING_PACE, speed)
    fall = first_fall(CurveOf(_load_below, (full_throttle, speed)), 0.0, speed - pace, steps=STEPS)
    return np.where(fall.started & ~fall.found, 0.0, speed - fall.position)


def _load_below(full_throttle: Callable[..., FullThrottle], speed: Array, below: Array | float) -> Array:
    """Return the front load at full throttle so much below a speed."""
    found = full_throttle(speed - below).front_load
    # A car without an attitude has no load: the quantities that need one say so.
    return np.where(np.isnan(found), 1.0, found)


@quantity("1", source="definition")
def wheel_lift_bounds_drive(wheel_lift_speed: Array) -> Array:
    """1 where the driver has to let off on the way to this speed to keep the front down, else 0.

    Its mean says how often.
    """
    return np.where(wheel_lift_speed > 0, 1.0, 0.0)
