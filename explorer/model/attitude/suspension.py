"""Springs, tyres and stops: how far an axle goes down under load."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array, anywhere
from explorer.graph.quantity import given, quantity
from explorer.model.attitude.supports import Support

#: A travel, in metres, to a stop that is never met: what the inputs take that say nothing of one.
OUT_OF_REACH = 1.0

static_pitch = given(
    "rad", "Pitch of the floor at rest, nose-up positive.", default=0.0, usual="-4 to 3 deg", lever="0.1 deg"
)
axle_spring_rate = given(
    "N/m", "Rate of one {axle} spring.", above=0, usual="0.3 to 25 N/mm", lever="0.2 N/mm"
)
axle_motion_ratio = given(
    "1",
    "Travel of a {axle} spring over the travel of its wheel.",
    default=1.0,
    above=0,
    usual="0.3 to 1.3",
    lever="0.05",
)
axle_tyre_stiffness = given(
    "N/m",
    "Vertical stiffness of one {axle} tyre; the default is a rigid one.",
    default=1e9,
    above=0,
    usual="8 to 60 N/mm, typically 20",
)
axle_bump_travel = given(
    "m",
    "How far the {axle} goes down from rest to its stop; the default is out of reach.",
    default=OUT_OF_REACH,
    at_least=0,
    usual="1 to 40 mm",
    lever="1 mm",
)
axle_droop_travel = given(
    "m",
    "How far the {axle} rises from rest to full droop; the default is out of reach.",
    default=OUT_OF_REACH,
    at_least=0,
    usual="0.5 to 40 mm",
    lever="1 mm",
)
axle_stop_rate = given(
    "N/m",
    "Rate a {axle} stop adds to one wheel once touched.",
    default=5e4,
    above=0,
    usual="10 to 300 N/mm, typically 50",
)


@quantity(
    "N/m",
    source="Milliken & Milliken, Race Car Vehicle Dynamics, ch. 16: wheel rate in series with the tyre",
    usual="0.3 to 15 N/mm",
    lever="0.2 N/mm",
)
def axle_wheel_rate(axle_spring_rate: Array, axle_motion_ratio: Array, axle_tyre_stiffness: Array) -> Array:
    """Load per travel at one {axle} wheel, body against ground: spring through its linkage, then tyre.

    Give it directly when it was measured at the car by adding weights.
    """
    return in_series(axle_spring_rate * axle_motion_ratio**2, axle_tyre_stiffness)


def in_series(rate: Array, other: Array) -> Array:
    """Return the rate of two springs that carry the same load."""
    return rate / (1 + rate / other)


@quantity("N/m", source="two wheels side by side")
def axle_axle_rate(axle_wheel_rate: Array) -> Array:
    """Load per travel of both {axle} wheels together."""
    return 2 * axle_wheel_rate


class AxleSpring(NamedTuple):
    """Both wheels of an axle on their springs: rate, travels from rest to the stops, rate of one stop."""

    rate: Array
    bump: Array
    droop: Array
    wheel_stop_rate: Array

    @property
    def stop_share(self) -> Array:
        """Share of any travel past a stop that the stop prevents."""
        return 2 * self.wheel_stop_rate / (self.rate + 2 * self.wheel_stop_rate)

    def stops(self, share: float) -> tuple[Support, ...]:
        """Return the stops within reach; ``share`` is 0 for a front axle, 1 for a rear one."""
        return tuple(
            Support(share, side, reach, 2 * self.wheel_stop_rate * (reach < OUT_OF_REACH))
            for side, reach in ((1.0, self.bump), (-1.0, self.droop))
            if anywhere(reach < OUT_OF_REACH)
        )

    def beyond(self, free: Array) -> Array:
        """Return how far a travel lies past the stops; 0 between them."""
        return free - np.clip(free, -self.droop, self.bump)

    def never_stopped(self, free: Array) -> bool:
        """Tell whether no sample at all reaches a stop; quick, for the usual case."""
        return bool(np.max(free) <= np.min(self.bump) and np.min(free) >= -np.min(self.droop))

    def stopped(self, free: Array) -> Array:
        """Return the travel that stops leave of one reckoned without them."""
        return free if self.never_stopped(free) else free - self.stop_share * self.beyond(free)

    def travel(self, load: Array) -> Array:
        """Return how far the axle goes down under a load added to the one at rest."""
        return self.stopped(load / self.rate)

    def load(self, travel: Array) -> tuple[Array, Array]:
        """Return the load added to the one at rest that a travel takes, and the rate there."""
        past = self.beyond(travel)
        stop_rate = 2 * self.wheel_stop_rate
        return self.rate * travel + stop_rate * past, np.where(past == 0, self.rate, self.rate + stop_rate)


@quantity("1", source="definition")
def axle_axle_spring(
    axle_axle_rate: Array, axle_bump_travel: Array, axle_droop_travel: Array, axle_stop_rate: Array
) -> AxleSpring:
    """Springs and stops of the {axle} axle, together."""
    return AxleSpring(axle_axle_rate, axle_bump_travel, axle_droop_travel, axle_stop_rate)
