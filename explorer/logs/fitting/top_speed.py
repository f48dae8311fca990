"""Top speed: what a full-throttle run comes to rest at, and whether it got there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.words import Number, told
from explorer.graph.written import percent
from explorer.logs.fitting.fit import Fit
from explorer.logs.fitting.full_throttle import ThrottleRun, check_run
from explorer.logs.fitting.least_squares import Loss, fit_curve
from explorer.logs.fitting.problem import Observations, Parameter

# From this share of its last speed on, a run is taken to come closer exponentially.
NEAR_TOP = 0.95


def fit_top_speed(run: ThrottleRun, *, loss: Loss = "auto") -> Fit:
    """Fit the speed that a full-throttle run comes to rest at, and say whether it was reached.

    The last part of a run approaches its top speed exponentially, as any small departure from a balance does.

    Returns
    -------
    Fit
        ``top_speed``, weak when the run ended too far below it.

    Raises
    ------
    TableError
        With too few rows.
    """
    check_run(run)
    start = _approach(run.speed)
    time, speed = run.time[start:] - run.time[start], run.speed[start:]
    edge = max(len(speed) // 10, 1)
    first, last = float(np.median(speed[:edge])), float(np.median(speed[-edge:]))
    span = float(np.ptp(time))
    gain = max(last - first, 1e-3 * last)

    def predict(values: Array, _: Array) -> Array:
        top, short, lapse = values
        return np.asarray(top - short * np.exp(-time / lapse))

    fit = fit_curve(
        predict,
        Observations.single(speed, time, name="speed", unit="m/s", abscissa_name="time"),
        [
            Parameter("top_speed", "m/s", last + 0.1 * gain),
            Parameter("short_of_top_speed", "m/s", gain, low=0.0, of_log=True),
            Parameter("time_to_come_closer", "s", span / 3, low=span / 100, high=10 * span, of_log=True),
        ],
        kind="top-speed run",
        loss=loss,
        sources=[run.source] if run.source else (),
    )
    return _judged_reached(fit, last)


def _approach(speed: Array) -> int:
    """Return the row from which a run comes closer to its top speed: half of them, or more where it is there.

    All rows from there on count: chosen each by its own speed, those that scatter upwards would raise the
    answer.
    """
    half = len(speed) // 2
    near = NEAR_TOP * np.median(speed[-max(half // 5, 1) :])
    # Five rows at a time, so that no single one that is wrong begins it.
    reached = np.median(np.lib.stride_tricks.sliding_window_view(speed, 5), axis=1) >= near
    return min(half, int(np.argmax(reached)))


def _judged_reached(fit: Fit, last: float) -> Fit:
    top = fit.value("top_speed")
    share = last / top
    if share >= 0.99:
        return replace(
            fit, notes=(*fit.notes, f"the run ended at {percent(share, 3)} of its top speed: reached")
        )
    end = Number(last, spread=last / 20, unit="m/s")
    note = told(f"the run ended at {{}}, {percent(share, 3)} of the top speed that its end points to", end)
    weak = "the top speed was not reached, so it rests on how the run would have gone on"
    return replace(fit, notes=(*fit.notes, note), weakness=fit.weakness or (weak if share < 0.95 else ""))
