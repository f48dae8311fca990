"""Mass and centre of gravity from weighing the axles, level and with one axle raised."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from explorer.errors import TableError
from explorer.files.reading import Source
from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Fit, Known
from explorer.logs.fitting.least_squares import fit_curve
from explorer.logs.fitting.problem import Observations, Parameter

TRUE_SCALES = Known("scale_factor", 1.0, 0.0, "1", "scales taken as true")


def fit_scales(
    front_load: Array,
    rear_load: Array,
    rise: Array,
    *,
    wheelbase: Known,
    axle_height: Known,
    scale_factor: Known = TRUE_SCALES,
    standard_deviation: float | None = None,
    sources: Sequence[Source] = (),
) -> Fit:
    """Fit mass, station and height of the centre of gravity to weighings.

    Source: statics of a rigid car on level scales (moments about the rear contact); common practice.  With
    the rear axle raised by the angle a, front load = m ((L - x)/L + (h - r)/L tan a).

    Parameters
    ----------
    front_load, rear_load:
        Reading under both front wheels and both rear wheels [kg], shape (weighings,); NaN where not weighed.
    rise:
        How far the rear axle stood higher than the front one [m]; negative with the front raised.
    wheelbase, axle_height:
        In m; the height of the axles above the ground on the level.
    scale_factor:
        What the scales read, times this, is the truth.
    standard_deviation:
        Known scatter of a reading [kg]; else it is taken from the residuals.

    Returns
    -------
    Fit
        ``mass`` and ``cg_station``, and ``cg_height`` when some weighing was tilted.

    Raises
    ------
    TableError
        When an axle was never weighed, or a rise is beyond the wheelbase.
    SampleError
        With too few weighings.
    """
    file = sources[0].file if sources else None
    _check(front_load, rear_load, rise, wheelbase, file)
    tilted = bool(np.any(rise != 0))
    front, rear = np.isfinite(front_load), np.isfinite(rear_load)
    at_front = np.concatenate([np.ones(int(front.sum()), bool), np.zeros(int(rear.sum()), bool)])
    raised = np.concatenate([rise[front], rise[rear]])
    values = np.concatenate([front_load[front], rear_load[rear]])

    def predict(unknown: Array, known: Array) -> Array:
        mass, station = unknown[:2]
        length, axle, factor = known
        above_axles = unknown[2] - axle if tilted else 0.0
        tangent = raised / np.sqrt(length**2 - raised**2)
        front_share = (length - station) / length + above_axles / length * tangent
        return np.asarray(mass / factor * np.where(at_front, front_share, 1 - front_share))

    mass = float(np.nanmean(front_load) + np.nanmean(rear_load))
    level = rise == 0 if np.any(rise == 0) else np.ones(len(rise), bool)
    share = float(np.nanmean(rear_load[level])) / mass if np.isfinite(rear_load[level]).any() else 0.5
    parameters = [
        Parameter("mass", "kg", mass),
        Parameter("cg_station", "m", share * wheelbase.value, scale=wheelbase.value),
    ]
    if tilted:
        parameters.append(Parameter("cg_height", "m", 2 * axle_height.value, scale=axle_height.value))
    return fit_curve(
        predict,
        Observations.single(
            values,
            raised,
            name="scale reading",
            unit="kg",
            abscissa_name="rise",
            run=np.arange(len(values)),
            standard_deviation=standard_deviation,
        ),
        parameters,
        kind="weighing",
        known=(wheelbase, axle_height, scale_factor),
        loss="linear",
        sources=sources,
        notes=_notes(tilted, scale_factor),
    )


def _check(front: Array, rear: Array, rise: Array, wheelbase: Known, file: str | None) -> None:
    for name, load in (("front_load", front), ("rear_load", rear)):
        if not np.isfinite(load).any():
            raise TableError(
                f"{name} was never weighed",
                file=file,
                key=f"columns.{name}",
                allowed="each axle weighed at least once",
                remedy="weigh the other axle too",
            )
    if not np.all(np.abs(rise) < wheelbase.value):
        raise TableError(
            "an axle cannot be raised by more than the wheelbase",
            file=file,
            key="columns.rise",
            found=f"{float(np.max(np.abs(rise))):.3g} m with a wheelbase of {wheelbase.value:.3g} m",
            allowed="a rise below the wheelbase",
            remedy="check the unit of the rise",
        )


def _notes(tilted: bool, scale_factor: Known) -> tuple[str, ...]:
    notes = []
    if tilted:
        notes.append(
            "the height holds for locked suspension and wheels free to roll: a spring that gives while the "
            "car is tilted moves the centre of gravity"
        )
    else:
        notes.append("no weighing was tilted, so the height of the centre of gravity stays unknown")
    if scale_factor.standard_uncertainty == 0:
        notes.append("the scales were taken as true; an error common to them would be an error of the mass")
    return tuple(notes)
