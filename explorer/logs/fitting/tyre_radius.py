"""Loaded radius of the driven tyres and its growth, from revs against speed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from explorer.files.reading import Source
from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Fit, Known
from explorer.logs.fitting.least_squares import Loss, fit_curve
from explorer.logs.fitting.problem import Observations, Parameter


def fit_tyre_radius(
    speed: Array,
    motor_speed: Array,
    *,
    gear_ratio: Known,
    growing: bool = True,
    loss: Loss = "auto",
    sources: Sequence[Source] = (),
) -> Fit:
    """Fit the loaded radius of the driven tyres, and its growth, from speed over the ground and revs.

    Parameters
    ----------
    speed, motor_speed:
        Shape (rows,), in m/s and rad/s.
    gear_ratio:
        Turns of the motor per turn of the wheel.
    growing:
        Whether the tyre's growth with the square of the speed is fitted as well.

    Returns
    -------
    Fit
        ``tyre_radius`` [m] and, if growing, ``tyre_growth`` [s2/m2].
    """
    radius = float(np.median(speed / motor_speed)) * gear_ratio.value
    parameters = [Parameter("tyre_radius", "m", radius)]
    if growing:
        fastest = max(float(np.max(speed)), 1.0)
        parameters.append(Parameter("tyre_growth", "s2/m2", 0.0, scale=0.1 / fastest**2))

    def predict(values: Array, known: Array) -> Array:
        turning = values[0] * motor_speed / known[0]
        growth = values[1] if growing else 0.0
        # Speed = radius (1 + growth speed^2) x wheel speed, solved for the speed; the smaller root.
        inside = np.maximum(1 - 4 * growth * turning**2, 0.0)
        return np.asarray(2 * turning / (1 + np.sqrt(inside)))

    return fit_curve(
        predict,
        Observations.single(speed, motor_speed, name="speed", unit="m/s", abscissa_name="motor speed"),
        parameters,
        kind="revs against speed",
        known=(gear_ratio,),
        loss=loss,
        sources=sources,
        notes=("slip of the driven tyres counts as a smaller radius",),
    )
