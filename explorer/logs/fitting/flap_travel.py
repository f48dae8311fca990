"""How long the flap takes: its angle against time, filmed or logged, through one movement."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from explorer.errors import TableError
from explorer.files.reading import Source
from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Fit
from explorer.logs.fitting.independence import without_dropouts
from explorer.logs.fitting.least_squares import Loss, fit_curve
from explorer.logs.fitting.problem import Observations, Parameter


def fit_flap_travel(
    time: Array,
    angle: Array,
    *,
    movement: Literal["opening", "closing"] = "opening",
    command: float = 0.0,
    loss: Loss = "auto",
    sources: Sequence[Source] = (),
) -> Fit:
    """Fit rest, a turn at constant speed, and rest.

    A servo at its full speed turns evenly; a movement that starts softly, bounces or stalls on the way shows
    as a lack of fit.

    Parameters
    ----------
    time, angle:
        Shape (rows,), in s and rad, through one movement with some rest before and after.
    movement:
        Which way: names the result ``opening_time`` or ``closing_time``.
    command:
        Time at which the servo was told to move [s].

    Returns
    -------
    Fit
        The time of the movement itself; delay and both angles stand in ``log_values``.

    Raises
    ------
    TableError
        When the flap does not move, or no rest is seen before or after.
    """
    file = sources[0].file if sources else None
    first, last, begin, end = _coarse(time, angle, file)

    def predict(values: Array, _: Array) -> Array:
        duration, delay, start, finish = values
        share = np.clip((time - command - delay) / duration, 0.0, 1.0)
        return np.asarray(start + (finish - start) * share)

    turn = abs(last - first)
    return fit_curve(
        predict,
        Observations.single(angle, time, name="angle", unit="rad", abscissa_name="time"),
        [
            Parameter(f"{movement}_time", "s", end - begin, low=0.0),
            Parameter("flap_delay", "s", begin - command, scale=end - begin, of_log=True),
            Parameter("angle_before", "rad", first, scale=turn, of_log=True),
            Parameter("angle_after", "rad", last, scale=turn, of_log=True),
        ],
        kind="flap travel",
        loss=loss,
        sources=sources,
        notes=("the delay before the flap moves is not part of the time of the movement",),
    )


def _coarse(time: Array, angle: Array, file: str | None) -> tuple[float, float, float, float]:
    """Angles at rest before and after, and about when the movement begins and ends."""
    edge = max(len(time) // 10, 1)
    first, last = float(np.median(angle[:edge])), float(np.median(angle[-edge:]))
    noise = float(np.median(np.abs(np.diff(angle)))) if len(angle) > 1 else 0.0
    if len(time) < 8 or abs(last - first) <= 5 * noise or last == first:
        raise TableError(
            "the flap does not move in this log",
            file=file,
            key="columns.angle",
            found=f"{first:.3g} rad before, {last:.3g} rad after, in {len(time)} rows",
            allowed="one movement, with rest before and after",
            remedy="log faster, or cut the log around the movement",
        )
    share = (without_dropouts(angle) - first) / (last - first)
    quarter, three_quarters = (float(time[np.argmax(share > level)]) for level in (0.25, 0.75))
    duration = max(2 * (three_quarters - quarter), float(np.median(np.diff(time))))
    begin = quarter - 0.25 * duration
    if begin < time[0] or begin + duration > time[-1]:
        raise TableError(
            "the log has no rest before or after the movement",
            file=file,
            key="columns.time",
            found=f"it begins at {first:.3g} rad and ends at {last:.3g} rad",
            allowed="at least a few rows of rest on both sides",
            remedy="start the log before the command and stop it after the flap has arrived",
        )
    return first, last, begin, begin + duration
