"""The servo: the torque that the air asks of it through the linkage, and how fast it gets there.

By virtual work, a moment M on an element is a torque M times (turn of the element per turn of the servo) on
the servo.  Slow compared with the air: inertia is left out.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, given, quantity
from explorer.model.numeric import most, over_travel

# Simpson's rule over the nine places, which include both ends, where a servo is most likely to stall.
_SIMPSON = np.array([1, 4, 2, 4, 2, 4, 2, 4, 1]) / 24

servo_stall_torque = given(
    "N m",
    "Stall torque of the servo at the voltage of its data sheet.",
    above=0,
    usual="0.02 to 6 N*m",
    lever="0.05 N*m",
)
servo_derating = given(
    "1",
    "Share of the stall torque to count on, for heat and wear; servo_supply_share is about the voltage.",
    default=0.7,
    above=0,
    at_most=1,
    source="judgement",
    usual="0.5 to 0.9, typically 0.7",
)
servo_sixty_degree_time = given(
    "s",
    "Time the servo takes for 60 degrees without load, at the voltage of the data sheet.",
    above=0,
    usual="0.02 to 0.6 s",
    lever="0.02 s",
)
servo_supply_share = given(
    "1",
    """Voltage at the servo, running free, over the voltage of its data sheet.

    It takes from speed and torque alike: 5.2 V at a servo rated at 6 V is 0.87.
    """,
    default=1.0,
    above=0,
    usual="0.6 to 1.2",
)
servo_supply_sag = given(
    "1",
    """Share of that voltage that supply and leads take for themselves while the servo is stalled.

    Resistance of supply and leads times stall current, over the voltage.
    """,
    default=0.0,
    at_least=0,
    at_most=0.9,
    usual="0 to 0.25, typically 0.1",
)


@quantity("N m", source="virtual work")
def element_servo_torque(element_closing_moment: Array, element_velocity_ratio: Array) -> Array:
    """Torque that air and weight on this element put on the servo, anticlockwise positive."""
    return element_closing_moment * element_velocity_ratio


@quantity("N m", source="virtual work")
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
    source="largest of nine places of the travel, and of the parabola about it",
    varying={"servo_working_torque": "servo_angle"},
    fails="the links of some element cannot close",
)
def required_servo_torque(
    servo_working_torque: Curve, servo_angle_closed: Array, servo_travel: Array
) -> Array:
    """Largest torque the servo must give anywhere in the travel, opening or closing."""
    return most(over_travel(servo_working_torque, servo_angle_closed, servo_travel))


@quantity("N m", source="direct-current motor: stall torque goes with the voltage left at the motor")
def servo_available_torque(
    servo_stall_torque: Array, servo_derating: Array, servo_supply_share: Array, servo_supply_sag: Array
) -> Array:
    """Torque of the servo that can be counted on, at the voltage it gets while it is stalled."""
    return servo_stall_torque * servo_derating * servo_supply_share * (1 - servo_supply_sag)


@quantity("N m", source="definition", fails="the links of some element cannot close")
def servo_torque_in_hand(servo_available_torque: Array, required_servo_torque: Array) -> Array:
    """Torque left over at the hardest place of the travel."""
    return servo_available_torque - required_servo_torque


@quantity("rad/s", source="direct-current motor: free speed goes with the voltage")
def servo_no_load_speed(servo_sixty_degree_time: Array, servo_supply_share: Array) -> Array:
    """Speed of the servo without load, at the voltage it gets."""
    return np.pi / 3 / servo_sixty_degree_time * servo_supply_share


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
    loads = over_travel(servo_opening_torque, servo_angle_closed, servo_travel)
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
    loads = over_travel(servo_closing_torque, servo_angle_closed, servo_travel)
    return _time(loads, servo_travel, servo_available_torque, servo_no_load_speed)


@quantity("s", source="sum", fails="the servo stalls on the way shut")
def commanded_closing_time(radio_delay: Array, closing_time: Array) -> Array:
    """Time from the thumb to the flap shut, in the air: the radio and the servo."""
    return radio_delay + closing_time


@quantity("s", source="sum", fails="the servo stalls on the way shut")
def fail_safe_closing_time(fail_safe_hold: Array, closing_time: Array) -> Array:
    """Time from the loss of the signal to the flap shut: the receiver's wait and the servo."""
    return fail_safe_hold + closing_time


@quantity("m", source="way at a held speed", fails="the servo stalls on the way shut")
def fail_safe_closing_distance(speed: Array, fail_safe_closing_time: Array) -> Array:
    """How far the car goes, at held speed, from the loss of the signal to the flap shut."""
    return speed * fail_safe_closing_time


def _time(loads: list[Array], travel: Array, available: Array, no_load_speed: Array) -> Array:
    """Time through the travel; a load that helps does not drive the servo past its no-load speed."""
    share_left = [1 - np.maximum(load, 0) / available for load in loads]
    slowness = [1 / np.where(left > 0, left, np.nan) for left in share_left]
    mean = sum((weight * each for weight, each in zip(_SIMPSON, slowness, strict=True)), np.zeros(()))
    return np.abs(travel) * mean / no_load_speed
