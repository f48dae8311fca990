"""What the attitude means for the car: axle loads, splitter angle, clearances, front lift-off."""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, given, quantity
from explorer.model.numeric import first_fall

splitter_mounting_angle = given(
    "rad",
    "Angle of the splitter to the floor, leading edge up positive.",
    default=0.0,
    usual="-10 to 10 deg",
    lever="0.5 deg",
)
point_station = given(
    "m",
    "Named point under the car: distance behind the front axle, ahead of it negative.",
    usual="-250 to 900 mm",
    lever="5 mm",
)
point_clearance_at_rest = given(
    "m", "Named point under the car: height above the ground at rest.", usual="1 to 80 mm", lever="1 mm"
)


@quantity("N", source="sum of what the parts carry")
def total_downforce(front_downforce: Array, rear_downforce: Array) -> Array:
    """Downforce of the whole car at its steady pitch."""
    return front_downforce + rear_downforce


@quantity("1", source="definition", fails="no downforce to share")
def aero_balance_front(front_downforce: Array, total_downforce: Array) -> Array:
    """Share of the downforce carried by the front axle, about the contact patches and with the drag's lever.

    It leaves the range of 0 to 1 when one axle is being lifted by the air.
    """
    return front_downforce / np.where(total_downforce == 0, np.nan, total_downforce)


@quantity("N", source="vertical balance and moments about the contact patches")
def front_axle_load(
    front_static_load: Array, front_downforce: Array, load_transfer: Array, front_contact_load: Array
) -> Array:
    """Vertical load on both front tyres together; zero or less means that the front wheels have lifted.

    A negative load is the pull the ground would need to keep the wheels down: how far past lift-off the car
    is, not a load that exists.
    """
    return front_static_load + front_downforce - load_transfer - front_contact_load


@quantity("N", source="vertical balance and moments about the contact patches")
def rear_axle_load(
    rear_static_load: Array, rear_downforce: Array, load_transfer: Array, rear_contact_load: Array
) -> Array:
    """Vertical load on both rear tyres together; zero or less means that the rear wheels have lifted."""
    return rear_static_load + rear_downforce + load_transfer - rear_contact_load


@quantity("1", source="definition")
def front_load_kept(front_axle_load: Array, front_static_load: Array) -> Array:
    """Share of its load at rest that the front axle still carries."""
    return front_axle_load / front_static_load


@quantity("N", source="definition")
def contact_load(front_contact_load: Array, rear_contact_load: Array) -> Array:
    """Load that the road carries where the body stands on it, all points together."""
    return front_contact_load + rear_contact_load


@quantity("1", source="definition")
def has_several_attitudes(stable_attitudes: Array) -> Array:
    """1 where the car could keep another attitude at this speed, else 0; its mean says how often."""
    return np.where(np.isnan(stable_attitudes), np.nan, stable_attitudes > 1)


@quantity("rad", source="definition")
def splitter_incidence(pitch: Array, splitter_mounting_angle: Array) -> Array:
    """Angle of the splitter to the ground, leading edge up positive: then it starts to lift."""
    return pitch + splitter_mounting_angle


@quantity("m", source="definition")
def axle_rise(tyre_rise: Array, axle_compression: Array) -> Array:
    """How far the body has come up over the {axle} axle from rest, on tyres that grow; down is negative."""
    return tyre_rise - axle_compression


@quantity("m", source="geometry: the floor is a straight line between the axles")
def point_clearance(
    point_clearance_at_rest: Array,
    point_station: Array,
    front_rise: Array,
    rear_rise: Array,
    wheelbase: Array,
) -> Array:
    """Height of the named point above the ground at this speed; zero or less means that it scrapes.

    A point that carries load is below zero by that load over its stiffness.
    """
    slope = (rear_rise - front_rise) / wheelbase
    return point_clearance_at_rest + front_rise + slope * point_station


@quantity(
    "m/s",
    source="root of front_axle_load over speed",
    varying={"front_axle_load": "speed"},
    capped_by="speed_cap",
)
def front_lift_off_speed(front_axle_load: Curve, speed_cap: Array) -> Array:
    """Lowest speed at which the front axle carries nothing, the car driven as its condition says.

    Walking pace for a car that lifts its front wheels on moving off.  A car that diverges first has no axle
    load from there on: it counts as lifted at that speed.  The load is looked at from 1 m/s upwards in
    sixteen equal steps and then closed in on: a dip below zero and back within one step is not seen.
    """
    return first_fall(front_axle_load, 1.0, speed_cap, steps=16).position
