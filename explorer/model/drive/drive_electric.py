"""The electric drive in full: battery, motor, gears and tyre.

At full throttle the motor takes what the battery voltage drives through all resistances against the voltage
the motor makes by turning, or what the speed controller allows.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity

battery_voltage = given(
    "V",
    "Open-circuit voltage of the battery at the state of charge of the run.",
    above=0,
    usual="3 to 75 V",
    of_the_day=True,
    lever="3.7 V",
)
battery_resistance = given(
    "ohm", "Inner resistance of the whole battery.", at_least=0, usual="5 to 60 mohm, typically 15"
)
wiring_resistance = given(
    "ohm",
    "Resistance of cables, plugs and speed controller.",
    default=0.0,
    at_least=0,
    usual="0.5 to 8 mohm, typically 2",
)
motor_speed_constant = given(
    "rad/s/V",
    "No-load speed of the motor per volt: its kV.",
    above=0,
    usual="150 to 8000 rpm/V",
    lever="50 rpm/V",
)
winding_resistance = given(
    "ohm",
    "Resistance of the motor winding, terminal to terminal.",
    above=0,
    usual="1 to 60 mohm, typically 8",
)
no_load_current = given(
    "A", "Current of the motor turning freely.", default=0.0, at_least=0, usual="0.5 to 12 A, typically 3"
)
current_limit = given(
    "A", "Highest motor current the speed controller allows.", above=0, usual="10 to 500 A", lever="5 A"
)
gear_ratio = given("1", "Turns of the motor per turn of the wheel.", above=0, usual="0.8 to 15", lever="0.2")
drive_efficiency = given(
    "1",
    "Share of the motor's torque that reaches the wheels through the gears.",
    above=0,
    at_most=1,
    usual="0.70 to 0.92, typically 0.82",
)
tyre_radius = given(
    "m", "Loaded radius of the driven tyres at rest.", above=0, usual="20 to 110 mm", lever="1 mm"
)
tyre_growth = given(
    "s2/m2",
    """Growth of the tyre radius, as a share, per speed squared: it makes the gear taller and raises the car.

    A tyre 2 % larger at 50 m/s has 0.02 / 50^2 = 8e-6 s2/m2.
    """,
    default=0.0,
    at_least=0,
    usual="0 to 0.00005 s2/m2, typically 0.00001",
)


@quantity("N m/A", source="Kt = 1/kV in SI units: equal electrical and mechanical power of an ideal motor")
def motor_torque_constant(motor_speed_constant: Array) -> Array:
    """Torque of the motor per ampere."""
    return 1 / motor_speed_constant


@quantity("m", source="centrifugal growth goes with speed squared")
def rolling_radius(tyre_radius: Array, tyre_growth: Array, speed: Array) -> Array:
    """Radius of the driven tyres at this speed."""
    return tyre_radius * (1 + tyre_growth * speed**2)


@quantity("m", source="definition")
def tyre_rise(rolling_radius: Array, tyre_radius: Array) -> Array:
    """How far the growth of the tyres raises the car at this speed; all four are taken to grow alike."""
    return rolling_radius - tyre_radius


@quantity("rad/s", source="rolling without slip")
def motor_speed(speed: Array, rolling_radius: Array, gear_ratio: Array) -> Array:
    """Speed of the motor shaft, tyres not slipping."""
    return speed / rolling_radius * gear_ratio


@quantity("A", source="Ohm's law around the circuit")
def voltage_limited_current(
    battery_voltage: Array,
    battery_resistance: Array,
    wiring_resistance: Array,
    winding_resistance: Array,
    motor_speed: Array,
    motor_speed_constant: Array,
) -> Array:
    """Motor current the battery voltage allows at this speed; negative past the no-load speed."""
    spare_voltage = battery_voltage - motor_speed / motor_speed_constant
    return spare_voltage / (battery_resistance + wiring_resistance + winding_resistance)


@quantity("A", source="definition")
def motor_current(voltage_limited_current: Array, current_limit: Array) -> Array:
    """Motor current at full throttle at this speed."""
    return np.minimum(voltage_limited_current, current_limit)


@quantity("N m", source="motor equation: torque constant times current above the no-load current")
def motor_torque(motor_torque_constant: Array, motor_current: Array, no_load_current: Array) -> Array:
    """Torque of the motor shaft at full throttle at this speed; none past the highest revs of the battery."""
    return motor_torque_constant * np.maximum(motor_current - no_load_current, 0)


@quantity("W", source="power = torque times speed")
def motor_power(motor_torque: Array, motor_speed: Array) -> Array:
    """Power of the motor shaft at full throttle at this speed."""
    return motor_torque * motor_speed


@quantity(
    "N",
    source="torque through the gears over the radius (Gillespie, Fundamentals of Vehicle Dynamics, ch. 2)",
)
def wheel_force(
    motor_torque: Array, gear_ratio: Array, drive_efficiency: Array, rolling_radius: Array
) -> Array:
    """Push at the tyres the drive could give if they gripped."""
    return motor_torque * gear_ratio * drive_efficiency / rolling_radius


@quantity("W", source="power = force times speed")
def wheel_power(wheel_force: Array, speed: Array) -> Array:
    """Power the drive can bring to the tyres at this speed."""
    return wheel_force * speed


@quantity("m/s", source="motor equation with the no-load current alone", capped_by="speed_cap")
def rev_limited_speed(
    battery_voltage: Array,
    battery_resistance: Array,
    wiring_resistance: Array,
    winding_resistance: Array,
    no_load_current: Array,
    motor_speed_constant: Array,
    gear_ratio: Array,
    tyre_radius: Array,
    tyre_growth: Array,
    speed_cap: Array,
) -> Array:
    """Speed at which the motor has no torque left: the highest the battery voltage allows in this gear."""
    resistance = battery_resistance + wiring_resistance + winding_resistance
    highest_revs = (battery_voltage - no_load_current * resistance) * motor_speed_constant
    small_tyre_speed = highest_revs / gear_ratio * tyre_radius
    # speed = small_tyre_speed * (1 + growth * speed^2), solved in the form that stays exact without growth.
    inside = 1 - 4 * tyre_growth * small_tyre_speed**2
    grown = 2 * small_tyre_speed / (1 + np.sqrt(np.maximum(inside, 0)))
    return np.clip(np.where(inside < 0, speed_cap, grown), 0, speed_cap)


@quantity("1", source="definition")
def current_binds(voltage_limited_current: Array, current_limit: Array, traction_binds: Array) -> Array:
    """1 where the current limit is what limits the push at this speed, else 0."""
    return (1 - traction_binds) * (voltage_limited_current >= current_limit)


@quantity("1", source="definition")
def revs_bind(current_binds: Array, traction_binds: Array) -> Array:
    """1 where the battery voltage leaves no more current at these revs, else 0: a taller gear would help."""
    return 1 - traction_binds - current_binds


@quantity("1", source="the power of this drive is limited by current or by revs")
def power_binds(traction_binds: Array) -> Array:
    """1 where a power rating is what limits the push at this speed; here never: see current and revs."""
    return 0 * traction_binds
