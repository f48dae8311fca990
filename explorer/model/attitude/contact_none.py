"""A road that carries nothing but tyres: named points sink through it, and only their clearance is told."""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import quantity
from explorer.model.attitude.supports import Support


@quantity("1", source="definition")
def points_at_rest() -> tuple[Support, ...]:
    """Points that the road carries on tyres as at rest: none."""
    return ()


@quantity("1", source="definition")
def points_under_car() -> tuple[Support, ...]:
    """Points that the road carries: none."""
    return ()


@quantity("N", source="definition")
def scraping_force() -> Array:
    """Force that holds the car back where its body scrapes on the road: none."""
    return np.zeros(())
