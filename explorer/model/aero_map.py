"""Air forces from a map: front and rear downforce area and drag area on a grid of ride heights.

Two maps, one with the flap closed and one with it open, from a tunnel, a computation or a towed rig; straight
in the flap opening between them.  Downforce areas are what the axles feel, the lever of the drag included, as
a balance measures them.  Ride heights follow from the springs and air forces from the ride heights: both are
balanced.  Outside the grid there is no answer.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from explorer.model.suspension import AxleSpring
from explorer.quantity import Array, given, given_table, quantity
from explorer.tables import Table

_COLUMNS = (
    "along front_ride_height [m]",
    "along rear_ride_height [m]",
    "front_downforce_area [m2]",
    "rear_downforce_area [m2]",
    "drag_area [m2]",
)

aero_map_closed = given_table(_COLUMNS, "Aero map of the car with the flap closed.")
aero_map_open = given_table(_COLUMNS, "Aero map of the car with the flap open.")
front_ride_height_at_rest = given("m", "Height under the front axle line, as the map counts it, at rest.")
rear_ride_height_at_rest = given("m", "Height under the rear axle line, as the map counts it, at rest.")
aero_map_front_offset = given(
    "m2", "What the map's front downforce area is off by, the same all over the map.", default=0.0
)
aero_map_rear_offset = given(
    "m2", "What the map's rear downforce area is off by, the same all over the map.", default=0.0
)
aero_map_drag_offset = given(
    "m2", "What the map's drag area is off by, the same all over the map.", default=0.0
)


class Travels(NamedTuple):
    """How far both axles have gone down from rest."""

    front: Array
    rear: Array


class _Area(NamedTuple):
    """A column of the map with its slopes along front and rear ride height."""

    value: Array
    by_front: Array
    by_rear: Array


@quantity(
    "m",
    source="balance of axle loads on map and springs, Newton's method in both travels",
    fails="no balance inside the aero map: a ride height left the map, or the pitch diverged",
)
def axle_travels(
    aero_map_closed: Table,
    aero_map_open: Table,
    flap_opening: Array,
    aero_map_front_offset: Array,
    aero_map_rear_offset: Array,
    wake_loss_front: Array,
    wake_loss_rear: Array,
    front_ride_height_at_rest: Array,
    rear_ride_height_at_rest: Array,
    dynamic_pressure: Array,
    load_transfer: Array,
    front_axle_spring: AxleSpring,
    rear_axle_spring: AxleSpring,
) -> Travels:
    """Travels of both axles at which springs and map agree; the front and the rear one are quantities too."""
    front_pressure = dynamic_pressure * (1 - wake_loss_front)
    rear_pressure = dynamic_pressure * (1 - wake_loss_rear)
    front = np.zeros_like(front_pressure + load_transfer + front_axle_spring.rate + front_ride_height_at_rest)
    rear = front
    done = np.zeros(np.shape(front), dtype=bool)
    for _ in range(40):
        heights = (front_ride_height_at_rest - front, rear_ride_height_at_rest - rear)
        nose, tail = (
            _blended(aero_map_closed, aero_map_open, name, flap_opening, *heights)
            for name in ("front_downforce_area", "rear_downforce_area")
        )
        front_load, front_rate = front_axle_spring.load(front)
        rear_load, rear_rate = rear_axle_spring.load(rear)
        front_lack = front_pressure * (nose.value + aero_map_front_offset) - load_transfer - front_load
        rear_lack = rear_pressure * (tail.value + aero_map_rear_offset) + load_transfer - rear_load
        # Going down lowers the ride height, so the map's slopes add to the springs.
        a, b = front_rate + front_pressure * nose.by_front, front_pressure * nose.by_rear
        c, d = rear_pressure * tail.by_front, rear_rate + rear_pressure * tail.by_rear
        determinant = a * d - b * c
        front_step = (front_lack * d - b * rear_lack) / determinant
        rear_step = (a * rear_lack - c * front_lack) / determinant
        front, rear = np.where(done, front, front + front_step), np.where(done, rear, rear + rear_step)
        stable = (determinant > 0) & (a + d > 0)
        done = done | (stable & (np.abs(front_step) + np.abs(rear_step) < 1e-12))
        if np.all(done):
            break
    heights = (front_ride_height_at_rest - front, rear_ride_height_at_rest - rear)
    on_map = _inside(aero_map_closed, aero_map_open, "drag_area", flap_opening, *heights)
    known = done & np.isfinite(on_map)
    return Travels(np.where(known, front, np.nan), np.where(known, rear, np.nan))


def _blended(closed: Table, opened: Table, name: str, opening: Array, front: Array, rear: Array) -> _Area:
    """Return a column of both maps, straight in the flap opening; held at the edge outside."""
    value, (by_front, by_rear) = closed.tangent(name, closed.locate(front, rear))
    if not np.any(opening):
        return _Area(value, by_front, by_rear)
    value_open, (by_front_open, by_rear_open) = opened.tangent(name, opened.locate(front, rear))
    return _Area(
        value + opening * (value_open - value),
        by_front + opening * (by_front_open - by_front),
        by_rear + opening * (by_rear_open - by_rear),
    )


def _inside(closed: Table, opened: Table, name: str, opening: Array, front: Array, rear: Array) -> Array:
    """Return a column of both maps, NaN where a map that counts does not reach."""
    value = closed.at(name, closed.locate(front, rear))
    if not np.any(opening):
        return value
    value_open = opened.at(name, opened.locate(front, rear))
    return np.where(
        opening == 0, value, np.where(opening == 1, value_open, value + opening * (value_open - value))
    )


@quantity("m", source="see axle_travels", fails="no balance inside the aero map, or the pitch diverged")
def front_compression(axle_travels: Travels) -> Array:
    """How far the body has gone down over the front axle from rest; up is negative."""
    return axle_travels.front


@quantity("m", source="see axle_travels", fails="no balance inside the aero map, or the pitch diverged")
def rear_compression(axle_travels: Travels) -> Array:
    """How far the body has gone down over the rear axle from rest; up is negative."""
    return axle_travels.rear


@quantity(
    "rad", source="geometry, small angles", fails="no balance inside the aero map, or the pitch diverged"
)
def pitch(static_pitch: Array, front_compression: Array, rear_compression: Array, wheelbase: Array) -> Array:
    """Steady pitch of the car at this speed, nose-up positive, its pitch at rest included."""
    return static_pitch + (rear_compression - front_compression) / wheelbase


@quantity("m", source="definition")
def front_ride_height(front_ride_height_at_rest: Array, front_compression: Array) -> Array:
    """Height under the front axle line at this speed, as the map counts it."""
    return front_ride_height_at_rest - front_compression


@quantity("m", source="definition")
def rear_ride_height(rear_ride_height_at_rest: Array, rear_compression: Array) -> Array:
    """Height under the rear axle line at this speed, as the map counts it."""
    return rear_ride_height_at_rest - rear_compression


@quantity(
    "m2", source="bilinear in the ride heights, linear in the flap opening", fails="outside the aero map"
)
def front_downforce_area(
    aero_map_closed: Table,
    aero_map_open: Table,
    flap_opening: Array,
    front_ride_height: Array,
    rear_ride_height: Array,
    aero_map_front_offset: Array,
    wake_loss_front: Array,
) -> Array:
    """Load the air puts on the front axle over the dynamic pressure; the wake of a car ahead taken off."""
    name = "front_downforce_area"
    area = _inside(aero_map_closed, aero_map_open, name, flap_opening, front_ride_height, rear_ride_height)
    return (area + aero_map_front_offset) * (1 - wake_loss_front)


@quantity(
    "m2", source="bilinear in the ride heights, linear in the flap opening", fails="outside the aero map"
)
def rear_downforce_area(
    aero_map_closed: Table,
    aero_map_open: Table,
    flap_opening: Array,
    front_ride_height: Array,
    rear_ride_height: Array,
    aero_map_rear_offset: Array,
    wake_loss_rear: Array,
) -> Array:
    """Load the air puts on the rear axle over the dynamic pressure; the wake of a car ahead taken off."""
    name = "rear_downforce_area"
    area = _inside(aero_map_closed, aero_map_open, name, flap_opening, front_ride_height, rear_ride_height)
    return (area + aero_map_rear_offset) * (1 - wake_loss_rear)


@quantity(
    "m2", source="bilinear in the ride heights, linear in the flap opening", fails="outside the aero map"
)
def drag_area(
    aero_map_closed: Table,
    aero_map_open: Table,
    flap_opening: Array,
    front_ride_height: Array,
    rear_ride_height: Array,
    aero_map_drag_offset: Array,
    wake_loss_front: Array,
    wake_loss_rear: Array,
) -> Array:
    """Drag area of the whole car; in the wake of a car ahead the mean of both losses is taken off."""
    area = _inside(
        aero_map_closed, aero_map_open, "drag_area", flap_opening, front_ride_height, rear_ride_height
    )
    return (area + aero_map_drag_offset) * (1 - (wake_loss_front + wake_loss_rear) / 2)


@quantity("N", source="definition", fails="outside the aero map, or the pitch diverged")
def front_downforce(dynamic_pressure: Array, front_downforce_area: Array) -> Array:
    """Front axle load from the air, the drag's lever included, as a wind tunnel balance shows it."""
    return dynamic_pressure * front_downforce_area


@quantity("N", source="definition", fails="outside the aero map, or the pitch diverged")
def rear_downforce(dynamic_pressure: Array, rear_downforce_area: Array) -> Array:
    """Rear axle load from the air, the drag's lever included, as a wind tunnel balance shows it."""
    return dynamic_pressure * rear_downforce_area
