"""The motor as a brake: its current heats the windings, and what is left goes into the battery.

The current is the smallest of three: what the speed controller allows, what the voltage of the turning motor
can drive through the windings, and what leaves the battery no more than it may take.  The last two fall away
at low and at high speed, so a motor alone hardly holds a car that crawls.  Gear losses and the drag of the
idle motor, which help, are left out.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity

motor_brake_current = given(
    "A",
    """Motor current the speed controller brakes with, full on; 0 for one that does not brake.

    Usual: a quarter to all of the drive's current limit, by the controller's setting (judgement).
    """,
    at_least=0,
    usual="0 to 500 A",
    lever="5 A",
)
regeneration_limit = given(
    "A",
    """Current the battery may take back while the motor brakes; the default sets no limit.

    Usual: 1 to 5 times the capacity per hour, by the maker of the cells (judgement).
    """,
    default=1e6,
    at_least=0,
    usual="2 to 300 A",
)


@quantity("A", source="Ohm's law around the circuit; power of the shaft = heat of the windings + battery")
def braking_current(
    motor_brake_current: Array,
    regeneration_limit: Array,
    battery_voltage: Array,
    wiring_resistance: Array,
    winding_resistance: Array,
    motor_speed: Array,
    motor_speed_constant: Array,
) -> Array:
    """Motor current that brakes at this speed, full on."""
    voltage = motor_speed / motor_speed_constant
    resistance = winding_resistance + wiring_resistance
    shorted = voltage / resistance
    # voltage * current - resistance * current^2 = what the battery takes: the smaller root, exact without
    # any.
    taken = battery_voltage * regeneration_limit
    inside = voltage**2 - 4 * resistance * taken
    returned = 2 * taken / np.maximum(voltage + np.sqrt(np.maximum(inside, 0)), 1e-12)
    allowed = np.where(inside > 0, returned, shorted)
    return np.minimum(np.minimum(motor_brake_current, shorted), allowed)


@quantity("N", source="motor equation: torque constant times current, through the gears")
def motor_brake_force(
    motor_torque_constant: Array, braking_current: Array, gear_ratio: Array, rolling_radius: Array
) -> Array:
    """Push at the driven tyres with which the motor brakes at this speed, full on."""
    return motor_torque_constant * braking_current * gear_ratio / rolling_radius
