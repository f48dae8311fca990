"""The run-out: how far a car goes that nobody stops any more, and what it brings to the fence.

The drive is cut, the flap is shut, there are no brakes: drag, rolling resistance and slope alone slow the
car.  Before that the receiver holds the last command for a while, and the car its speed.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, given, quantity
from explorer.model.brakes.slowing import Slowing, slowing
from explorer.model.interpolation import MANY, through
from explorer.model.numeric import CurveOf, balanced

#: Speed in m/s at which a car counts as run out: a foot stops it.
WALKING_PACE = 1.0

fence_distance = given(
    "m",
    "Way along the strip from where the signal is lost, or the drive cut, to the fence.",
    above=0,
    usual="5 to 1000 m",
)

_FAILS = "the car does not come to rest without brakes, or its pitch has diverged"


@quantity(
    "m/s2",
    source="Newton's second law, rotating masses and the load that slowing moves included",
    varying={"resistance_force": "longitudinal_acceleration"},
    fails="the pitch has diverged, or slowing and axle loads find no balance",
)
def coasting_deceleration(resistance_force: Curve, mass: Array, rotating_mass_factor: Array) -> Array:
    """Deceleration at this speed without drive and brakes, positive when the car slows."""
    return balanced(CurveOf(_lacking, (resistance_force, mass * rotating_mass_factor)), np.zeros(())).root


def _lacking(resistance_force: Curve, inertia: Array, tried: Array) -> tuple[Array]:
    """Return how much more the car would slow than is tried."""
    return (resistance_force(-tried) / inertia - tried,)


@quantity(
    "1",
    source="integral of speed over deceleration: a polynomial through eight speeds, Simpson's rule",
    varying={"coasting_deceleration": ("speed", "flap_opening")},
    fails=_FAILS,
)
def run_out(coasting_deceleration: Curve, speed: Array) -> Slowing:
    """Distance and time that a car rolling free takes from this speed, flap shut, by speed."""
    low = np.minimum(WALKING_PACE, speed)
    span = np.maximum(speed - low, 1e-9)
    known = [coasting_deceleration(low + place * span, 0.0) for place in MANY]
    deceleration = through(known)
    return slowing(lambda passed: deceleration((passed - low) / span), low, speed)


@quantity("m", source="see run_out", fails=_FAILS)
def run_out_distance(run_out: Slowing, speed: Array, fail_safe_hold: Array) -> Array:
    """How far the car goes from the loss of the signal until it is down to 1 m/s, drive cut, without brakes.

    This is what places people and fences, not the stopping distance.  Flap shut all the way: one that stays
    open lets the car run farther.
    """
    rolling: Array = run_out.distance[-1]
    return speed * fail_safe_hold + rolling


@quantity("s", source="see run_out", fails=_FAILS)
def run_out_time(run_out: Slowing, fail_safe_hold: Array) -> Array:
    """How long the car runs from the loss of the signal until it is down to 1 m/s, without brakes."""
    rolling: Array = run_out.time[-1]
    return fail_safe_hold + rolling


@quantity("m/s", source="see run_out", fails=_FAILS)
def fence_speed(run_out: Slowing, speed: Array, fail_safe_hold: Array, fence_distance: Array) -> Array:
    """Speed at the fence of a car that nobody stops, as run_out_distance; 0 where it does not get there."""
    return run_out.speed_after(fence_distance - speed * fail_safe_hold)


@quantity("J", source="half the mass times speed squared", fails=_FAILS)
def fence_energy(mass: Array, fence_speed: Array) -> Array:
    """Energy with which a car that nobody stops meets the fence, rotation left out."""
    return 0.5 * mass * fence_speed**2
