"""Heat of motor and battery over the runs of a day: one lump each, warmed by every run, cooling in between.

A run is full throttle for a given time at the speed of the condition; give the speed at which the current is
highest for the safe side.  After many runs alike the lump no longer gets warmer from run to run.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity

full_throttle_time = given("s", "Time at full throttle in a run.", above=0, usual="0.5 to 600 s")
run_interval = given("s", "Time from one run to the next.", above=0, usual="10 to 7200 s", lever="60 s")
runs_of_the_day = given("1", "Number of runs, one after the other.", at_least=1, usual="1 to 40")
motor_heat_capacity = given(
    "J/K",
    """Heat that warms the motor by a degree.

    Mass times about 450 J/(kg K) for copper, iron and magnets together (judgement).
    """,
    above=0,
    usual="40 to 800 J/K, typically 200",
)
battery_heat_capacity = given(
    "J/K",
    """Heat that warms the battery by a degree.

    Mass times about 1000 J/(kg K) for lithium cells (judgement).
    """,
    above=0,
    usual="200 to 2500 J/K, typically 700",
)
motor_cooling_time = given(
    "s",
    "Time in which the standing motor loses two thirds of its warmth, more exactly 1 - 1/e.",
    above=0,
    usual="180 to 2400 s, typically 600",
)
battery_cooling_time = given(
    "s",
    "Time in which the standing battery loses two thirds of its warmth, more exactly 1 - 1/e.",
    above=0,
    usual="600 to 7200 s, typically 2400",
)


@quantity("W", source="Joule's law, and the power of the idle motor")
def motor_heat_rate(
    motor_current: Array,
    winding_resistance: Array,
    no_load_current: Array,
    motor_speed: Array,
    motor_speed_constant: Array,
) -> Array:
    """Heat the motor makes at full throttle at this speed: windings, iron and bearings."""
    current = np.maximum(motor_current, 0)
    return current**2 * winding_resistance + no_load_current * motor_speed / motor_speed_constant


@quantity("W", source="Joule's law", fails="the battery cannot give the current")
def battery_heat_rate(battery_current: Array, battery_resistance: Array) -> Array:
    """Heat the battery makes at full throttle at this speed."""
    return battery_current**2 * battery_resistance


@quantity("K", source="geometric series of equal runs, cooling exponentially in between")
def motor_temperature(
    air_temperature: Array,
    motor_heat_rate: Array,
    full_throttle_time: Array,
    motor_heat_capacity: Array,
    motor_cooling_time: Array,
    run_interval: Array,
    runs_of_the_day: Array,
) -> Array:
    """Temperature of the motor at the end of the last run; it begins the day as warm as the air.

    What is lost during a run is left out.
    """
    once = motor_heat_rate * full_throttle_time / motor_heat_capacity
    return air_temperature + once * _series(run_interval / motor_cooling_time, runs_of_the_day)


@quantity("K", source="geometric series of equal runs, cooling exponentially in between")
def battery_temperature(
    air_temperature: Array,
    battery_heat_rate: Array,
    full_throttle_time: Array,
    battery_heat_capacity: Array,
    battery_cooling_time: Array,
    run_interval: Array,
    runs_of_the_day: Array,
) -> Array:
    """Temperature of the battery at the end of the last run; it begins the day as warm as the air.

    What is lost during a run is left out.
    """
    once = battery_heat_rate * full_throttle_time / battery_heat_capacity
    return air_temperature + once * _series(run_interval / battery_cooling_time, runs_of_the_day)


def _series(cooling: Array, runs: Array) -> Array:
    """Return 1 + r + r^2 + ... of so many runs, with r what is left of a warmth at the next run."""
    series: Array = np.expm1(-cooling * runs) / np.expm1(-cooling)
    return series
