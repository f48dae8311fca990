"""Brakes whose force nobody has described: the tyres set the only limit."""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import quantity


@quantity("N", source="judgement: no brake is like that; say which the car has by brakes under [models]")
def brake_push() -> Array:
    """Push at the tyres that the brakes can give: more than any tyre holds."""
    return np.full((), 1e9)
