"""A straight at full throttle: speed against time or distance, from the acceleration at each speed."""

from __future__ import annotations

from typing import Literal

import numpy as np

from explorer.graph.arrays import Array

# Runge-Kutta steps along a run: a run is smooth over a two-hundredth of its length.
STEPS = 200


def speed_along(
    speeds: Array,
    acceleration: Array,
    start: float,
    at: Array,
    along: Literal["time", "distance"],
) -> Array:
    """Follow cars from one starting speed.

    Steps dv/dt = a(v), or dv/dx = a(v) / v, by the classical Runge-Kutta method, with the acceleration drawn
    as straight lines between the speeds it is known at.

    Parameters
    ----------
    speeds:
        Shape (speeds,), evenly spaced and rising, above zero for a run along the distance [m/s].
    acceleration:
        Shape (speeds, samples) [m/s2]; NaN where a car has no answer.
    start:
        Speed at zero [m/s].
    at:
        Shape (points,), rising from zero: times [s] or distances [m].

    Returns
    -------
    Array
        Shape (samples, points) [m/s]; NaN from where a car has no answer.  Beyond the last speed a car keeps
        the acceleration it has there.
    """
    step = float(at[-1]) / STEPS
    width = float(speeds[1] - speeds[0])
    samples = np.arange(acceleration.shape[1])

    def rate(speed: Array) -> Array:
        place = np.clip((np.nan_to_num(speed) - speeds[0]) / width, 0.0, len(speeds) - 1)
        below = np.minimum(place.astype(int), len(speeds) - 2)
        share = place - below
        lower, upper = acceleration[below, samples], acceleration[below + 1, samples]
        # A place right on a known speed must not read the next one, which may have no answer.
        found = np.where(share > 0, lower + share * (upper - lower), lower)
        found = np.where(np.isnan(speed), np.nan, found)
        return found if along == "time" else found / speed

    rows = [np.full(acceleration.shape[1], start)]
    for _ in range(STEPS):
        speed = rows[-1]
        first = rate(speed)
        second = rate(speed + step / 2 * first)
        third = rate(speed + step / 2 * second)
        fourth = rate(speed + step * third)
        rows.append(speed + step / 6 * (first + 2 * second + 2 * third + fourth))
    reached = np.linspace(0.0, float(at[-1]), STEPS + 1)
    return np.stack([np.interp(at, reached, car) for car in np.array(rows).T])
