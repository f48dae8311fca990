"""Brakes that bring both axles to the limit of their grip at once: the best that can be done with them."""

from __future__ import annotations

import numpy as np

from explorer.graph.quantity import Array, quantity


@quantity("N", source="Coulomb friction on both axles, each braked in proportion to its load")
def brake_limit(braking_friction: Array, front_axle_load: Array, rear_axle_load: Array) -> Array:
    """Largest braking push the tyres can hold at this speed, each axle braked as hard as its load allows."""
    return braking_friction * np.maximum(front_axle_load + rear_axle_load, 0)
