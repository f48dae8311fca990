"""How much more downforce a splitter makes as its gap to the ground closes, and where it stalls.

A power law of the gap, relative to the gap at which the coefficient was found, ending at the gap at which the
splitter stalls.  Rise and stall as in Zerihan & Zhang, J. Aircraft 37(6), 2000: the trend only, for a wing.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array


def smallest_useful_gap(critical_gap: Array, reference_gap: Array) -> Array:
    """Return the gap at which the rise ends: where the splitter stalls, or far down where it does not."""
    return np.where(critical_gap > 0, critical_gap, reference_gap / 20)


def gained_share(gap: Array, gain: Array, reference_gap: Array, smallest_gap: Array) -> Array:
    """Return the downforce gained over that at the reference gap, as a share of it; negative when farther."""
    rise = (reference_gap / np.maximum(gap, smallest_gap)) ** gain
    stall = np.clip(gap / smallest_gap, 0, 1)
    # A car without the effect has no stall either, whatever cars are drawn beside it.
    return np.where(gain > 0, rise * stall - 1, 0.0)
