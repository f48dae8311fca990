"""Air forces from a map: front and rear downforce area and drag area on a grid of ride heights.

Two maps, one with the flap closed and one with it open, from a tunnel, a computation or a towed rig; straight
in the flap opening between them.  Downforce areas are what the axles feel, the lever of the drag included, as
a balance measures them.  Ride heights follow from the springs and air forces from the ride heights: both are
balanced.  Outside the grid there is no answer.
"""

from __future__ import annotations

from typing import Annotated, NamedTuple

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Part, given, given_table, quantity
from explorer.graph.tables import LookupTable
from explorer.model.aero.map_balance import CarOnMap, Maps, balance_on_map
from explorer.model.attitude.supports import FrontContactLoad, RearContactLoad, StableAttitudes, Support
from explorer.model.attitude.suspension import AxleSpring

_COLUMNS = (
    "along front_ride_height [m]",
    "along rear_ride_height [m]",
    "front_downforce_area [m2]",
    "rear_downforce_area [m2]",
    "drag_area [m2]",
)

aero_map_closed = given_table(_COLUMNS, "Aero map of the car with the flap closed.")
aero_map_open = given_table(_COLUMNS, "Aero map of the car with the flap open.")
front_ride_height_at_rest = given(
    "m", "Height under the front axle line, as the map counts it, at rest.", usual="2 to 60 mm", lever="1 mm"
)
rear_ride_height_at_rest = given(
    "m", "Height under the rear axle line, as the map counts it, at rest.", usual="2 to 80 mm", lever="1 mm"
)
aero_map_front_offset = given(
    "m2", "What the map's front downforce area is off by, the same all over the map.", default=0.0
)
aero_map_rear_offset = given(
    "m2", "What the map's rear downforce area is off by, the same all over the map.", default=0.0
)
aero_map_drag_offset = given(
    "m2", "What the map's drag area is off by, the same all over the map.", default=0.0
)


@quantity("1", source="definition")
def aero_maps(aero_map_closed: LookupTable, aero_map_open: LookupTable, flap_opening: Array) -> Maps:
    """Both maps and the flap opening, together."""
    return Maps(aero_map_closed, aero_map_open, flap_opening)


@quantity("1", source="definition")
def loads_bend(points_at_rest: tuple[Support, ...]) -> Array:
    """1 where axle loads bend with speed and acceleration beyond the map: points that carry; else 0."""
    bends = np.zeros(())
    for point in points_at_rest:
        bends = np.where(point.rate > 0, 1.0, bends)
    return bends


_NO_BALANCE = "no balance inside the aero map: a ride height left the map, or the pitch diverged"


class Compressions(NamedTuple):
    """Where the car rides, from one balance of both axles."""

    front_compression: Annotated[
        Array, Part("m", "How far the body has gone down over the front axle from rest; up is negative.")
    ]
    rear_compression: Annotated[
        Array, Part("m", "How far the body has gone down over the rear axle from rest; up is negative.")
    ]
    front_contact_load: FrontContactLoad
    rear_contact_load: RearContactLoad
    stable_attitudes: StableAttitudes


@quantity(
    "1",
    source="balance of the loads of both axles on map and springs: Newton's method in both travels; zeros "
    "bracketed along the front ride height where that finds none or there may be several",
    fails=_NO_BALANCE,
)
def compressions(
    aero_maps: Maps,
    aero_map_front_offset: Array,
    aero_map_rear_offset: Array,
    wake_loss_front: Array,
    wake_loss_rear: Array,
    front_ride_height_at_rest: Array,
    rear_ride_height_at_rest: Array,
    tyre_rise: Array,
    dynamic_pressure: Array,
    load_transfer: Array,
    front_axle_spring: AxleSpring,
    rear_axle_spring: AxleSpring,
    points_under_car: tuple[Support, ...],
) -> Compressions:
    """How far both axles have gone down, together."""
    car = CarOnMap(
        aero_maps,
        dynamic_pressure * (1 - wake_loss_front),
        dynamic_pressure * (1 - wake_loss_rear),
        aero_map_front_offset,
        aero_map_rear_offset,
        front_ride_height_at_rest + tyre_rise,
        rear_ride_height_at_rest + tyre_rise,
        load_transfer,
        front_axle_spring,
        rear_axle_spring,
        points_under_car,
    )
    return Compressions(*balance_on_map(car))


@quantity("rad", source="geometry, small angles", fails=_NO_BALANCE)
def pitch(static_pitch: Array, front_compression: Array, rear_compression: Array, wheelbase: Array) -> Array:
    """Steady pitch of the car at this speed, nose-up positive, its pitch at rest included."""
    return static_pitch + (rear_compression - front_compression) / wheelbase


@quantity("m", source="definition")
def axle_ride_height(axle_ride_height_at_rest: Array, axle_rise: Array) -> Array:
    """Height under the {axle} axle line at this speed, as the map counts it."""
    return axle_ride_height_at_rest + axle_rise


@quantity(
    "m2", source="bilinear in the ride heights, linear in the flap opening", fails="outside the aero map"
)
def front_downforce_area(
    aero_maps: Maps,
    front_ride_height: Array,
    rear_ride_height: Array,
    aero_map_front_offset: Array,
    wake_loss_front: Array,
) -> Array:
    """Load the air puts on the front axle over the dynamic pressure; the wake of a car ahead taken off."""
    area = aero_maps.at("front_downforce_area", front_ride_height, rear_ride_height)
    return (area + aero_map_front_offset) * (1 - wake_loss_front)


@quantity(
    "m2", source="bilinear in the ride heights, linear in the flap opening", fails="outside the aero map"
)
def rear_downforce_area(
    aero_maps: Maps,
    front_ride_height: Array,
    rear_ride_height: Array,
    aero_map_rear_offset: Array,
    wake_loss_rear: Array,
) -> Array:
    """Load the air puts on the rear axle over the dynamic pressure; the wake of a car ahead taken off."""
    area = aero_maps.at("rear_downforce_area", front_ride_height, rear_ride_height)
    return (area + aero_map_rear_offset) * (1 - wake_loss_rear)


@quantity(
    "m2", source="bilinear in the ride heights, linear in the flap opening", fails="outside the aero map"
)
def drag_area(
    aero_maps: Maps,
    front_ride_height: Array,
    rear_ride_height: Array,
    aero_map_drag_offset: Array,
    wake_loss_front: Array,
    wake_loss_rear: Array,
) -> Array:
    """Drag area of the whole car; in the wake of a car ahead the mean of both losses is taken off."""
    area = aero_maps.at("drag_area", front_ride_height, rear_ride_height)
    return (area + aero_map_drag_offset) * (1 - (wake_loss_front + wake_loss_rear) / 2)


@quantity(
    "N",
    source="definition: dynamic pressure times downforce area",
    fails="outside the aero map, or the pitch diverged",
)
def front_downforce(dynamic_pressure: Array, front_downforce_area: Array) -> Array:
    """Front axle load from the air, the drag's lever included, as a wind tunnel balance shows it."""
    return dynamic_pressure * front_downforce_area


@quantity(
    "N",
    source="definition: dynamic pressure times downforce area",
    fails="outside the aero map, or the pitch diverged",
)
def rear_downforce(dynamic_pressure: Array, rear_downforce_area: Array) -> Array:
    """Rear axle load from the air, the drag's lever included, as a wind tunnel balance shows it."""
    return dynamic_pressure * rear_downforce_area
