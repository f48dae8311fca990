"""How much more downforce a splitter makes as its gap to the ground closes, and where it stalls.

A power law of the gap, relative to the gap at which the coefficient was found, ending at the gap at which the
splitter stalls.  Rise and stall as in Zerihan & Zhang, J. Aircraft 37(6), 2000: the trend only, for a wing.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity

splitter_ground_gain = given(
    "1",
    """How the splitter's downforce grows as its gap closes: percent of downforce per percent of gap.

    0 switches the effect off.
    """,
    default=0.0,
    at_least=0,
    usual="0.0 to 1.0, typically 0.5",
)
splitter_gap_at_rest = given(
    "m",
    "Gap under the splitter's centre of pressure at rest.",
    default=0.01,
    above=0,
    usual="2 to 50 mm",
    lever="1 mm",
)
splitter_reference_gap = given(
    "m",
    "Gap at which the splitter's downforce coefficient was found.",
    default=0.01,
    above=0,
    usual="2 to 50 mm",
)
splitter_critical_gap = given(
    "m",
    """Gap below which the splitter stalls: its downforce then falls in proportion to the gap left.

    0 for no stall; the gain then ends at a twentieth of the reference gap.
    """,
    default=0.0,
    at_least=0,
    usual="0 to 4 mm, typically 2",
)


class GroundEffect(NamedTuple):
    """What the splitter gains by its gap.

    Attributes
    ----------
    gain, at_rest, reference, smallest:
        Exponent of the power law; gap at rest, on tyres grown as at this speed; where the coefficient was
        found, and where the rise ends.
    area, loss:
        Downforce area at the lean of rest, and what a metre of lean takes from it.
    place:
        Where it is behind the front axle, over the wheelbase.
    """

    gain: Array
    at_rest: Array
    reference: Array
    smallest: Array
    area: Array
    loss: Array
    place: Array

    def gap(self, front: Array, lean: Array) -> Array:
        """Return the gap when the car has gone down at the front and leans."""
        return self.at_rest - front - lean * self.place

    def most(self, gap: Array) -> Array:
        """Return the downforce at a gap over that at the reference gap, before the stall."""
        most: Array = (self.reference / gap) ** self.gain
        return most

    def gained(self, gap: Array) -> Array:
        """Return the downforce gained over that at the reference gap, as a share of it; less when farther."""
        useful = np.maximum(gap, self.smallest)
        left = np.maximum(gap, 0) / useful
        # A car without the effect has no stall either, whatever cars are drawn beside it.
        return np.where(self.gain > 0, self.most(useful) * left - 1, 0.0)

    def gained_and_slope(self, gap: Array) -> tuple[Array, Array]:
        """Return the share gained and its change with the gap: negative where it rises towards the ground."""
        useful = np.maximum(gap, self.smallest)
        most = (self.reference / useful) ** self.gain
        left = np.clip(gap / self.smallest, 0, 1)
        slope = most / useful * np.where(gap > self.smallest, -self.gain, np.where(gap > 0, 1.0, 0.0))
        return np.where(self.gain > 0, most * left - 1, 0.0), np.where(self.gain > 0, slope, 0.0)

    def load(self, pressure: Array, lean: Array, gap: Array) -> Array:
        """Return the load on both axles, front first, by what is gained at a lean and a gap."""
        force = pressure * (self.area - self.loss * lean) * self.gained(gap)
        return np.stack((force * (1 - self.place), force * self.place))

    def load_per_travel(self, pressure: Array, front: Array, rear: Array) -> tuple[Array, Array]:
        """Return how the load gained on both axles, front first, grows as front and as rear go down."""
        lean = rear - front
        gained, slope = self.gained_and_slope(self.gap(front, lean))
        by_lean, by_gap = -pressure * self.loss * gained, pressure * (self.area - self.loss * lean) * slope
        by_front, by_rear = -by_lean - by_gap * (1 - self.place), by_lean - by_gap * self.place
        shares = (1 - self.place, self.place)
        return np.stack([by_front * share for share in shares]), np.stack(
            [by_rear * share for share in shares]
        )


@quantity("1", source="small angles: area straight in the lean; where the rise ends is a judgement")
def splitter_over_road(
    splitter_ground_gain: Array,
    splitter_gap_at_rest: Array,
    splitter_reference_gap: Array,
    splitter_critical_gap: Array,
    splitter_downforce_area: Array,
    splitter_downforce_area_loss: Array,
    splitter_station: Array,
    static_pitch: Array,
    wheelbase: Array,
) -> GroundEffect:
    """Splitter and ground on tyres as at rest, together."""
    # Where it does not stall, the rise ends far down.
    smallest = np.where(splitter_critical_gap > 0, splitter_critical_gap, splitter_reference_gap / 20)
    return GroundEffect(
        splitter_ground_gain,
        splitter_gap_at_rest,
        splitter_reference_gap,
        smallest,
        splitter_downforce_area - splitter_downforce_area_loss * static_pitch,
        splitter_downforce_area_loss / wheelbase,
        splitter_station / wheelbase,
    )


@quantity(
    "1",
    source="power law of the gap; rise and stall as in Zerihan & Zhang, J. Aircraft 37(6), 2000 (trend only)",
)
def splitter_ground_effect(splitter_over_road: GroundEffect, tyre_rise: Array) -> GroundEffect:
    """Splitter and ground at this speed, together."""
    return splitter_over_road._replace(at_rest=splitter_over_road.at_rest + tyre_rise)
