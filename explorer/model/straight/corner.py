"""The corner: the speed at which its radius uses up what the tyres can hold, flap closed.

Both axles together follow the corner without turning faster or slower than it: each carries sideways its
share of the mass, so the first axle to run out of load sets the speed.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, given, quantity
from explorer.model.drive.traction import grip
from explorer.model.numeric import CurveOf, first_fall

corner_radius = given(
    "m", "Radius of the line through the corner at the end of the straight.", above=0, usual="2 to 150 m"
)


@quantity("1", source="definition")
def cornering_friction(tyre_friction: Array) -> Array:
    """Friction coefficient of the tyres sideways: that of the driven tyres unless it is given."""
    return tyre_friction


@quantity(
    "m/s2",
    source="Coulomb friction on each axle in steady cornering: "
    "Gillespie, Fundamentals of Vehicle Dynamics, ch. 6",
    fails="the pitch has diverged",
)
def cornering_limit(
    cornering_friction: Array,
    tyre_load_sensitivity: Array,
    gravity: Array,
    front_axle_load: Array,
    rear_axle_load: Array,
    front_static_load: Array,
    rear_static_load: Array,
) -> Array:
    """Largest acceleration sideways at this speed before the first axle slides; none once an axle has lifted.

    What the drive takes from the grip, and the load moved from the inner to the outer wheels, are left out.
    """
    kept = np.minimum(front_axle_load / front_static_load, rear_axle_load / rear_static_load)
    return grip(cornering_friction * gravity, np.maximum(kept, 0), np.ones(()), tyre_load_sensitivity)


@quantity(
    "m/s",
    source="speed squared over radius = acceleration the tyres hold at that speed",
    varying={"cornering_limit": ("speed", "flap_opening", "longitudinal_acceleration")},
    capped_by="speed_cap",
    fails="the pitch diverges before the tyres slide",
)
def corner_speed(cornering_limit: Curve, corner_radius: Array, speed_cap: Array) -> Array:
    """Speed through the corner at the end of the straight, flap closed and held; or give it as driven.

    With much downforce there may be none: then grip grows faster than the corner asks for it.
    """
    spare = CurveOf(_spare, (cornering_limit, corner_radius))
    fall = first_fall(spare, 0.5, speed_cap, steps=8)
    return np.where(fall.started & ~fall.broken, fall.position, np.nan)


def _spare(cornering_limit: Curve, radius: Array, speed: Array) -> Array:
    """Return what the tyres hold at a speed more than the corner asks for, flap closed."""
    return cornering_limit(speed, 0.0, 0.0) - speed**2 / radius
