"""Side wind, steady: how hard it pushes, which axle has to hold it, and which way the car wants to turn.

The car is a flat side of low aspect ratio that stands on the road, mirrored in it, with the end plates of the
wing as two plates more.  Force grows with the angle of the air, and with its square where the flow leaves the
edges.  What the plates do to each other, what the side force lifts and the roll it brings are left out; so is
all that happens in time: a gust, the driver, the yaw of a car already turning.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity
from explorer.model.drive.traction import carried, grip

side_wind = given(
    "m/s",
    "Wind square to the track, whichever side it comes from.",
    default=0.0,
    at_least=0,
    of_the_day=True,
    usual="0 to 12 m/s",
)
side_area = given(
    "m2",
    "Area of the car seen from the side, wheels in, the wing's end plates left out.",
    above=0,
    usual="0.01 to 0.4 m2",
)
side_height = given(
    "m", "Mean height of that area: area over the length of the car will do.", above=0, usual="30 to 250 mm"
)
side_pressure_station = given(
    "m",
    """Where the side force on that area acts, behind the front axle.

    A low flat side carries it far forward: about a quarter of the length behind the nose (judgement).
    """,
    usual="-250 to 400 mm",
)
side_cross_flow = given(
    "1",
    """Coefficient of the side force that goes with the square of the angle.

    1 to 2 for flat sides with sharp edges, 0.5 for round ones (judgement, after Hoerner from memory).
    """,
    default=1.0,
    at_least=0,
    usual="0.3 to 2.0, typically 1.0",
)
end_plate_area = given(
    "m2",
    "Area of both end plates of the wing together, one side.",
    default=0.0,
    at_least=0,
    usual="0 to 0.1 m2",
    lever="0.002 m2",
)
end_plate_height = given(
    "m", "Height of an end plate; the default is a judgement.", default=0.1, above=0, usual="20 to 400 mm"
)
end_plate_station = given(
    "m",
    "Middle of the end plates behind the front axle; the default is a judgement.",
    default=0.4,
    usual="-100 to 900 mm",
)

_LOW_ASPECT = (
    "Helmbold's slope, on plates of low aspect ratio as in Hoerner, Fluid-Dynamic Lift (from memory)"
)


@quantity("rad", source="geometry")
def sideslip_angle(side_wind: Array, airspeed: Array) -> Array:
    """Angle at which the air meets the car from the side."""
    return np.arctan2(side_wind, airspeed)


@quantity("Pa", source="definition: half density times the square of the whole airspeed")
def side_pressure(air_density: Array, airspeed: Array, side_wind: Array) -> Array:
    """Dynamic pressure of the air meeting the car, side wind in it."""
    return 0.5 * air_density * (airspeed**2 + side_wind**2)


@quantity("1/rad", source=_LOW_ASPECT)
def side_force_slope(side_height: Array, side_area: Array) -> Array:
    """Side force coefficient of the car per radian, on its side area; give it where it was measured."""
    return _slope(2 * side_height**2 / side_area)


@quantity("1/rad", source=_LOW_ASPECT)
def end_plate_slope(end_plate_height: Array, end_plate_area: Array) -> Array:
    """Side force coefficient of the end plates per radian, on the area of both."""
    return _slope(2 * end_plate_height**2 / np.maximum(end_plate_area, 1e-9))


@quantity("N", source="slope times sin cos, and cross flow times sin^2, on the area")
def body_side_force(
    side_pressure: Array,
    sideslip_angle: Array,
    side_area: Array,
    side_force_slope: Array,
    side_cross_flow: Array,
) -> Array:
    """Side force on the car without its end plates, away from the wind."""
    return side_pressure * side_area * _coefficient(sideslip_angle, side_force_slope, side_cross_flow)


@quantity("N", source="slope times sin cos, and cross flow times sin^2, on the area")
def end_plate_side_force(
    side_pressure: Array,
    sideslip_angle: Array,
    end_plate_area: Array,
    end_plate_slope: Array,
    side_cross_flow: Array,
) -> Array:
    """Side force on both end plates, away from the wind."""
    return side_pressure * end_plate_area * _coefficient(sideslip_angle, end_plate_slope, side_cross_flow)


@quantity("N", source="sum")
def side_force(body_side_force: Array, end_plate_side_force: Array) -> Array:
    """Side force on the whole car, away from the wind."""
    return body_side_force + end_plate_side_force


@quantity("m", source="moments of the parts")
def side_force_station(
    body_side_force: Array,
    end_plate_side_force: Array,
    side_pressure_station: Array,
    end_plate_station: Array,
) -> Array:
    """Where the side force acts, behind the front axle; that of the body while there is no force."""
    together = body_side_force + end_plate_side_force
    share = end_plate_side_force / np.where(together > 0, together, np.inf)
    return side_pressure_station + share * (end_plate_station - side_pressure_station)


@quantity("N", source="statics: moments about the rear axle")
def front_side_load(side_force: Array, side_force_station: Array, wheelbase: Array) -> Array:
    """Force the front tyres have to hold sideways for the car to run straight; negative: towards the wind."""
    return side_force * (1 - side_force_station / wheelbase)


@quantity("N", source="statics: moments about the front axle")
def rear_side_load(side_force: Array, side_force_station: Array, wheelbase: Array) -> Array:
    """Force the rear tyres have to hold sideways for the car to run straight; negative: towards the wind."""
    return side_force * side_force_station / wheelbase


@quantity("N m", source="statics: moments about the centre of gravity")
def yaw_moment(side_force: Array, side_force_station: Array, cg_station: Array) -> Array:
    """Moment of the side wind about the centre of gravity; positive turns the nose into the wind."""
    return side_force * (side_force_station - cg_station)


@quantity("m", source="neutral steer point of tyres as stiff as they are loaded (Milliken, ch. 5)")
def neutral_steer_station(front_axle_load: Array, rear_axle_load: Array, wheelbase: Array) -> Array:
    """Where a side force moves the car aside without turning it, at the loads the axles carry."""
    front, rear = carried(front_axle_load, rear_axle_load), carried(rear_axle_load, front_axle_load)
    together = front + rear
    return wheelbase * rear / np.where(together > 0, together, np.nan)


@quantity("m", source="definition", fails="the car carries no load at all")
def weathercock_lever(side_force_station: Array, neutral_steer_station: Array) -> Array:
    """How far the side force acts behind the neutral steer point: positive, the nose turns into the wind.

    Negative: away from it, off the strip with the wind.  A front that carries little moves the point back.
    """
    return side_force_station - neutral_steer_station


@quantity("N", source="balance along the track")
def held_push(
    resistance_force: Array, mass: Array, rotating_mass_factor: Array, longitudinal_acceleration: Array
) -> Array:
    """Push of the driven tyres at the speed and acceleration of the condition."""
    return resistance_force + mass * rotating_mass_factor * longitudinal_acceleration


_ELLIPSE = "friction circle: what push and side force together leave (Gillespie, ch. 10)"


@quantity("N", source=_ELLIPSE)
def front_grip_left(
    cornering_friction: Array,
    tyre_load_sensitivity: Array,
    front_axle_load: Array,
    rear_axle_load: Array,
    front_static_load: Array,
    held_push: Array,
    driven_rear_share: Array,
    front_side_load: Array,
) -> Array:
    """Sideways grip the front tyres have left in the side wind, to steer with; negative: they slide."""
    load = carried(front_axle_load, rear_axle_load)
    held = grip(cornering_friction, load, front_static_load, tyre_load_sensitivity)
    return _left(held, held_push * (1 - driven_rear_share), front_side_load)


@quantity("N", source=_ELLIPSE)
def rear_grip_left(
    cornering_friction: Array,
    tyre_load_sensitivity: Array,
    front_axle_load: Array,
    rear_axle_load: Array,
    rear_static_load: Array,
    held_push: Array,
    driven_rear_share: Array,
    rear_side_load: Array,
) -> Array:
    """Sideways grip the rear tyres have left in the side wind; negative: the tail slides away."""
    load = carried(rear_axle_load, front_axle_load)
    held = grip(cornering_friction, load, rear_static_load, tyre_load_sensitivity)
    return _left(held, held_push * driven_rear_share, rear_side_load)


def _slope(aspect_ratio: Array) -> Array:
    slope: Array = 2 * np.pi * aspect_ratio / (2 + np.hypot(2, aspect_ratio))
    return slope


def _coefficient(angle: Array, slope: Array, cross_flow: Array) -> Array:
    return np.sin(angle) * (slope * np.cos(angle) + cross_flow * np.sin(angle))


def _left(held: Array, push: Array, sideways: Array) -> Array:
    return np.sqrt(np.maximum(held**2 - push**2, 0)) - np.abs(sideways)
