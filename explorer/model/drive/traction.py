"""What the driven tyres can hold, and the push that is left of the drive's."""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array, anywhere, everywhere
from explorer.graph.quantity import given, quantity

tyre_friction = given(
    "1",
    "Friction coefficient of the driven tyres on the track, at the load they carry at rest.",
    above=0,
    usual="0.6 to 1.8, typically 1.0",
)
tyre_load_sensitivity = given(
    "1",
    """How the friction coefficient falls with load: it goes with the load to the power of minus this.

    With 0.1, twice the load at rest leaves 93 % of the coefficient.
    """,
    default=0.0,
    at_least=0,
    at_most=0.5,
    usual="0 to 0.2, typically 0.08",
)
driven_rear_share = given(
    "1",
    "Share of the push that goes to the rear axle: 1 rear drive, 0 front drive.",
    default=1.0,
    at_least=0,
    at_most=1,
)


def carried(load: Array, other: Array) -> Array:
    """Return what an axle carries beside the other: a lifted one carries nothing, the other one the rest."""
    return np.maximum(load + np.minimum(other, 0), 0)


def grip(friction: Array, load: Array, load_at_rest: Array, load_sensitivity: Array) -> Array:
    """Return the push that the tyres of an axle hold at a load."""
    held = friction * load
    if not anywhere(load_sensitivity):
        return held
    return held * np.maximum(load / load_at_rest, 1e-9) ** -load_sensitivity


@quantity(
    "N",
    source="Coulomb friction on each driven axle, the first axle to slip sets the limit; "
    "fall of the coefficient with load: Milliken & Milliken, Race Car Vehicle Dynamics, ch. 2 (trend only)",
)
def traction_limit(
    tyre_friction: Array,
    tyre_load_sensitivity: Array,
    driven_rear_share: Array,
    front_axle_load: Array,
    rear_axle_load: Array,
    front_static_load: Array,
    rear_static_load: Array,
) -> Array:
    """Largest push the driven tyres can hold at this speed.

    A lifted axle carries nothing, and the other one carries the rest.
    """
    rear = carried(rear_axle_load, front_axle_load)
    rear_grip = grip(tyre_friction, rear, rear_static_load, tyre_load_sensitivity)
    if everywhere(driven_rear_share == 1):
        return rear_grip
    front = carried(front_axle_load, rear_axle_load)
    front_grip = grip(tyre_friction, front, front_static_load, tyre_load_sensitivity)
    return np.minimum(
        np.where(driven_rear_share > 0, rear_grip / driven_rear_share, np.inf),
        np.where(driven_rear_share < 1, front_grip / (1 - driven_rear_share), np.inf),
    )


@quantity("N", source="definition")
def driving_force(wheel_force: Array, traction_limit: Array) -> Array:
    """Push at the tyres at full throttle at this speed."""
    return np.minimum(wheel_force, traction_limit)


@quantity("1", source="definition")
def traction_binds(wheel_force: Array, traction_limit: Array) -> Array:
    """1 where grip is what limits the push at this speed, else 0."""
    return np.where(np.isnan(traction_limit), np.nan, traction_limit < wheel_force)
