"""The gear for a straight: the ratio with which it takes the least time, flap used.

A tall gear lacks push out of the corner, a short one runs out of revs before the braking point.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, given, quantity

shortest_gear_ratio = given(
    "1",
    "Largest turns of the motor per turn of the wheel that the gears at hand allow.",
    above=0,
    usual="0.8 to 15",
)
tallest_gear_ratio = given(
    "1",
    "Smallest turns of the motor per turn of the wheel that the gears at hand allow.",
    above=0,
    usual="0.8 to 15",
)
#: Ratios tried over the whole range, and ratios tried after that around the best.
_SPREAD, _CLOSE = 6, 3


@quantity(
    "1",
    source="smallest straight_time: spread ratios first, then parabolas through the best and its neighbours",
    varying={"straight_time": "gear_ratio"},
    fails="with none of the gear ratios does the car take the straight: see straight_time",
)
def best_gear_ratio(straight_time: Curve, shortest_gear_ratio: Array, tallest_gear_ratio: Array) -> Array:
    """Gear ratio with which the straight takes the least time, flap used, among those the gears allow.

    At an end of the range the best one lies there or beyond it.  It costs nine straights for every sample.
    """
    low, high = np.log(tallest_gear_ratio), np.log(shortest_gear_ratio)
    places = [low + (high - low) * share for share in np.linspace(0, 1, _SPREAD)]
    times = np.array([_known(straight_time(np.exp(place))) for place in places])
    tried = np.array([np.broadcast_to(place, times.shape[1:]) for place in places])
    for _ in range(_CLOSE):
        place = _closer(tried, times)
        tried = np.concatenate([tried, place[np.newaxis]])
        times = np.concatenate([times, _known(straight_time(np.exp(place)))[np.newaxis]])
        order = np.argsort(tried, axis=0, kind="stable")
        tried, times = (np.take_along_axis(each, order, axis=0) for each in (tried, times))
    best = np.take_along_axis(tried, np.argmin(times, axis=0)[np.newaxis], axis=0)[0]
    return np.where(np.isfinite(np.min(times, axis=0)), np.exp(best), np.nan)


def _known(time: Array) -> Array:
    """Return the time, endless where the straight cannot be taken."""
    return np.where(np.isnan(time), np.inf, time)


def _closer(tried: Array, times: Array) -> Array:
    """Return where the parabola through the best place and its neighbours is lowest, off the best itself."""
    middle = np.clip(np.argmin(times, axis=0), 1, len(tried) - 2)
    rows = [(middle + step)[np.newaxis] for step in (-1, 0, 1)]
    (left, best, right), (before, least, after) = (
        [np.take_along_axis(each, row, axis=0)[0] for row in rows] for each in (tried, times)
    )
    fall, rise = (least - before) / (best - left), (after - least) / (right - best)
    lowest = (left + best) / 2 - fall * (right - left) / (2 * (rise - fall))
    lowest = np.where((rise > fall) & np.isfinite(lowest), np.clip(lowest, left, right), left)
    # A place already tried teaches nothing: go at least a little way off it, inwards.
    off = 0.02 * (right - left)
    lowest = np.where(
        np.abs(lowest - best) < off, best + np.where(right - best > best - left, off, -off), lowest
    )
    inside: Array = np.clip(lowest, left + off, right - off)
    return inside
