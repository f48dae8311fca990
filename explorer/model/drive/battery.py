"""What the battery gives while the motor takes its current, and what wheels that spin free do to the tyres.

The speed controller cuts the battery's voltage down to what the motor needs: below full throttle of the
voltage, at the current limit, the motor's current is larger than the battery's.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import quantity


@quantity("V", source="Ohm's law: the turning motor's voltage, and what its current takes on the way")
def motor_voltage(
    motor_speed: Array,
    motor_speed_constant: Array,
    motor_current: Array,
    winding_resistance: Array,
    wiring_resistance: Array,
) -> Array:
    """Voltage behind the battery that drives the motor's current at full throttle at this speed."""
    return motor_speed / motor_speed_constant + motor_current * (winding_resistance + wiring_resistance)


@quantity("1", source="power in = power out of the speed controller, the battery's own drop in it")
def controller_share(
    battery_voltage: Array, battery_resistance: Array, motor_voltage: Array, motor_current: Array
) -> Array:
    """Share of the battery's voltage that the controller passes on; 1 at full throttle of the voltage."""
    inside = battery_voltage**2 - 4 * battery_resistance * motor_current * motor_voltage
    root = battery_voltage + np.sqrt(np.maximum(inside, 0))
    return np.where(inside < 0, np.nan, np.clip(2 * motor_voltage / root, 0, 1))


@quantity("A", source="power in = power out of the speed controller", fails="the battery cannot give it")
def battery_current(controller_share: Array, motor_current: Array) -> Array:
    """Battery's current at full throttle at this speed: less than the motor's at its limit."""
    return controller_share * np.maximum(motor_current, 0)


@quantity("V", source="Ohm's law", fails="the battery cannot give it")
def battery_voltage_under_load(
    battery_voltage: Array, battery_resistance: Array, battery_current: Array
) -> Array:
    """Voltage at the battery's plug at full throttle at this speed."""
    return battery_voltage - battery_resistance * battery_current


@quantity("m/s", source="definition", fails="see rev_limited_speed")
def free_tyre_speed_margin(tyre_rated_speed: Array, rev_limited_speed: Array) -> Array:
    """Speed left to the maker's figure for wheels that spin free, off the ground or without grip."""
    return tyre_rated_speed - rev_limited_speed
