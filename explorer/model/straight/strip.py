"""The strip: from walking pace at full throttle, then brakes, flap closed, to a stop where the strip ends.

How fast a car can go is a matter of the room it has.  The flap moves from closed to the condition's opening
once the delay is over, and is taken to be closed again when the brakes come on; a condition with the flap
closed never opens it.  The condition's own speed does not matter.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, NamedTuple

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, Part, given, quantity
from explorer.model.drive.full_throttle_loads import WALKING_PACE
from explorer.model.numeric import CurveOf, secant
from explorer.model.straight.driven import Drive, RoadForces
from explorer.model.straight.flap_schedule import SHUT, Flap
from explorer.model.straight.full_throttle import run_along
from explorer.model.straight.run import Run, State
from explorer.model.straight.straight import BRAKES, CURVES, braking_point

strip_length = given(
    "m",
    "From where the car moves off to where it has to stand again, what is kept free left out.",
    above=0,
    usual="20 to 2000 m",
)

#: Share of the top speed at which it counts as reached; a way in metres on which every car gets there.
REACHED, ENDLESS_STRIP = 0.99, np.array(1e5)
#: So many seconds at most, flap closed, a run is followed once for all that reads it.
SHARED = 4.0

_SOURCE = "Newton's second law along the track; Runge-Kutta in time"


def _with_flap(forces: Callable[..., RoadForces], flap_opening: Array, *state: Array) -> RoadForces:
    """Return the forces where a share of the condition's opening stands for the flap opening."""
    speed, share, moved = state
    return forces(speed, share * flap_opening, moved)


@quantity("1", source=_SOURCE, varying=CURVES)
def moving_off(
    road_forces: Callable[..., RoadForces],
    wheel_force: Curve,
    excess_force: Curve,
    mass: Array,
    rotating_mass_factor: Array,
    loads_bend: Array,
    flap_delay: Array,
) -> Run:
    """Time, distance and speed from walking pace, flap closed, until it starts to move; no more than 4 s."""
    drive = Drive(road_forces, wheel_force, excess_force, mass * rotating_mass_factor, loads_bend)
    begin, until = State.at_start(np.asarray(WALKING_PACE)), np.minimum(flap_delay, SHARED)
    return run_along(drive, begin, ENDLESS_STRIP, SHUT, until=until)


@quantity("1", source=_SOURCE, varying=CURVES)
def strip_run(
    moving_off: Run,
    road_forces: Callable[..., RoadForces],
    wheel_force: Curve,
    excess_force: Curve,
    mass: Array,
    rotating_mass_factor: Array,
    loads_bend: Array,
    flap_opening: Array,
    strip_length: Array,
    flap_delay: Array,
    flap_opening_duration: Array,
) -> Run:
    """Time, distance and speed along the strip from walking pace, braking left out."""
    forces = CurveOf(_with_flap, (road_forces, flap_opening))
    drive = Drive(forces, wheel_force, excess_force, mass * rotating_mass_factor, loads_bend)
    flap = Flap.after(flap_delay, flap_opening_duration)
    return moving_off.then(run_along(drive, moving_off.last, strip_length, flap))


class StripEnd(NamedTuple):
    """Where the run on a strip has to end."""

    strip_speed: Annotated[
        Array, Part("m/s", "Highest speed on the strip: full throttle from walking pace, room to stop left.")
    ]
    strip_braking_point: Annotated[
        Array, Part("m", "Way from moving off to the last place at which to see that it is time to brake.")
    ]


@quantity(
    "1",
    source=_SOURCE + ", braking line met by the secant method",
    varying=BRAKES,
    fails="the car does not get to the end of the strip, its pitch diverges on it, or nothing stops it there",
)
def strip_end(
    strip_run: Run,
    braking_limits: Curve,
    brake_push: Curve,
    strip_length: Array,
    reaction_time: Array,
    radio_delay: Array,
) -> StripEnd:
    """Speed and place at which the car has just the room left that reaction, radio and brakes take."""
    point = braking_point(
        strip_run,
        braking_limits,
        brake_push,
        np.zeros(()),
        strip_length,
        reaction_time + radio_delay,
    )
    return StripEnd(point.speed, point.distance)


@quantity(
    "m",
    source=_SOURCE,
    varying=CURVES,
    fails="no top speed, or the car does not come within 1 % of it",
)
def top_speed_room(
    moving_off: Run,
    road_forces: Callable[..., RoadForces],
    wheel_force: Curve,
    excess_force: Curve,
    mass: Array,
    rotating_mass_factor: Array,
    loads_bend: Array,
    flap_opening: Array,
    top_speed: Array,
    flap_delay: Array,
    flap_opening_duration: Array,
) -> Array:
    """Way from walking pace to 99 % of the top speed at full throttle; what braking takes comes on top."""
    forces, enough = CurveOf(_with_flap, (road_forces, flap_opening)), REACHED * top_speed
    drive = Drive(forces, wheel_force, excess_force, mass * rotating_mass_factor, loads_bend)
    flap = Flap.after(flap_delay, flap_opening_duration)
    run = moving_off.then(run_along(drive, moving_off.last, ENDLESS_STRIP, flap, enough))
    rows = run.rows_where(lambda state: state.speed < enough)
    step = run.step(rows)
    share = secant(lambda tried: step.at(tried).speed - enough, np.zeros(rows.shape), np.ones(rows.shape))
    room = np.where(rows < len(run.time), step.at(share).distance, np.nan)
    return np.where(enough <= WALKING_PACE, 0.0, room)
