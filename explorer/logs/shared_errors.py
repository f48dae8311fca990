"""What a fit has in common with inputs of the study it did not find: errors it took over from them.

A drag area that was found with a mass 1 % too high is itself 1 % too high; a study that knows of this does
not count the mass twice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Fit, correlation_of
from explorer.logs.fitting.input_block import LEAST_CORRELATION
from explorer.logs.kinds.task import Finding
from explorer.logs.test_conditions import DayOfLog
from explorer.study.study import Study

# Correlations in one chunk of samples are chance below this (four standard errors).
CHANCE = 0.03
# Correlations are held back until they leave this much to chance, so that all of them can hold at once.
LEAST_LEFT = 1e-3
HELD_BACK_TO = (1.0, 0.999, 0.99, 0.95, 0.9, 0.8)


@dataclass(frozen=True)
class Shared:
    """Correlation of an estimate with an input of the study."""

    estimate: str
    input: str
    value: float


def shared_errors(finding: Finding, day: DayOfLog) -> tuple[Shared, ...]:
    """Return how the estimates go with inputs of the car that the fit took as known (JCGM 100 F.1.2.3).

    Inputs of the day, as the weather, are not shared: another day draws them anew.
    """
    fit = finding.fit
    spread = fit.standard_uncertainties
    covariance: dict[str, Array] = {}
    for name, follows in _followed(finding, day).items():
        for one, correlation in follows.items():
            covariance[one] = covariance.get(one, 0.0) + fit.contributions[name] * correlation
    return tuple(
        Shared(estimate, one, float(value))
        for one, values in covariance.items()
        for estimate, value in zip(fit.names, values / np.where(spread > 0, spread, 1.0), strict=True)
        if one not in fit.names and abs(value) >= LEAST_CORRELATION
    )


def _followed(finding: Finding, day: DayOfLog) -> dict[str, dict[str, float]]:
    """Return each known quantity with the inputs of the car it follows, and its correlation with them."""
    fit = finding.fit
    names = [known.name for known in fit.known]
    own = [name for name in names if day.of_the_car(name)]
    matrix = np.eye(len(names)) if fit.known_correlation is None else fit.known_correlation
    follows = {
        name: {one: float(matrix[names.index(name), names.index(one)]) for one in own}
        for name in own
        if name in fit.contributions
    }
    for name, where in finding.follows.items():
        if name in fit.contributions:
            follows[name] = dict(_correlated_with(name, where, day))
    return follows


def _correlated_with(name: str, where: Mapping[str, float], day: DayOfLog) -> Iterator[tuple[str, float]]:
    draws = day.draws([name], **where)
    values = draws.computed[name]
    answered = np.isfinite(values)
    if not np.ptp(values[answered]):
        return
    for key, drawn in draws.drawn.items():
        if day.of_the_car(key):
            correlation = float(np.corrcoef(drawn[answered], values[answered])[0, 1])
            if abs(correlation) > CHANCE:
                yield key, correlation


def held_together(
    fit: Fit, inputs: tuple[str, ...], shared: tuple[Shared, ...], study: Study
) -> tuple[Fit, tuple[Shared, ...]]:
    """Return fit and shared correlations such that all of them can hold at once in the study.

    A fit that leaves next to nothing to chance has correlations that, rounded, contradict each other; they
    are then all held back a little, which is on the safe side.
    """
    others = tuple(dict.fromkeys(one.input for one in shared if one.estimate in inputs))
    places = [fit.names.index(name) for name in inputs]
    everything = (*inputs, *others)
    matrix = np.eye(len(everything))
    matrix[: len(inputs), : len(inputs)] = correlation_of(fit.covariance)[np.ix_(places, places)]
    pairs = [(one.estimate, one.input, one.value) for one in shared if one.estimate in inputs]
    pairs += [(c.first, c.second, c.value) for c in study.correlations if {c.first, c.second} <= set(others)]
    for first, second, value in pairs:
        i, j = everything.index(first), everything.index(second)
        matrix[i, j] = matrix[j, i] = value
    kept = next((part for part in HELD_BACK_TO if _least_left(matrix, part, len(inputs)) > LEAST_LEFT), 0.0)
    held = np.where(np.eye(len(fit.names), dtype=bool), fit.covariance, kept * fit.covariance)
    return (
        replace(fit, covariance=held),
        tuple(replace(one, value=float(np.sqrt(kept)) * one.value) for one in shared),
    )


def _least_left(matrix: Array, kept: float, estimates: int) -> float:
    """Smallest eigenvalue with the correlations of the estimates held back to a part."""
    scale = np.where(np.arange(len(matrix)) < estimates, np.sqrt(kept), 1.0)
    held = matrix * np.outer(scale, scale)
    np.fill_diagonal(held, 1.0)
    return float(np.linalg.eigvalsh(held)[0])
