"""Named points that come down to the road carry load there and scrape; wear and heat are not modelled.

A point is a stiff spring that pushes one way only, solved like the stops of the suspension.  What scrapes
holds the car back with a force along the road, at the height of the tyres' contact patches: it has no lever
about them, so that it costs speed but does not turn the car.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, given, quantity
from explorer.model.attitude.supports import Support

contact_stiffness = given(
    "N/m",
    """Load per travel with which the road pushes back where the body stands on it.

    The default, 10 N for a tenth of a millimetre, is a judgement for a thin plate that sticks out.
    """,
    default=1e5,
    above=0,
    usual="10 to 1000 N/mm, typically 100",
)
contact_friction = given(
    "1",
    """Friction coefficient of what scrapes on the road; plastic and carbon plates on asphalt.

    It decides what scraping costs, so that it has no default.
    """,
    at_least=0,
    usual="0.15 to 0.7, typically 0.35",
)
points_carry = given(
    "1",
    "1: points carry load; 0: they sink into the road.  For limits judged on the wheels alone.",
    default=1.0,
    at_least=0,
    at_most=1,
)


@quantity("1", source="spring that pushes one way only")
def points_at_rest(
    point_station: Array,
    point_clearance_at_rest: Array,
    wheelbase: Array,
    contact_stiffness: Array,
    points_carry: Array,
) -> tuple[Support, ...]:
    """Named points of the car as supports on tyres as at rest, together; none where they carry nothing."""
    if not np.any(points_carry):
        return ()
    return tuple(
        # A point that is on the road at rest carries nothing there: the springs were set so.
        Support(station / wheelbase, 1.0, np.maximum(clearance, 0), contact_stiffness * points_carry)
        for station, clearance in zip(point_station, point_clearance_at_rest, strict=True)
    )


@quantity("1", source="definition")
def points_under_car(points_at_rest: tuple[Support, ...], tyre_rise: Array) -> tuple[Support, ...]:
    """Named points of the car as supports at this speed, together."""
    return tuple(point._replace(reach=point.reach + tyre_rise) for point in points_at_rest)


@quantity("N", source="spring that pushes one way only")
def point_load(
    point_clearance: Array, point_clearance_at_rest: Array, contact_stiffness: Array, points_carry: Array
) -> Array:
    """Load that the road carries at the named point at this speed."""
    sunk = np.minimum(point_clearance_at_rest, 0) - point_clearance
    return contact_stiffness * points_carry * np.maximum(sunk, 0)


@quantity("N", source="Coulomb friction")
def scraping_force(contact_load: Array, contact_friction: Array) -> Array:
    """Force that holds the car back where its body scrapes on the road."""
    return contact_friction * contact_load


@quantity("1", source="definition")
def stands_on_a_point(contact_load: Array) -> Array:
    """1 where the body stands on the road at this speed, else 0; its mean says how often."""
    return np.where(np.isnan(contact_load), np.nan, contact_load > 0)


@quantity("1", source="definition", varying={"stands_on_a_point": ("speed", "longitudinal_acceleration")})
def stands_on_a_point_at_top_speed(stands_on_a_point: Curve, top_speed: Array) -> Array:
    """1 where the body stands on the road at top speed, else 0; its mean says how often."""
    return stands_on_a_point(top_speed, 0.0)
