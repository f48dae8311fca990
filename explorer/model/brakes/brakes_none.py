"""A car without brakes: air, tyres and slope alone slow it down."""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import quantity


@quantity("N", source="definition")
def brake_push() -> Array:
    """Push at the tyres that the brakes can give: none."""
    return np.zeros(())
