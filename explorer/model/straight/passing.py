"""Can it pass?  Against a car alike that leaves the corner ahead of this one, at the same speed.

The car ahead keeps its flap closed and runs in undisturbed air.  This car uses its flap and comes to the
start of the straight later, by the time it takes for the gap and a car's length at that speed: while both
gain speed, the gap stretches.  It runs in the wake the condition gives, from the first metre until it closes
in to the gap at which it pulls out; then it has clear air, in braking too.  The pass is made when this car,
at its own braking point, is level, nose with nose.  A car ahead that can be caught like that is slower, and
brakes later still.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask
from explorer.graph.quantity import Curve, given, quantity
from explorer.model.numeric import CurveOf
from explorer.model.straight.driven import Drive, RoadForces
from explorer.model.straight.flap_schedule import Flap
from explorer.model.straight.full_throttle import run_along
from explorer.model.straight.run import Run, State
from explorer.model.straight.straight import BrakingPoint, braking_point

gap_to_car_ahead = given(
    "m",
    """Room between the nose of this car and the tail of the car ahead, when this nose starts the straight.

    Taken at the speed of the corner's exit: the gap on film, there.
    """,
    at_least=0,
    usual="0 to 30 m",
    of_the_day=True,
)
car_length = given("m", "Length of the car, nose to tail.", above=0, usual="0.3 to 1.2 m")
pull_out_gap = given(
    "m",
    """Room nose to tail at which this car, closing in, pulls out of the wake.

    The default is a judgement: about a car's length.  It matters only where the condition gives a wake.
    """,
    default=0.5,
    at_least=0,
    of_the_day=True,
    usual="0 to 3 m",
)

_FAILS = "the straight is too short to brake in, a car does not reach its end, or its pitch diverges on it"
_WAKE = ("wake_loss_front", "wake_loss_rear")


class PullOut(NamedTuple):
    """Where this car leaves the wake; ``reached`` tells whether it closes in so far at all."""

    state: State
    reached: Mask


@quantity("s", source="way at a held speed")
def time_gap_to_car_ahead(gap_to_car_ahead: Array, car_length: Array, corner_exit_speed: Array) -> Array:
    """How much later this car starts the straight than the one ahead; or give it as it was timed."""
    return (gap_to_car_ahead + car_length) / corner_exit_speed


@quantity("1", source="definition")
def run_in_the_wake(run_without_flap: Run) -> Run:
    """Time, distance and speed of this car along the straight with the flap never used, braking left out."""
    return run_without_flap


@quantity("1", source="definition", varying={"run_without_flap": _WAKE})
def run_of_car_ahead(
    run_without_flap: Callable[..., Run], run_in_the_wake: Run, wake_loss_front: Array, wake_loss_rear: Array
) -> Run:
    """Time, distance and speed of the car ahead, in clear air, its flap never used, braking left out."""
    # Without a wake it runs as this car would with its flap shut: that run is there already.
    waked = np.any(_waked(wake_loss_front, wake_loss_rear))
    return run_without_flap(0.0, 0.0) if waked else run_in_the_wake


@quantity("1", source="both cars' distances at the same time")
def pull_out(
    run_with_flap: Run,
    run_of_car_ahead: Run,
    time_gap_to_car_ahead: Array,
    pull_out_gap: Array,
    car_length: Array,
    wake_loss_front: Array,
    wake_loss_rear: Array,
) -> PullOut:
    """Where this car, closing in, is so near to the one ahead that it leaves its wake."""
    states = [State(*row) for row in zip(*run_with_flap, strict=True)]
    waked = _waked(wake_loss_front, wake_loss_rear)
    if not np.any(waked):
        return PullOut(states[-1], np.zeros(np.shape(states[-1].time), bool))

    def left(state: State) -> tuple[Array, Mask]:
        """Return the gap left until this car pulls out, and whether it closes in."""
        ahead = run_of_car_ahead.at(state.time + time_gap_to_car_ahead)
        closing: Mask = state.speed > ahead.speed
        return ahead.distance - state.distance - car_length - pull_out_gap, closing

    # A car that has no wake has none to leave, whatever wake the cars beside it are in.
    near = np.array([waked & closing & (gap <= 0) for gap, closing in map(left, states)])
    step = run_with_flap.step(np.argmax(near, axis=0))
    before, after = left(step.begin)[0], left(step.end)[0]
    share = np.where(before > 0, before / np.where(before > after, before - after, 1.0), 1.0)
    reached: Mask = np.any(near, axis=0)
    found = step.at(np.clip(share, 0, 1))
    return PullOut(
        State(*(np.where(reached, here, last) for here, last in zip(found, states[-1], strict=True))), reached
    )


@quantity(
    "1",
    source="see run_with_flap, from where this car pulls out",
    varying={
        "road_forces": ("speed", "flap_opening", "longitudinal_acceleration", *_WAKE),
        "wheel_force": "speed",
        "excess_force": ("wheel_force", "front_axle_load", "rear_axle_load", "resistance_force"),
    },
)
def run_after_pull_out(
    pull_out: PullOut,
    run_with_flap: Run,
    road_forces: Callable[..., RoadForces],
    wheel_force: Curve,
    excess_force: Curve,
    mass: Array,
    rotating_mass_factor: Array,
    loads_bend: Array,
    straight_length: Array,
    flap_delay: Array,
    flap_opening_duration: Array,
) -> Run:
    """Time, distance and speed in clear air, flap used, from where this car pulls out; braking left out."""
    if not np.any(pull_out.reached):
        return run_with_flap
    inertia = mass * rotating_mass_factor
    drive = Drive(CurveOf(_in_clear_air, (road_forces,)), wheel_force, excess_force, inertia, loads_bend)
    flap = Flap.after(flap_delay, flap_opening_duration)
    return run_along(drive, pull_out.state, straight_length, flap)


@quantity(
    "1",
    source="see braking_with_flap, in the wake until this car pulls out",
    varying={"braking_limits": ("speed", "flap_opening", *_WAKE), "brake_push": "speed"},
    fails=_FAILS,
)
def braking_in_passing(
    pull_out: PullOut,
    run_after_pull_out: Run,
    braking_with_flap: BrakingPoint,
    braking_limits: Curve,
    brake_push: Curve,
    corner_speed: Array,
    straight_length: Array,
) -> BrakingPoint:
    """Distance, time and speed of this car at its braking point, in clear air where it has pulled out."""
    if not np.any(pull_out.reached):
        return braking_with_flap
    clear = braking_point(
        run_after_pull_out,
        lambda speed, opening: braking_limits(speed, opening, 0.0, 0.0),
        brake_push,
        corner_speed,
        straight_length,
    )
    out = pull_out.reached & ~(braking_with_flap.time <= pull_out.state.time)
    return BrakingPoint(
        *(np.where(out, here, waked) for here, waked in zip(clear, braking_with_flap, strict=True))
    )


@quantity("m", source="difference of both distances at the same time", fails=_FAILS)
def gap_at_braking_point(
    braking_in_passing: BrakingPoint, run_of_car_ahead: Run, time_gap_to_car_ahead: Array, car_length: Array
) -> Array:
    """Room between nose and tail when this car has to brake; at minus a car's length both are level.

    Cars alike that both have gone over from one speed to another have (gap + length) v2/v1 - length.
    """
    ahead = run_of_car_ahead.at(braking_in_passing.time + time_gap_to_car_ahead)
    return ahead.distance - braking_in_passing.distance - car_length


@quantity("m", source="definition", fails=_FAILS)
def pass_metres_gained(gap_at_braking_point: Array, gap_to_car_ahead: Array) -> Array:
    """Metres this car gains on the one ahead up to its braking point; negative where the gap stretches."""
    return gap_to_car_ahead - gap_at_braking_point


@quantity("m", source="definition", fails=_FAILS)
def pass_margin(gap_at_braking_point: Array, car_length: Array) -> Array:
    """Metres this car is ahead of level when it has to brake; negative: so many metres are lacking.

    A limit of at least 0 on it gives the probability that the pass is made before braking.
    """
    return -gap_at_braking_point - car_length


@quantity("1", source="see pull_out and braking_with_flap", fails=_FAILS)
def pulls_out(pull_out: PullOut, braking_with_flap: BrakingPoint) -> Array:
    """1 where this car leaves the wake before it has to brake, else 0; its mean says how often."""
    out = pull_out.reached & ~(braking_with_flap.time <= pull_out.state.time)
    return np.where(out, 1.0, 0 * braking_with_flap.time)


def _in_clear_air(road_forces: Callable[..., RoadForces], *state: Array) -> RoadForces:
    return road_forces(*state, 0.0, 0.0)


def _waked(front: Array, rear: Array) -> Mask:
    """Tell which cars run in a wake."""
    waked: Mask = (np.asarray(front) != 0) | (np.asarray(rear) != 0)
    return waked
