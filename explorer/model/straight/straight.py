"""The straight: full throttle from the corner's exit, then brakes, flap closed, to the next corner's speed.

Followed twice: with the flap used, opened once the delay is over, and with the flap never used.  The flap is
taken to be closed again when the brakes come on.  The condition's own speed and flap opening do not matter.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, given, quantity
from explorer.model.brakes.braking import braking_line
from explorer.model.numeric import secant
from explorer.model.straight.driven import Drive, RoadForces
from explorer.model.straight.flap_schedule import SHUT, Flap
from explorer.model.straight.full_throttle import run_along
from explorer.model.straight.run import Run, State

straight_length = given(
    "m",
    "From the corner's exit to the point where the next corner's speed is due.",
    above=0,
    usual="10 to 1500 m",
)
corner_exit_speed = given(
    "m/s", "Speed at the start of the straight.", above=0, usual="1 to 50 m/s", of_the_day=True
)
flap_delay = given(
    "s",
    "From the start of the straight to the moment the flap starts to move, the driver's time included.",
    default=0.0,
    at_least=0,
    usual="0 to 5 s, typically 0.5",
)

_FAILS = "the straight is too short to brake in, the car does not reach its end, or its pitch diverges on it"
_SOURCE = "Newton's second law along the track; Runge-Kutta in time, braking line met by the secant method"
CURVES: dict[str, str | tuple[str, ...]] = {
    "road_forces": ("speed", "flap_opening", "longitudinal_acceleration"),
    "wheel_force": "speed",
    "excess_force": ("wheel_force", "front_axle_load", "rear_axle_load", "resistance_force"),
}
BRAKES: dict[str, str | tuple[str, ...]] = {
    "braking_limits": ("speed", "flap_opening"),
    "brake_push": "speed",
}


class BrakingPoint(NamedTuple):
    """Where the brakes have to come on, and what is left from there."""

    distance: Array
    time: Array
    speed: Array
    time_left: Array


@quantity("1", source=_SOURCE, varying=CURVES)
def run_with_flap(
    road_forces: Callable[..., RoadForces],
    wheel_force: Curve,
    excess_force: Curve,
    mass: Array,
    rotating_mass_factor: Array,
    loads_bend: Array,
    corner_exit_speed: Array,
    straight_length: Array,
    flap_delay: Array,
    flap_opening_duration: Array,
) -> Run:
    """Time, distance and speed along the straight with the flap used, braking left out."""
    drive = Drive(road_forces, wheel_force, excess_force, mass * rotating_mass_factor, loads_bend)
    flap = Flap.after(flap_delay, flap_opening_duration)
    return run_along(drive, State.at_start(corner_exit_speed), straight_length, flap)


@quantity("1", source=_SOURCE, varying=CURVES)
def run_without_flap(
    road_forces: Callable[..., RoadForces],
    wheel_force: Curve,
    excess_force: Curve,
    mass: Array,
    rotating_mass_factor: Array,
    loads_bend: Array,
    corner_exit_speed: Array,
    straight_length: Array,
) -> Run:
    """Time, distance and speed along the straight with the flap never used, braking left out."""
    drive = Drive(road_forces, wheel_force, excess_force, mass * rotating_mass_factor, loads_bend)
    return run_along(drive, State.at_start(corner_exit_speed), straight_length, SHUT)


@quantity("1", source=_SOURCE, varying=BRAKES, fails=_FAILS)
def braking_with_flap(
    run_with_flap: Run,
    braking_limits: Curve,
    brake_push: Curve,
    corner_speed: Array,
    straight_length: Array,
) -> BrakingPoint:
    """Distance, time and speed at the braking point, flap used, and the time left to the corner."""
    return braking_point(run_with_flap, braking_limits, brake_push, corner_speed, straight_length)


@quantity("1", source=_SOURCE, varying=BRAKES, fails=_FAILS)
def braking_without_flap(
    run_without_flap: Run,
    braking_limits: Curve,
    brake_push: Curve,
    corner_speed: Array,
    straight_length: Array,
) -> BrakingPoint:
    """Distance, time and speed at the braking point, flap never used, and the time left to the corner."""
    return braking_point(run_without_flap, braking_limits, brake_push, corner_speed, straight_length)


@quantity("m", source="see braking_with_flap", fails=_FAILS)
def braking_distance(straight_length: Array, braking_with_flap: BrakingPoint) -> Array:
    """Distance before the corner at which the brakes have to come on, flap used."""
    return straight_length - braking_with_flap.distance


@quantity("m", source="see braking_without_flap", fails=_FAILS)
def braking_distance_closed(straight_length: Array, braking_without_flap: BrakingPoint) -> Array:
    """Distance before the corner at which the brakes have to come on, flap never used."""
    return straight_length - braking_without_flap.distance


@quantity("m/s", source="see braking_with_flap", fails=_FAILS)
def speed_at_braking_point(braking_with_flap: BrakingPoint) -> Array:
    """Speed when the brakes come on, flap used: the highest on the straight."""
    return braking_with_flap.speed


@quantity("m/s", source="see braking_without_flap", fails=_FAILS)
def speed_at_braking_point_closed(braking_without_flap: BrakingPoint) -> Array:
    """Speed when the brakes come on, flap never used."""
    return braking_without_flap.speed


@quantity("s", source="see braking_with_flap", fails=_FAILS)
def time_to_braking_point(braking_with_flap: BrakingPoint) -> Array:
    """Time from the corner's exit to the braking point, flap used."""
    return braking_with_flap.time


@quantity("s", source="see braking_without_flap", fails=_FAILS)
def time_to_braking_point_closed(braking_without_flap: BrakingPoint) -> Array:
    """Time from the corner's exit to the braking point, flap never used."""
    return braking_without_flap.time


@quantity("s", source="see braking_with_flap", fails=_FAILS)
def straight_time(braking_with_flap: BrakingPoint) -> Array:
    """Time over the whole straight, braking included, flap used."""
    return braking_with_flap.time + braking_with_flap.time_left


@quantity("s", source="see braking_without_flap", fails=_FAILS)
def straight_time_closed(braking_without_flap: BrakingPoint) -> Array:
    """Time over the whole straight, braking included, flap never used."""
    return braking_without_flap.time + braking_without_flap.time_left


def braking_point(
    run: Run,
    braking_limits: Curve,
    brake_push: Curve,
    corner_speed: Array,
    straight_length: Array,
    delay: Array | float = 0.0,
) -> BrakingPoint:
    """Find where a run meets the last moment to brake; NaN where it starts past it or never gets there.

    For so many seconds of ``delay`` the car goes on at its speed before it brakes.
    """
    line = braking_line(braking_limits, brake_push, corner_speed, np.max(run.speed, axis=0))

    def room(state: State) -> Array:
        return straight_length - state.distance - delay * state.speed - line.distance_from(state.speed)

    # The room only ever shrinks along a run: the rows that still have some come first.
    rows = run.rows_until(lambda state: room(state) > 0)
    met = (rows > 0) & (rows < len(run.time))
    step = run.step(rows)
    share = secant(lambda tried: room(step.at(tried)), np.zeros(rows.shape), np.ones(rows.shape))
    point = step.at(np.where(met, share, np.nan))
    return BrakingPoint(point.distance, point.time, point.speed, delay + line.time_from(point.speed))
