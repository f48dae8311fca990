"""Open-circuit voltage and inner resistance of the battery, from voltage against current."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from explorer.errors import TableError
from explorer.files.reading import Source
from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Fit
from explorer.logs.fitting.least_squares import Loss, fit_curve
from explorer.logs.fitting.problem import Observations, Parameter


def fit_battery(
    voltage: Array, current: Array, *, loss: Loss = "auto", sources: Sequence[Source] = ()
) -> Fit:
    """Fit the battery's open-circuit voltage and inner resistance: voltage falls in proportion to current.

    Returns
    -------
    Fit
        ``battery_voltage`` [V] and ``battery_resistance`` [ohm], for the charge the battery had.

    Raises
    ------
    TableError
        When the current hardly changes.
    """
    if not np.ptp(current) > 0.2 * np.max(np.abs(current)):
        raise TableError(
            "a steady current does not show the battery's resistance",
            file=sources[0].file if sources else None,
            key="columns.current",
            found=f"{float(np.min(current)):.3g} A to {float(np.max(current)):.3g} A",
            allowed="a range of at least a fifth of the largest current",
            remedy="log from before the throttle opens",
        )
    slope, level = np.polyfit(current, voltage, 1)
    return fit_curve(
        lambda values, _: np.asarray(values[0] - values[1] * current),
        Observations.single(voltage, current, name="voltage", unit="V", abscissa_name="current"),
        [
            Parameter("battery_voltage", "V", float(level)),
            Parameter("battery_resistance", "ohm", max(-float(slope), 1e-4)),
        ],
        kind="battery under load",
        loss=loss,
        sources=sources,
        notes=("a battery's voltage falls as it empties: the values hold for the charge it had",),
    )
