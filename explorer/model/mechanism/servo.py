"""The servo: the torque that the air asks of it through the linkage, and how fast it gets there.

By virtual work, a moment M on an element is a torque M times (turn of the element per turn of the servo) on
the servo.  Slow compared with the air: inertia is left out.
"""

from __future__ import annotations

from functools import reduce

import numpy as np

from explorer.graph.quantity import Array, Curve, given, quantity

_SHARES = np.linspace(0.0, 1.0, 9)
# Simpson's rule over the nine places, which include both ends, where a servo is most likely to stall.
_SIMPSON = np.array([1, 4, 2, 4, 2, 4, 2, 4, 1]) / 24

servo_stall_torque = given("N m", "Stall torque of the servo at the supply voltage used.", above=0)
servo_derating = given(
    "1",
    "Share of the stall torque to count on, for heat, voltage drop and wear.",
    default=0.7,
    above=0,
    at_most=1,
    source="judgement",
)
servo_sixty_degree_time = given("s", "Time the servo takes for 60 degrees without load.", above=0)


@quantity("N m", source="virtual work", each="element")
def element_servo_torque(element_closing_moment: Array, element_velocity_ratio: Array) -> Array:
    """Torque that air and weight on this element put on the servo, anticlockwise positive."""
    return element_closing_moment * element_velocity_ratio


@quantity("N m", source="virtual work", each="element")
def element_servo_friction(element_pivot_friction_torque: Array, element_velocity_ratio: Array) -> Array:
    """Torque that the friction of this element's pivots takes from the servo, whichever way it turns."""
    return element_pivot_friction_torque * np.abs(element_velocity_ratio)


@quantity("N m", source="virtual work", fails="the links of some element cannot close")
def servo_air_torque(element_servo_torque: Array) -> Array:
    """Torque of air and weight on all elements at the servo, anticlockwise positive."""
    together: Array = np.sum(element_servo_torque, axis=0)
    return together


@quantity("N m", source="virtual work", fails="the links of some element cannot close")
def servo_friction_torque(element_servo_friction: Array) -> Array:
    """Torque that the friction of all pivots takes from the servo."""
    together: Array = np.sum(element_servo_friction, axis=0)
    return together


@quantity("N m", source="statics")
def servo_opening_torque(servo_air_torque: Array, servo_friction_torque: Array, servo_travel: Array) -> Array:
    """Torque the servo must give to open further at this angle; negative where the air opens it."""
    return servo_friction_torque - np.sign(servo_travel) * servo_air_torque


@quantity("N m", source="statics")
def servo_closing_torque(servo_air_torque: Array, servo_friction_torque: Array, servo_travel: Array) -> Array:
    """Torque the servo must give to close further at this angle; negative where the air closes it."""
    return servo_friction_torque + np.sign(servo_travel) * servo_air_torque


@quantity("N m", source="statics")
def servo_working_torque(servo_air_torque: Array, servo_friction_torque: Array) -> Array:
    """Torque the servo must give at this angle in the harder of the two directions."""
    return np.abs(servo_air_torque) + servo_friction_torque


@quantity(
    "N m",
    source="definition",
    varying={"servo_working_torque": "servo_angle"},
    fails="the links of some element cannot close",
)
def required_servo_torque(
    servo_working_torque: Curve, servo_angle_closed: Array, servo_travel: Array
) -> Array:
    """Largest torque the servo must give anywhere in the travel, opening or closing."""
    return reduce(
        np.maximum, (servo_working_torque(servo_angle_closed + share * servo_travel) for share in _SHARES)
    )


@quantity("N m", source="definition")
def servo_available_torque(servo_stall_torque: Array, servo_derating: Array) -> Array:
    """Torque of the servo that can be counted on."""
    return servo_stall_torque * servo_derating


@quantity("N m", source="definition", fails="the links of some element cannot close")
def servo_torque_in_hand(servo_available_torque: Array, required_servo_torque: Array) -> Array:
    """Torque left over at the hardest place of the travel."""
    return servo_available_torque - required_servo_torque


@quantity("rad/s", source="definition")
def servo_no_load_speed(servo_sixty_degree_time: Array) -> Array:
    """Speed of the servo without load."""
    return np.pi / 3 / servo_sixty_degree_time


@quantity(
    "s",
    source="linear torque-speed line of a direct-current motor; Simpson's rule over the travel",
    varying={"servo_opening_torque": "servo_angle"},
    fails="the servo stalls on the way open",
)
def opening_time(
    servo_opening_torque: Curve,
    servo_angle_closed: Array,
    servo_travel: Array,
    servo_available_torque: Array,
    servo_no_load_speed: Array,
) -> Array:
    """Time the servo takes from closed to open against the air, once it has started to move."""
    loads = [servo_opening_torque(servo_angle_closed + share * servo_travel) for share in _SHARES]
    return _time(loads, servo_travel, servo_available_torque, servo_no_load_speed)


@quantity(
    "s",
    source="linear torque-speed line of a direct-current motor; Simpson's rule over the travel",
    varying={"servo_closing_torque": "servo_angle"},
    fails="the servo stalls on the way shut",
)
def closing_time(
    servo_closing_torque: Curve,
    servo_angle_closed: Array,
    servo_travel: Array,
    servo_available_torque: Array,
    servo_no_load_speed: Array,
) -> Array:
    """Time the servo takes from open to closed in the air, once it has started to move."""
    loads = [servo_closing_torque(servo_angle_closed + share * servo_travel) for share in _SHARES]
    return _time(loads, servo_travel, servo_available_torque, servo_no_load_speed)


def _time(loads: list[Array], travel: Array, available: Array, no_load_speed: Array) -> Array:
    """Time through the travel; a load that helps does not drive the servo past its no-load speed."""
    share_left = [1 - np.maximum(load, 0) / available for load in loads]
    slowness = [1 / np.where(left > 0, left, np.nan) for left in share_left]
    mean = sum((weight * each for weight, each in zip(_SIMPSON, slowness, strict=True)), np.zeros(()))
    return np.abs(travel) * mean / no_load_speed
