"""The attitude at which springs and air forces balance, for air forces that are straight lines in pitch.

With the pitch as the one unknown, both axle loads are straight lines in it:

    front travel  = front_level_compression - front_compression_loss * pitch        (same at the rear)
    pitch         = static_pitch + (rear travel - front travel) / wheelbase

which is one linear equation; its denominator is the determinant of the two-equation heave-pitch system over
the product of the rates and the wheelbase.  Stops bend the lines, and the splitter's gap changes its
downforce: then the same equation is solved again, sample by sample only as often as it takes.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity
from explorer.model.aero.ground_effect import gained_share, smallest_useful_gap
from explorer.model.attitude.suspension import AxleSpring
from explorer.model.numeric import secant

splitter_ground_gain = given(
    "1",
    """How the splitter's downforce grows as its gap closes: percent of downforce per percent of gap.

    0 switches the effect off.
    """,
    default=0.0,
    at_least=0,
)
splitter_gap_at_rest = given(
    "m", "Gap under the splitter's centre of pressure at rest.", default=0.01, above=0
)
splitter_reference_gap = given(
    "m", "Gap at which the splitter's downforce coefficient was found.", default=0.01, above=0
)
splitter_critical_gap = given(
    "m",
    """Gap below which the splitter stalls: its downforce then falls in proportion to the gap left.

    0 for no stall; the gain then ends at a twentieth of the reference gap.
    """,
    default=0.0,
    at_least=0,
)


@quantity("m", source="statics: load over rate")
def front_level_compression(
    dynamic_pressure: Array, front_downforce_area: Array, load_transfer: Array, front_axle_rate: Array
) -> Array:
    """How far the front would go down from rest if the car stayed at zero pitch, stops out of reach."""
    return (dynamic_pressure * front_downforce_area - load_transfer) / front_axle_rate


@quantity("m", source="statics: load over rate")
def rear_level_compression(
    dynamic_pressure: Array, rear_downforce_area: Array, load_transfer: Array, rear_axle_rate: Array
) -> Array:
    """How far the rear would go down from rest if the car stayed at zero pitch, stops out of reach."""
    return (dynamic_pressure * rear_downforce_area + load_transfer) / rear_axle_rate


@quantity("m/rad", source="statics: load over rate")
def front_compression_loss(
    dynamic_pressure: Array, front_downforce_area_loss: Array, front_axle_rate: Array
) -> Array:
    """How far the front comes up per radian of nose-up pitch, through the air forces alone."""
    return dynamic_pressure * front_downforce_area_loss / front_axle_rate


@quantity("m/rad", source="statics: load over rate")
def rear_compression_loss(
    dynamic_pressure: Array, rear_downforce_area_loss: Array, rear_axle_rate: Array
) -> Array:
    """How far the rear comes up per radian of nose-up pitch, through the air forces alone."""
    return dynamic_pressure * rear_downforce_area_loss / rear_axle_rate


@quantity(
    "N",
    source="power law of the gap; rise and stall as in Zerihan & Zhang, J. Aircraft 37(6), 2000 (trend only)",
    fails="splitter gap and downforce found no balance",
)
def splitter_ground_force(
    splitter_ground_gain: Array,
    splitter_gap_at_rest: Array,
    splitter_reference_gap: Array,
    splitter_critical_gap: Array,
    splitter_station: Array,
    splitter_downforce_area: Array,
    splitter_downforce_area_loss: Array,
    dynamic_pressure: Array,
    static_pitch: Array,
    wheelbase: Array,
    front_level_compression: Array,
    rear_level_compression: Array,
    front_compression_loss: Array,
    rear_compression_loss: Array,
    front_axle_spring: AxleSpring,
    rear_axle_spring: AxleSpring,
) -> Array:
    """Downforce the splitter gains by being closer to the ground than its reference gap; farther is negative.

    More downforce closes the gap, which changes the downforce: the balance is found by the secant method.
    """
    if not np.any(splitter_ground_gain):
        return np.zeros(())
    front = Axle(front_level_compression, front_compression_loss, front_axle_spring)
    rear = Axle(rear_level_compression, rear_compression_loss, rear_axle_spring)
    rear_share = splitter_station / wheelbase
    smallest_gap = smallest_useful_gap(splitter_critical_gap, splitter_reference_gap)

    def gained(force: Array) -> Array:
        nose = front.with_load(force * (1 - rear_share))
        angle = balanced_pitch(static_pitch, wheelbase, nose, rear.with_load(force * rear_share))
        gap = splitter_gap_at_rest - nose.travel(angle) - (angle - static_pitch) * splitter_station
        area = splitter_downforce_area - splitter_downforce_area_loss * angle
        share = gained_share(gap, splitter_ground_gain, splitter_reference_gap, smallest_gap)
        return dynamic_pressure * area * share

    nothing = np.zeros_like(dynamic_pressure)
    return secant(lambda force: gained(force) - force, nothing, gained(nothing))


@quantity(
    "rad",
    source="balance of heave and pitch on linear springs; stops by Newton's method on straight pieces",
    fails="pitch has diverged: no attitude at which the springs hold the air forces",
)
def pitch(
    static_pitch: Array,
    wheelbase: Array,
    front_level_compression: Array,
    rear_level_compression: Array,
    front_compression_loss: Array,
    rear_compression_loss: Array,
    front_axle_spring: AxleSpring,
    rear_axle_spring: AxleSpring,
    splitter_ground_force: Array,
    splitter_station: Array,
) -> Array:
    """Steady pitch of the car at this speed, nose-up positive, its pitch at rest included.

    Past the divergence speed there is none, unless a stop holds the car.
    """
    front = Axle(front_level_compression, front_compression_loss, front_axle_spring)
    rear = Axle(rear_level_compression, rear_compression_loss, rear_axle_spring)
    if np.any(splitter_ground_force):
        rear_share = splitter_station / wheelbase
        front = front.with_load(splitter_ground_force * (1 - rear_share))
        rear = rear.with_load(splitter_ground_force * rear_share)
    return balanced_pitch(static_pitch, wheelbase, front, rear)


class Axle(NamedTuple):
    """An axle whose load is a straight line in pitch: travel at zero pitch, loss per radian, springs."""

    level: Array
    loss: Array
    spring: AxleSpring

    def with_load(self, load: Array) -> Axle:
        """Return the axle with a load added at every pitch."""
        return self._replace(level=self.level + load / self.spring.rate)

    def free(self, pitch: Array) -> Array:
        """Return the travel at a pitch as if there were no stops."""
        return self.level - self.loss * pitch

    def travel(self, pitch: Array) -> Array:
        """Return the travel at a pitch."""
        return self.spring.stopped(self.free(pitch))

    def held(self, pitch: Array, stop_share: Array) -> tuple[Array, Array]:
        """Return the share that the stop touched at a pitch takes from any travel, and what it adds."""
        free = self.free(pitch)
        kept = np.clip(free, -self.spring.droop, self.spring.bump)
        share = stop_share * (free != kept)
        return share, share * kept


def balanced_pitch(static_pitch: Array, wheelbase: Array, front: Axle, rear: Axle) -> Array:
    """Solve the pitch equation of this file's head; NaN where no stable balance exists."""
    lean = static_pitch + (rear.level - front.level) / wheelbase
    stiffness = 1 + (rear.loss - front.loss) / wheelbase
    if np.min(stiffness) > 0:
        angle = lean / stiffness
        if front.spring.never_stopped(front.free(angle)) and rear.spring.never_stopped(rear.free(angle)):
            return angle
    stable = stiffness > 0
    # A diverging car goes on in the direction it leans until a stop holds it: start from far out there.
    angle = np.where(stable, lean / stiffness, np.copysign(1.0, lean))
    without_stops = np.where(stable, angle, np.nan)
    share_at_front, share_at_rear = front.spring.stop_share, rear.spring.stop_share
    held = *front.held(angle, share_at_front), *rear.held(angle, share_at_rear)
    stopped = ((held[0] != 0) | (held[2] != 0)) & np.isfinite(angle)
    if not np.any(stopped):
        return without_stops
    settled = ~stopped
    for _ in range(20):
        # Between the same stops all is linear: solved at once, and right if those are touched again.
        front_share, front_added, rear_share, rear_added = held
        front_kept, rear_kept = 1 - front_share, 1 - rear_share
        travel = rear_kept * rear.level + rear_added - front_kept * front.level - front_added
        stiffness = 1 + (rear_kept * rear.loss - front_kept * front.loss) / wheelbase
        angle = (static_pitch + travel / wheelbase) / stiffness
        held = *front.held(angle, share_at_front), *rear.held(angle, share_at_rear)
        settled = settled | ((held[1] == front_added) & (held[3] == rear_added) & (stiffness > 0))
        if np.all(settled):
            break
    return np.where(stopped, np.where(settled, angle, np.nan), without_stops)


@quantity("N", source="sum of the parts about the rear contact patches")
def front_downforce(
    dynamic_pressure: Array,
    front_downforce_area: Array,
    front_downforce_area_loss: Array,
    pitch: Array,
    splitter_ground_force: Array,
    splitter_station: Array,
    wheelbase: Array,
) -> Array:
    """Front axle load from the air, the drag's lever included, as a wind tunnel balance shows it."""
    force = dynamic_pressure * (front_downforce_area - front_downforce_area_loss * pitch)
    if np.any(splitter_ground_force):
        force = force + splitter_ground_force * (1 - splitter_station / wheelbase)
    return force


@quantity("N", source="sum of the parts about the front contact patches")
def rear_downforce(
    dynamic_pressure: Array,
    rear_downforce_area: Array,
    rear_downforce_area_loss: Array,
    pitch: Array,
    splitter_ground_force: Array,
    splitter_station: Array,
    wheelbase: Array,
) -> Array:
    """Rear axle load from the air, the drag's lever included, as a wind tunnel balance shows it."""
    force = dynamic_pressure * (rear_downforce_area - rear_downforce_area_loss * pitch)
    if np.any(splitter_ground_force):
        force = force + splitter_ground_force * splitter_station / wheelbase
    return force


@quantity("m", source="load over rate, stops beside the spring")
def front_compression(front_downforce: Array, load_transfer: Array, front_axle_spring: AxleSpring) -> Array:
    """How far the body has gone down over the front axle from rest; up is negative."""
    return front_axle_spring.travel(front_downforce - load_transfer)


@quantity("m", source="load over rate, stops beside the spring")
def rear_compression(rear_downforce: Array, load_transfer: Array, rear_axle_spring: AxleSpring) -> Array:
    """How far the body has gone down over the rear axle from rest; up is negative."""
    return rear_axle_spring.travel(rear_downforce + load_transfer)


@quantity(
    "m/s",
    source="zero of the heave-pitch determinant: static divergence (Bisplinghoff, Aeroelasticity, ch. 8)",
    capped_by="speed_cap",
)
def divergence_speed(
    front_downforce_area_loss: Array,
    rear_downforce_area_loss: Array,
    front_axle_rate: Array,
    rear_axle_rate: Array,
    wheelbase: Array,
    air_density: Array,
    headwind: Array,
    speed_cap: Array,
) -> Array:
    """Speed at which the air forces grow with pitch as fast as the springs push back.

    Stops out of reach and the splitter's gap without effect.  The front axle lifts before it is reached.
    """
    softening = (
        front_downforce_area_loss / front_axle_rate - rear_downforce_area_loss / rear_axle_rate
    ) / wheelbase
    pressure = 1 / np.maximum(softening, 1e-12)
    return np.clip(np.sqrt(2 * pressure / air_density) - headwind, 0, speed_cap)
