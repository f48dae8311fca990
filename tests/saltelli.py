"""A Sobol design in the interleaved layout, drawn with scipy: independent of the project's own sampler."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy.stats import qmc

from explorer.estimators.sensitivity import Sensitivity, indices_of_output
from explorer.estimators.sobol_parts import joined, replicate_parts
from explorer.graph.arrays import Array


def unit_design(inputs: int, rows: int, replicates: int, seed: int) -> Array:
    """Draw independent scrambles, shape (replicates, rows, blocks, inputs): A, AB_j, BA_j, B."""
    generator = np.random.default_rng(seed)
    drawn = []
    for _ in range(replicates):
        points = qmc.Sobol(2 * inputs, rng=generator).random(rows)
        a, b = points[:, :inputs], points[:, inputs:]
        swap = np.eye(inputs, dtype=bool)
        blocks = [a, *(np.where(one, b, a) for one in swap), *(np.where(one, a, b) for one in swap), b]
        drawn.append(np.stack(blocks, axis=1))
    return np.stack(drawn)


def evaluated(function: Callable[[Array], Array], design: Array) -> Array:
    """Evaluate a function of points in the unit cube; the outputs' axis is added last."""
    return function(design)[..., None]


def indices(
    evaluations: Array, names: Sequence[str], *, pairs: bool = False, confidence: float = 0.95
) -> tuple[Sensitivity, ...]:
    """Estimate the indices of every output; evaluations of shape (replicates, rows, blocks, outputs)."""
    parts = joined([replicate_parts(block, len(names), pairs=pairs) for block in evaluations])
    every, groups = range(len(names)), {name: (name,) for name in names}
    return tuple(
        indices_of_output(parts.of(k, every), f"output {k}", groups, confidence=confidence)
        for k in range(evaluations.shape[-1])
    )


def ishigami(points: Array) -> Array:
    """Compute the function of Ishigami & Homma (1990) with a = 7, b = 0.1, inputs uniform on -pi .. pi."""
    x = np.pi * (2 * points - 1)
    return np.sin(x[..., 0]) + 7 * np.sin(x[..., 1]) ** 2 + 0.1 * x[..., 2] ** 4 * np.sin(x[..., 0])


def sobol_g(points: Array) -> Array:
    """Compute the G function of Saltelli & Sobol (1995) with a = 0, 1, 4.5, 9, 99, 99, 99, 99."""
    a = np.array([0, 1, 4.5, 9, 99, 99, 99, 99])
    return np.asarray(np.prod((np.abs(4 * points - 2) + a) / (1 + a), axis=-1))
