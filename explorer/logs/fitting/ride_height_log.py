"""Downforce and pitch slopes from ride height or pitch against speed, through the study's own model.

The car is its own balance: springs of known rate turn downforce into travel.  Which coefficients to find, and
the model that leads from them to what was logged, are handed in; flap closed and open are fitted together.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from explorer.errors import SampleError, TableError
from explorer.files.reading import Source
from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Fit, Known
from explorer.logs.fitting.least_squares import Loss, fit_curve
from explorer.logs.fitting.problem import Observations, Parameter
from explorer.logs.reader import LOGGED

Forward: TypeAlias = Callable[[str, Mapping[str, float], Array], Mapping[str, Array]]


@dataclass(frozen=True)
class SpeedRun:
    """Quantities logged against speed in one condition; all arrays of shape (rows,), SI units.

    Attributes
    ----------
    condition:
        How the car was run, as the study names it.
    speed:
        Speed at each row, in the order logged.
    measured:
        Quantity -> values.
    source:
        The log it came from.
    """

    condition: str
    speed: Array
    measured: Mapping[str, Array]
    source: Source | None = None


def fit_through_model(
    forward: Forward,
    runs: Sequence[SpeedRun],
    parameters: Sequence[Parameter],
    *,
    known: Sequence[Known] = (),
    known_correlation: Array | None = None,
    zeros: Sequence[str] = (),
    loss: Loss = "auto",
) -> Fit:
    """Find inputs of a model from what it should predict.

    Parameters
    ----------
    forward:
        From condition, values by name and speeds (rows,) to predicted quantities, each (rows,).  The values
        hold all parameters and all known quantities.
    runs:
        What was logged.
    parameters:
        Inputs to find; give what the study believes as ``expected`` where the log alone would not do.
    known, known_correlation:
        Inputs carried through, as wheel rates and stations.
    zeros:
        Logged quantities whose gauge has a zero of its own, to be found as well.

    Returns
    -------
    Fit
        The parameters.

    Raises
    ------
    TableError
        When a run holds no rows, or hardly a range of speeds.
    SampleError
        When the model does not predict a logged quantity, or the log cannot tell parameters apart.
    """
    _check(runs)
    quantities = tuple(dict.fromkeys(name for run in runs for name in run.measured))
    blocks = [(number, run, name) for number, run in enumerate(runs) for name in run.measured]
    unknown = [*parameters, *(_zero(name, runs) for name in zeros)]
    names = [p.name for p in unknown] + [k.name for k in known]
    rows = [len(run.speed) for _, run, _ in blocks]

    def predict(values: Array, known_values: Array) -> Array:
        of = dict(zip(names, [*map(float, values), *map(float, known_values)], strict=True))
        predicted = [forward(run.condition, of, run.speed) for run in runs]
        return np.concatenate(
            [
                _part(predicted[number], name, run) + of.get(f"zero_of_{name}", 0.0)
                for number, run, name in blocks
            ]
        )

    return fit_curve(
        predict,
        Observations(
            values=np.concatenate([run.measured[name] for _, run, name in blocks]),
            abscissa=np.concatenate([run.speed for _, run, _ in blocks]),
            run=np.repeat([number for number, _, _ in blocks], rows),
            channel=np.repeat([quantities.index(name) for _, _, name in blocks], rows),
            abscissa_name="speed",
            channel_names=quantities,
            channel_units=tuple(LOGGED.get(name, "") for name in quantities),
        ),
        unknown,
        kind="ride-height log",
        known=known,
        known_correlation=known_correlation,
        loss=loss,
        sources=list(dict.fromkeys(run.source for run in runs if run.source is not None)),
        notes=_notes(parameters),
    )


def _zero(name: str, runs: Sequence[SpeedRun]) -> Parameter:
    values = np.concatenate([run.measured[name] for run in runs if name in run.measured])
    scale = max(float(np.ptp(values)), 1e-6)
    return Parameter(f"zero_of_{name}", LOGGED.get(name, ""), 0.0, scale=scale, of_log=True)


def _part(predicted: Mapping[str, Array], name: str, run: SpeedRun) -> Array:
    if name not in predicted:
        raise SampleError(
            f"the model does not predict {name!r}",
            key=name,
            found=", ".join(predicted),
            remedy="name the columns of the log as the model names its quantities",
        )
    return np.asarray(np.broadcast_to(predicted[name], run.speed.shape))


def _check(runs: Sequence[SpeedRun]) -> None:
    for run in runs:
        file = run.source.file if run.source else None
        span = float(np.ptp(run.speed)) if len(run.speed) else 0.0
        if len(run.speed) < 3 or not span > 0.2 * float(np.max(np.abs(run.speed))):
            raise TableError(
                "downforce shows only over a range of speeds",
                file=file,
                key="columns.speed",
                found=f"{len(run.speed)} rows over a range of {span:.3g} m/s",
                allowed="a range of at least a fifth of the highest speed",
                remedy="log from standing or slow rolling up to speed",
            )


def _notes(parameters: Sequence[Parameter]) -> tuple[str, ...]:
    leaning = [p.name for p in parameters if p.expected is not None]
    if not leaning:
        return ()
    return (f"what was believed before the log was weighed in for {', '.join(leaning)}",)
