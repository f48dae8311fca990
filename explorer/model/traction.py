"""What the driven tyres can hold, and the push that is left of the drive's."""

from __future__ import annotations

import numpy as np

from explorer.quantity import Array, given, quantity

tyre_friction = given("1", "Friction coefficient of the driven tyres on the track.", default=1.0, above=0)
driven_rear_share = given(
    "1",
    "Share of the push that goes to the rear axle: 1 rear drive, 0 front drive.",
    default=1.0,
    at_least=0,
    at_most=1,
)


@quantity("N", source="Coulomb friction on each driven axle; the first axle to slip sets the limit")
def traction_limit(
    tyre_friction: Array, driven_rear_share: Array, front_axle_load: Array, rear_axle_load: Array
) -> Array:
    """Largest push the driven tyres can hold at this speed.

    A lifted axle carries nothing, and the other one carries the rest.
    """
    front = np.maximum(front_axle_load + np.minimum(rear_axle_load, 0), 0)
    rear = np.maximum(rear_axle_load + np.minimum(front_axle_load, 0), 0)
    tiny = 1e-12
    return tyre_friction * np.minimum(
        rear / np.maximum(driven_rear_share, tiny), front / np.maximum(1 - driven_rear_share, tiny)
    )


@quantity("N", source="definition")
def driving_force(wheel_force: Array, traction_limit: Array) -> Array:
    """Push at the tyres at full throttle at this speed."""
    return np.minimum(wheel_force, traction_limit)


@quantity("1", source="definition")
def traction_binds(wheel_force: Array, traction_limit: Array) -> Array:
    """1 where grip is what limits the push at this speed, else 0."""
    return np.where(traction_limit < wheel_force, 1.0, 0.0) + 0 * traction_limit
