"""What the driven tyres can hold, and the push that is left of the drive's."""

from __future__ import annotations

import numpy as np

from explorer.graph.quantity import Array, given, quantity

tyre_friction = given(
    "1",
    """Friction coefficient of the driven tyres on the track.

    The default is out of reach: grip limits nothing until a friction coefficient is given.
    """,
    default=100.0,
    above=0,
)
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
    rear = np.maximum(rear_axle_load + np.minimum(front_axle_load, 0), 0)
    if np.all(driven_rear_share == 1):
        return tyre_friction * rear
    front = np.maximum(front_axle_load + np.minimum(rear_axle_load, 0), 0)
    return tyre_friction * np.minimum(
        np.where(driven_rear_share > 0, rear / driven_rear_share, np.inf),
        np.where(driven_rear_share < 1, front / (1 - driven_rear_share), np.inf),
    )


@quantity("N", source="definition")
def driving_force(wheel_force: Array, traction_limit: Array) -> Array:
    """Push at the tyres at full throttle at this speed."""
    return np.minimum(wheel_force, traction_limit)


@quantity("1", source="definition")
def traction_binds(wheel_force: Array, traction_limit: Array) -> Array:
    """1 where grip is what limits the push at this speed, else 0."""
    return np.where(np.isnan(traction_limit), np.nan, traction_limit < wheel_force)
