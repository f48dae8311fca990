"""Brakes that bring both axles to the limit of their grip at once: the best that can be done with them."""

from __future__ import annotations

from explorer.graph.arrays import Array
from explorer.graph.quantity import quantity
from explorer.model.drive.traction import carried, grip


@quantity("N", source="Coulomb friction on both axles, each braked as hard as its load allows")
def brake_limit(
    braking_friction: Array,
    tyre_load_sensitivity: Array,
    front_axle_load: Array,
    rear_axle_load: Array,
    front_static_load: Array,
    rear_static_load: Array,
) -> Array:
    """Largest braking push the tyres can hold at this speed, each axle braked as hard as its load allows."""
    front, rear = carried(front_axle_load, rear_axle_load), carried(rear_axle_load, front_axle_load)
    return grip(braking_friction, front, front_static_load, tyre_load_sensitivity) + grip(
        braking_friction, rear, rear_static_load, tyre_load_sensitivity
    )
