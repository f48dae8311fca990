"""Sobol indices of one replicate, reduced to sums of products: all that has to be kept of its evaluations.

The evaluations are gone through in short runs of rows that stay in the processor's cache, laid out with the
rows side by side: sums over them are then inner products, or one matrix product for all resamples.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from explorer.errors import SampleError
from explorer.graph.quantity import Array

Estimator: TypeAlias = Literal["saltelli", "azzini"]
Marks: TypeAlias = npt.NDArray[np.bool_]
# Products to be added up, each by its two factors: shapes that broadcast to (inputs, outputs, rows).
Products: TypeAlias = Sequence[tuple[Array, Array]]

ROWS_AT_ONCE = 128
# One matrix product for all resamples gains more from longer runs than it loses to a fuller cache.
ROWS_AT_ONCE_RESAMPLED = 512
# What varies by less than so many units in the last place of its size only wobbles by rounding.
ROUNDING = 64 * float(np.finfo(float).eps)


@dataclass(frozen=True)
class Parts:
    """Numerators and denominators of the indices, one per replicate or resample (leading axis).

    Attributes
    ----------
    first, total, scale:
        Shape (replicates, inputs, outputs); an index is first or total over scale.
    together, variance:
        Variance that pairs answer for only together, shape (replicates, pairs, outputs), and of the output,
        shape (replicates, outputs).
    rows, left_out, different:
        Shape (replicates, outputs): rows used, rows removed, evaluations of A and B off the usual value.
    """

    first: Array
    total: Array
    scale: Array
    together: Array
    variance: Array
    rows: Array
    left_out: Array
    different: Array

    def of(self, output: int, kept: Sequence[int]) -> Parts:
        """Take one output and some of the inputs out; the outputs' axis goes."""
        combinations = itertools.combinations(range(self.first.shape[1]), 2)
        pairs = [p for p, pair in enumerate(combinations) if set(pair) <= set(kept)]
        first, total, scale = (part[:, list(kept), output] for part in (self.first, self.total, self.scale))
        together = self.together[:, pairs, output] if self.together.shape[1] else self.together[..., output]
        per_output = (self.variance, self.rows, self.left_out, self.different)
        return Parts(first, total, scale, together, *(part[:, output] for part in per_output))


def joined(parts: Sequence[Parts]) -> Parts:
    """Put the replicates of several parts after one another."""
    return Parts(*(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(Parts)))


def chosen_estimator(estimator: Estimator | None, blocks: int, inputs: int) -> Estimator:
    """Return the estimator asked for, by default the better one that a design of so many blocks allows."""
    return estimator or ("azzini" if has_swapped(blocks, inputs) else "saltelli")


def has_swapped(blocks: int, inputs: int) -> bool:
    """Tell whether a design of so many blocks holds BA too."""
    if blocks not in (inputs + 2, 2 * inputs + 2):
        raise SampleError(
            "the number of blocks does not fit the number of inputs",
            found=f"{blocks} blocks for {inputs} inputs",
            allowed=f"{inputs + 2} (A, AB, B) or {2 * inputs + 2} (A, AB, BA, B)",
        )
    return blocks == 2 * inputs + 2


def replicate_parts(
    block: Array,
    inputs: int,
    *,
    estimator: Estimator | None = None,
    pairs: bool = False,
    weights: Array | None = None,
) -> Parts:
    """Reduce one replicate to the parts of its indices.

    Parameters
    ----------
    block:
        Evaluations, shape (rows, blocks, outputs), blocks in the order A, AB_1 .. AB_D, and B last; with
        BA_1 .. BA_D before B where the design holds them (SALib's interleaved order).
    inputs:
        Number D of inputs or groups.
    estimator:
        "saltelli" needs A, AB, B; "azzini" needs BA too and has the lower error.  Default: the better one
        that the blocks allow.
    pairs:
        Whether to prepare second-order indices, which needs BA.
    weights:
        Shape (resamples, rows): how often each row counts in each resample; default once each.

    Raises
    ------
    SampleError
        When the blocks do not fit the inputs, or the estimator or pairs need blocks that are not there.
    """
    swapped = has_swapped(block.shape[1], inputs)
    if not swapped and (pairs or estimator == "azzini"):
        raise SampleError(
            "second-order indices and the estimator of lower error need the swapped blocks",
            found=f"{block.shape[1]} blocks for {inputs} inputs",
            allowed=f"{2 * inputs + 2} blocks",
            remedy="draw the design with pairs",
        )
    azzini = chosen_estimator(estimator, block.shape[1], inputs) == "azzini"
    offset, finite = _centre(block)
    sums = _sums(block, offset, finite, inputs, azzini, pairs, weights)
    used = np.asarray(finite.sum(axis=0), float)
    counted = np.maximum(used if weights is None else weights @ finite, 1)
    if counted.ndim == 1:
        counted = counted[None]
    first, total, scale, together, square, mean = (part / counted[:, None] for part in sums)
    variance = (square - mean**2)[:, 0]
    varies = _varies(block, offset, finite, variance)
    scale = scale if azzini else np.repeat(variance[:, None], inputs, axis=1)
    shape = variance.shape
    return Parts(
        np.where(varies, first, 0.0),
        np.where(varies, total, 0.0),
        np.where(varies, scale, 0.0),
        np.where(varies, together, 0.0),
        np.where(varies, variance, 0.0),
        np.broadcast_to(used, shape),
        np.broadcast_to(len(block) - used, shape),
        np.broadcast_to(_different(block[:, [0, -1]], finite), shape),
    )


def _centre(block: Array) -> tuple[Array, Marks]:
    """Mean of each output over its finite rows, and which rows those are, shape (rows, outputs)."""
    finite = np.ones((len(block), block.shape[2]), bool)
    # Along the rows first: whole blocks of numbers side by side are summed at the speed of memory.
    with np.errstate(invalid="ignore", over="ignore"):
        sums = block.sum(axis=0)
    # A sum is finite only when all of its terms are.
    if not np.isfinite(sums).all():
        finite = np.asarray(np.isfinite(block).all(axis=1))
        sums = np.where(finite[:, None], block, 0.0).sum(axis=0)
    return sums.sum(axis=0) / (np.maximum(finite.sum(axis=0), 1) * block.shape[1]), finite


def _sums(
    block: Array,
    offset: Array,
    finite: Marks,
    inputs: int,
    azzini: bool,
    pairs: bool,
    weights: Array | None,
) -> list[Array]:
    """Sum what the estimator asks for over the rows: arrays (resamples or 1, inputs, pairs or 1, outputs)."""
    whole, length = bool(finite.all()), ROWS_AT_ONCE if weights is None else ROWS_AT_ONCE_RESAMPLED
    sums: list[Array] = []
    for start in range(0, len(block), length):
        rows = slice(start, start + length)
        centred = block[rows] - offset
        if not whole:
            centred = np.where(finite[rows, None], centred, 0.0)
        beside = np.ascontiguousarray(centred.reshape(len(centred), -1).T).reshape(*block.shape[1:], -1)
        some = None if weights is None else weights[:, rows]
        found = (_azzini if azzini else _saltelli)(beside, inputs, pairs, some)
        if not sums:
            sums = found
            continue
        for one, other in zip(sums, found, strict=True):
            one += other
    return sums


def _azzini(block: Array, inputs: int, pairs: bool, weights: Array | None) -> list[Array]:
    """Sum first, total, scale, together, square and value, by Azzini, Mara & Rosati 2021.

    Parameters
    ----------
    block:
        Centred evaluations, shape (blocks, outputs, rows).
    """
    a, ab, ba, b = block[:1], block[1 : inputs + 1], block[inputs + 1 : -1], block[-1:]
    from_a, from_b, across, apart = ab - a, b - ba, ba - ab, a - b
    # One input changed beside A, another beside B: of their product only what the two do together
    # survives the mean, since all else is orthogonal (functional decomposition, Sobol 1993).
    together = [
        _added([(from_a[i], from_b[i + 1 :]), (from_b[i], from_a[i + 1 :])], weights) / -2
        for i in range(inputs - 1 if pairs else 0)
    ]
    return [
        2 * _added([(from_a, from_b)], weights),
        _added([(from_a, from_a), (from_b, from_b)], weights),
        _added([(across, across), (apart, apart)], weights),
        _side_by_side(together, block, weights),
        *_square_and_value(a, b, weights),
    ]


def _saltelli(block: Array, inputs: int, pairs: bool, weights: Array | None) -> list[Array]:
    """Sum as above by Saltelli et al. 2010 and Jansen 1999; the scale, the plain variance, is left empty."""
    a, ab, ba, b = block[:1], block[1 : inputs + 1], block[inputs + 1 : -1], block[-1:]
    change = ab - a
    first = _added([(b, change)], weights)
    together = [
        _added([(ba[i], ab[i + 1 :])], weights)
        - _added([(a, b)], weights)
        - first[:, i : i + 1]
        - first[:, i + 1 :]
        for i in range(inputs - 1 if pairs else 0)
    ]
    return [
        first,
        _added([(change, change)], weights) / 2,
        _side_by_side([], block, weights),
        _side_by_side(together, block, weights),
        *_square_and_value(a, b, weights),
    ]


def _square_and_value(a: Array, b: Array, weights: Array | None) -> tuple[Array, Array]:
    half = np.full(a.shape[-1], 0.5)
    return _added([(a, a), (b, b)], weights) / 2, _added([(a, half), (b, half)], weights)


def _added(products: Products, weights: Array | None) -> Array:
    """Sum products over rows: shape (resamples or 1, inputs, outputs)."""
    if weights is None:
        found = sum(np.vecdot(one, other) for one, other in products)
        return np.asarray(found)[None]
    return np.tensordot(weights, sum(one * other for one, other in products), (1, -1))


def _side_by_side(sums: Sequence[Array], block: Array, weights: Array | None) -> Array:
    """Put sums for some inputs each after one another; without any, return none for each output."""
    none = np.empty((1 if weights is None else len(weights), 0, block.shape[1]))
    return np.concatenate([none, *sums], axis=1)


def _varies(block: Array, offset: Array, finite: Marks, variance: Array) -> Marks:
    """Tell which outputs vary, and do not only wobble by rounding; shape (outputs,)."""
    spread = np.sqrt(np.maximum(variance.max(axis=0), 0.0))
    # The farthest evaluation is a standard deviation away at least: it is sought only where that says little.
    varies: Marks = np.asarray(spread > 2 * ROUNDING * (np.abs(offset) + spread))
    for k in np.flatnonzero(~varies):
        values = block[finite[:, k], :, k]
        centre = values.mean() if values.size else 0.0
        reach = np.abs(values - centre).max(initial=0.0)
        varies[k] = reach > ROUNDING * (abs(centre) + reach)
    return varies


def _different(columns: Array, finite: Marks) -> Array:
    """Count evaluations, shape (rows, columns, outputs), off the usual value: the middle one by size."""
    middle = np.maximum(finite.sum(axis=0) - 1, 0) // 2
    placed = np.ascontiguousarray(np.where(finite, columns[:, 0], np.inf).T)
    placed.partition(np.unique(middle), axis=-1)
    usual = np.take_along_axis(placed, middle[:, None], axis=-1)[:, 0]
    return np.asarray(((columns != usual) & finite[:, None]).sum(axis=(0, 1)), float)
