"""Rare failures against OpenTURNS: what the same limits cost to know equally well."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import numpy as np

from explorer.estimators.nearest_failure import MarginOf
from explorer.estimators.rare import CLOSE, rare_failure
from explorer.graph.arrays import Array

from .timing import WITHOUT_OPENTURNS, openturns_on_one_thread

# From the number of a seed to an estimate and the evaluations it took.
Estimate = Callable[[int], tuple[float, int]]


def plane(u: Array) -> Array:
    """Return the margin of a plane that one car in a million is beyond."""
    return 4.7534 - u.sum(axis=1) / np.sqrt(u.shape[1])


def four_ways(u: Array) -> Array:
    """Return the margin of a series of four limits (source in tests/outside/test_rare_events.py)."""
    difference, total = u[:, 0] - u[:, 1], (u[:, 0] + u[:, 1]) / np.sqrt(2)
    return np.minimum(3 + 0.1 * difference**2 - np.abs(total), 7 / np.sqrt(2) - np.abs(difference))


def rare(full: bool) -> Iterator[tuple[str, str]]:
    """Compare evaluations and processor time at equal spread over seeds, and tell how far each is off."""
    if (ot := openturns_on_one_thread()) is None:
        yield WITHOUT_OPENTURNS
        return
    for limit, margin, inputs, truth in (
        ("plane, one in a million, 25 inputs", plane, 25, 1.0e-6),
        ("series of four limits, 2 inputs", four_ways, 2, 2.2217e-3),
    ):
        own = spread(partial(ours, margin, inputs), 200 if full else 50)
        yield f"{limit}: ours, mean over truth", f"{own[0] / truth:.2f} ({own[2]:.0f} evaluations)"
        for name, method in (("subset sampling", subset), ("FORM and draws around it", around_nearest)):
            mean, variation, *costs = spread(partial(method, ot, margin, inputs), 200 if full else 50)
            cost = (variation / own[1]) ** 2 * np.divide(costs, own[2:])
            yield (
                f"{limit}: OpenTURNS over ours, {name}: evaluations, time; mean over truth",
                f"{cost[0]:.2g}, {cost[1]:.2g}; {mean / truth:.2f}",
            )


def spread(estimate: Estimate, seeds: int) -> tuple[float, float, float, float]:
    """Return mean, coefficient of variation, evaluations and seconds of estimates with so many seeds."""
    start = time.thread_time()
    found = np.array([estimate(seed) for seed in range(1, seeds + 1)])
    mean, evaluations = found.mean(axis=0).tolist()
    return mean, float(found[:, 0].std(ddof=1)) / mean, evaluations, (time.thread_time() - start) / seeds


def ours(margin: MarginOf, inputs: int, seed: int) -> tuple[float, int]:
    """Estimate as a run does, down to the most likely failing car."""
    found = rare_failure(margin, inputs, seed=seed)
    return found.probability, found.evaluations


def event(ot: Any, margin: MarginOf, inputs: int, seed: int) -> Any:
    """Return a margin below zero as an event of OpenTURNS."""
    ot.RandomGenerator.SetSeed(seed)
    limit = ot.PythonFunction(inputs, 1, func_sample=lambda points: margin(np.asarray(points))[:, None])
    vector = ot.CompositeRandomVector(limit, ot.RandomVector(ot.Normal(inputs)))
    return ot.ThresholdEvent(vector, ot.Less(), 0.0)


def subset(ot: Any, margin: MarginOf, inputs: int, seed: int) -> tuple[float, int]:
    """Walk in steps of 4000 samples."""
    failure = event(ot, margin, inputs, seed)
    return run_blocks(failure, ot.SubsetSampling(failure), 400)


def around_nearest(ot: Any, margin: MarginOf, inputs: int, seed: int) -> tuple[float, int]:
    """Draw around the nearest failure, to the coefficient of variation at which ours end."""
    failure = event(ot, margin, inputs, seed)
    nearest = ot.FORM(ot.AbdoRackwitz(), failure, [0.1 * (place + 1) for place in range(inputs)])
    nearest.run()
    draws = ot.PostAnalyticalImportanceSampling(nearest.getResult())
    draws.setMaximumCoefficientOfVariation(CLOSE)
    return run_blocks(failure, draws, 1000)


def run_blocks(failure: Any, method: Any, size: int) -> tuple[float, int]:
    """Run a method of OpenTURNS in at most ten blocks of so many samples."""
    method.setMaximumOuterSampling(10)
    method.setBlockSize(size)
    method.run()
    return method.getResult().getProbabilityEstimate(), failure.getFunction().getEvaluationCallsNumber()
