"""The brakes a car has: friction brakes of a known force, the motor as a brake, or both at once.

Both are put on in proportion, and no harder than the first axle to lock allows.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity
from explorer.model.drive.traction import traction_limit

friction_brake_force = given(
    "N",
    "Push at the tyres of all friction brakes together, full on; 0 for a car that has none.",
    at_least=0,
    usual="0 to 200 N",
    lever="2 N",
)
brake_balance_front = given(
    "1",
    "Share of the friction brakes' push on the front axle: 0 for brakes at the rear alone.",
    at_least=0,
    at_most=1,
    usual="0 to 1",
    lever="0.05",
)


@quantity("N", source="sum")
def brake_push(friction_brake_force: Array, motor_brake_force: Array) -> Array:
    """Push at the tyres that friction brakes and motor can give at this speed, if the tyres gripped."""
    return friction_brake_force + motor_brake_force


@quantity("1", source="mean of where each brake pushes, weighted by its push")
def rear_brake_share(
    friction_brake_force: Array,
    brake_balance_front: Array,
    motor_brake_force: Array,
    driven_rear_share: Array,
) -> Array:
    """Share of the braking push on the rear axle: the motor brakes the wheels it drives."""
    rear = friction_brake_force * (1 - brake_balance_front) + motor_brake_force * driven_rear_share
    together = friction_brake_force + motor_brake_force
    # Without any brakes the share decides nothing.
    return np.where(together > 0, rear / np.maximum(together, 1e-9), 1.0)


@quantity("N", source="Coulomb friction on each braked axle; the first axle to lock sets the limit")
def brake_limit(
    braking_friction: Array,
    tyre_load_sensitivity: Array,
    rear_brake_share: Array,
    front_axle_load: Array,
    rear_axle_load: Array,
    front_static_load: Array,
    rear_static_load: Array,
) -> Array:
    """Largest braking push the tyres can hold at this speed without locking an axle."""
    return traction_limit(
        braking_friction,
        tyre_load_sensitivity,
        rear_brake_share,
        front_axle_load,
        rear_axle_load,
        front_static_load,
        rear_static_load,
    )
