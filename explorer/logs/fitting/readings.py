"""Repeated readings of anything: mean, standard uncertainty, and correlation of readings taken together."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from explorer.errors import SampleError
from explorer.files.reading import Source
from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Fit, Known, Residuals, combined_degrees_of_freedom
from explorer.logs.fitting.independence import repetition


def fit_readings(
    readings: Mapping[str, Array],
    units: Mapping[str, str],
    *,
    resolution: Mapping[str, float] | None = None,
    sources: Sequence[Source] = (),
) -> Fit:
    """Evaluate repeated readings (type A).

    Source: JCGM 100 4.2 (mean and its standard uncertainty), 5.2.3 and H.2 (covariance of means of readings
    taken together).

    Parameters
    ----------
    readings:
        Quantity -> readings, shape (readings,), SI units.  Quantities with equally many readings were read
        together, row by row; with unequal numbers they are taken as independent.
    units:
        Quantity -> SI unit.
    resolution:
        Quantity -> smallest step the instrument shows; it is common to all readings and does not average out
        (JCGM 100 F.2.2.1: step over the root of twelve).
    sources:
        Logs they came from.

    Raises
    ------
    SampleError
        With fewer than two readings of a quantity, or one that is no number.
    """
    for name, values in readings.items():
        if len(values) < 2 or not np.isfinite(values).all():
            raise SampleError(
                "readings must be at least two numbers",
                key=name,
                found=f"{len(values)} readings",
                remedy="read it again, from setting up onwards",
            )
    names = tuple(readings)
    counts = np.array([len(readings[name]) for name in names])
    together = len(set(counts)) == 1
    deviations = [readings[name] - np.mean(readings[name]) for name in names]
    # A drifting reading repeats itself; its mean is then known less well than the number of readings says.
    repeats = np.array([repetition(each, np.zeros(len(each), int), 1) for each in deviations])
    spread = np.array([float(np.std(readings[name], ddof=1)) for name in names])
    own = spread * np.sqrt(repeats / counts)
    joint = together and len(names) > 1 and bool(spread.all())
    scatter = (np.corrcoef(deviations) if joint else np.eye(len(names))) * np.outer(own, own)
    known = tuple(
        Known(f"resolution_of_{name}", 0.0, step / math.sqrt(12), units[name], "JCGM 100 F.2.2.1")
        for name, step in (resolution or {}).items()
    )
    shifts = {
        each.name: each.standard_uncertainty
        * np.array([each.name == f"resolution_of_{name}" for name in names])
        for each in known
    }
    covariance = scatter + sum((np.outer(shift, shift) for shift in shifts.values()), np.zeros_like(scatter))
    return Fit(
        kind="repeated readings",
        names=names,
        units=tuple(units[name] for name in names),
        estimates=np.array([float(np.mean(readings[name])) for name in names]),
        covariance=covariance,
        scatter_covariance=scatter,
        contributions=shifts,
        known=known,
        degrees_of_freedom=combined_degrees_of_freedom(
            scatter, covariance, np.maximum(counts / repeats - 1, 1.0)
        ),
        rows=int(counts.sum()),
        effective_rows=float(np.sum(counts / repeats)),
        residual_sd=tuple(float(s) for s in spread),
        residuals=_residuals(names, tuple(units[name] for name in names), readings, deviations),
        sources=tuple(sources),
        notes=tuple(_notes(names, spread, repeats)),
    )


def _notes(names: Sequence[str], spread: Array, repeats: Array) -> list[str]:
    notes = [
        f"all readings of {name} are the same: the spread is that of the instrument, not zero"
        for name, each in zip(names, spread, strict=True)
        if each == 0
    ]
    notes += [
        f"readings of {name} drift: {factor:.1f} of them say as much as one independent reading"
        for name, factor in zip(names, repeats, strict=True)
        if factor > 1.5
    ]
    return notes


def _residuals(
    names: tuple[str, ...],
    units: tuple[str, ...],
    readings: Mapping[str, Array],
    deviations: Sequence[Array],
) -> Residuals:
    counts = [len(each) for each in deviations]
    observed = np.concatenate([readings[name] for name in names])
    residual = np.concatenate(deviations)
    return Residuals(
        abscissa=np.concatenate([np.arange(1.0, count + 1) for count in counts]),
        observed=observed,
        predicted=observed - residual,
        residual=residual,
        weight=np.ones(len(observed)),
        run=np.zeros(len(observed), int),
        channel=np.repeat(np.arange(len(names)), counts),
        abscissa_name="reading",
        channel_names=names,
        channel_units=units,
    )
