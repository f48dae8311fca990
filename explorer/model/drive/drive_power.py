"""The drive as a builder without a dynamometer knows it: shaft power and a share lost on the way."""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Usual, given, quantity

shaft_power = given(
    "W",
    "Power of the motor shaft at full throttle, taken as the same at every speed.",
    above=0,
    usual=Usual("100 W", None, "15 kW"),
    lever="100 W",
)
drive_efficiency = given(
    "1",
    "Share of the shaft power that reaches the tyres.",
    above=0,
    at_most=1,
    usual="0.70 to 0.92, typically 0.82",
)
tyre_rise_per_speed_squared = given(
    "s2/m",
    """How far the growth of the tyres raises the car, per speed squared.

    Tyres 1 mm larger in radius at 50 m/s have 0.001 / 50^2 = 4e-7 s2/m.
    """,
    default=0.0,
    at_least=0,
    usual=Usual("0 s2/m", "0.0000004 s2/m", "0.0000025 s2/m"),
)


@quantity("m", source="centrifugal growth goes with speed squared")
def tyre_rise(tyre_rise_per_speed_squared: Array, speed: Array) -> Array:
    """How far the growth of the tyres raises the car at this speed; all four are taken to grow alike."""
    return tyre_rise_per_speed_squared * speed**2


@quantity("W", source="definition")
def wheel_power(shaft_power: Array, drive_efficiency: Array) -> Array:
    """Power the drive can bring to the tyres."""
    return shaft_power * drive_efficiency


@quantity("N", source="definition: power over speed")
def wheel_force(wheel_power: Array, speed: Array) -> Array:
    """Push at the tyres the drive could give if they gripped; below 0.1 m/s as at 0.1 m/s."""
    return wheel_power / np.maximum(speed, 0.1)


@quantity("1", source="definition")
def power_binds(traction_binds: Array) -> Array:
    """1 where power is what limits the push at this speed, else 0."""
    return 1 - traction_binds


@quantity("1", source="a drive given by its power has no current limit")
def current_binds(traction_binds: Array) -> Array:
    """1 where the current limit is what limits the push at this speed; here never."""
    return 0 * traction_binds


@quantity("1", source="a drive given by its power has no limit of revs")
def revs_bind(traction_binds: Array) -> Array:
    """1 where the revs are what limits the push at this speed; here never."""
    return 0 * traction_binds
