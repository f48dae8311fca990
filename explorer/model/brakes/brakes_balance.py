"""Brakes with a fixed balance between the axles: the first one to lock sets the limit."""

from __future__ import annotations

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity
from explorer.model.drive.traction import traction_limit

brake_balance_front = given(
    "1",
    "Share of the braking push on the front axle: 0 for a car that brakes with its rear motor alone.",
    at_least=0,
    at_most=1,
    usual="0 to 1",
    lever="0.05",
)


@quantity("N", source="Coulomb friction on each braked axle; the first axle to lock sets the limit")
def brake_limit(
    braking_friction: Array,
    tyre_load_sensitivity: Array,
    brake_balance_front: Array,
    front_axle_load: Array,
    rear_axle_load: Array,
    front_static_load: Array,
    rear_static_load: Array,
) -> Array:
    """Largest braking push the tyres can hold at this speed without locking an axle."""
    return traction_limit(
        braking_friction,
        tyre_load_sensitivity,
        1 - brake_balance_front,
        front_axle_load,
        rear_axle_load,
        front_static_load,
        rear_static_load,
    )
