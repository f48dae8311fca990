"""Sobol indices of one replicate, reduced to sums of products: all that has to be kept of its evaluations.

The evaluations are gone through in short runs of rows that stay in the processor's cache, laid out with the
rows side by side: sums over them are then inner products.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from explorer.errors import SampleError
from explorer.graph.arrays import Array, Mask

ROWS_AT_ONCE = 128
# What varies by less than so many units in the last place of its size only wobbles by rounding.
ROUNDING = 64 * float(np.finfo(float).eps)


@dataclass(frozen=True)
class Parts:
    """Numerators and denominators of the indices, one per replicate (leading axis).

    Attributes
    ----------
    first, total, scale:
        Shape (replicates, inputs, outputs); an index is first or total over scale.
    together, variance:
        Variance that pairs answer for only together, shape (replicates, pairs, outputs), and of the output,
        shape (replicates, outputs).
    rows, left_out, different, unanswered:
        Shape (replicates, outputs): rows used, rows removed, evaluations of A and B off the usual value, and
        those without an answer: A and B alone are cars as the study gives them.
    """

    first: Array
    total: Array
    scale: Array
    together: Array
    variance: Array
    rows: Array
    left_out: Array
    different: Array
    unanswered: Array

    def of(self, output: int, kept: Sequence[int]) -> Parts:
        """Take one output and some of the inputs out; the outputs' axis goes."""
        combinations = itertools.combinations(range(self.first.shape[1]), 2)
        pairs = [p for p, pair in enumerate(combinations) if set(pair) <= set(kept)]
        first, total, scale = (part[:, list(kept), output] for part in (self.first, self.total, self.scale))
        together = self.together[:, pairs, output] if self.together.shape[1] else self.together[..., output]
        per_output = (self.variance, self.rows, self.left_out, self.different, self.unanswered)
        return Parts(first, total, scale, together, *(part[:, output] for part in per_output))

    def only(self, kept: Sequence[int]) -> Parts:
        """Take some inputs of one output, without its pairs."""
        chosen = list(kept)
        first, total, scale = (part[:, chosen] for part in (self.first, self.total, self.scale))
        return replace(self, first=first, total=total, scale=scale, together=self.together[:, :0])


def joined(parts: Sequence[Parts]) -> Parts:
    """Put the replicates of several parts after one another."""
    return Parts(*(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(Parts)))


def replicate_parts(block: Array, inputs: int, *, pairs: bool = False) -> Parts:
    """Reduce one replicate to the parts of its indices.

    Parameters
    ----------
    block:
        Evaluations, shape (rows, blocks, outputs), blocks in the order A, AB_1 .. AB_D, BA_1 .. BA_D, B
        (SALib's interleaved order).
    inputs:
        Number D of inputs or groups.
    pairs:
        Whether to prepare second-order indices.

    Raises
    ------
    SampleError
        When the blocks do not fit the inputs.
    """
    allowed = 2 * inputs + 2
    if block.shape[1] != allowed:
        raise SampleError(
            "the number of blocks does not fit the number of inputs",
            found=f"{block.shape[1]} blocks for {inputs} inputs",
            allowed=f"{allowed} blocks",
        )
    offset, finite = _centre(block)
    sums = _sums(block, offset, finite, inputs, pairs)
    used = np.asarray(finite.sum(axis=0), float)
    counted = np.maximum(used, 1)
    first, total, scale, together, square, mean = (part / counted for part in sums)
    variance = (square - mean**2)[:, 0]
    varies = _varies(block, offset, finite, variance)
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
        np.broadcast_to(np.asarray((~np.isfinite(block[:, [0, -1]])).sum(axis=(0, 1)), float), shape),
    )


def ranks(block: Array) -> Array:
    """Put each evaluation at its place among the cars of A and B, from 0 to 1; no answer stays none.

    A place has a spread whatever the tails of the output, which the output itself need not have.

    Parameters
    ----------
    block:
        As in ``replicate_parts``.
    """
    placed = np.empty(block.shape)
    for k in range(block.shape[2]):
        placed[..., k] = places_among(block[:, [0, -1], k], block[..., k])
    return placed


def places_among(cars: Array, values: Array) -> Array:
    """Find the place of each value among those of some cars, from 0 to 1, in the middle of its equals."""
    placed, answered = np.full(values.shape, np.nan), np.isfinite(values)
    order = np.sort(cars[np.isfinite(cars)])
    below, upto = (np.searchsorted(order, values[answered], side) for side in ("left", "right"))
    placed[answered] = (below + upto) / (2 * max(len(order), 1))
    return placed


def answers(block: Array, inputs: int) -> Parts:
    """Reduce one replicate to the parts of whether there is an answer at all, one for yes and zero for no."""
    return replicate_parts(np.isfinite(block).astype(float), inputs)


def _centre(block: Array) -> tuple[Array, Mask]:
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


def _sums(block: Array, offset: Array, finite: Mask, inputs: int, pairs: bool) -> list[Array]:
    """Sum what the estimator asks for over the rows: arrays (1, inputs, pairs or 1, outputs)."""
    whole = bool(finite.all())
    sums: list[Array] = []
    for start in range(0, len(block), ROWS_AT_ONCE):
        rows = slice(start, start + ROWS_AT_ONCE)
        centred = block[rows] - offset
        if not whole:
            centred = np.where(finite[rows, None], centred, 0.0)
        beside = np.ascontiguousarray(centred.reshape(len(centred), -1).T).reshape(*block.shape[1:], -1)
        found = _summed(beside, inputs, pairs)
        if not sums:
            sums = found
            continue
        for one, other in zip(sums, found, strict=True):
            one += other
    return sums


def _summed(block: Array, inputs: int, pairs: bool) -> list[Array]:
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
        _added((from_a[i], from_b[i + 1 :]), (from_b[i], from_a[i + 1 :])) / -2
        for i in range(inputs - 1 if pairs else 0)
    ]
    return [
        2 * _added((from_a, from_b)),
        _added((from_a, from_a), (from_b, from_b)),
        _added((across, across), (apart, apart)),
        np.concatenate([_none(block), *together], axis=1),
        *_square_and_value(a, b),
    ]


def _square_and_value(a: Array, b: Array) -> tuple[Array, Array]:
    half = np.full(a.shape[-1], 0.5)
    return _added((a, a), (b, b)) / 2, _added((a, half), (b, half))


def _added(*products: tuple[Array, Array]) -> Array:
    """Sum products of two factors over rows: shape (1, inputs, outputs)."""
    return np.asarray(sum(np.vecdot(one, other) for one, other in products))[None]


def _none(block: Array) -> Array:
    return np.empty((1, 0, block.shape[1]))


def _varies(block: Array, offset: Array, finite: Mask, variance: Array) -> Mask:
    """Tell which outputs vary, and do not only wobble by rounding; shape (outputs,)."""
    spread = np.sqrt(np.maximum(variance.max(axis=0), 0.0))
    # The farthest evaluation is a standard deviation away at least: it is sought only where that says little.
    varies: Mask = np.asarray(spread > 2 * ROUNDING * (np.abs(offset) + spread))
    for k in np.flatnonzero(~varies):
        values = block[finite[:, k], :, k]
        centre = values.mean() if values.size else 0.0
        reach = np.abs(values - centre).max(initial=0.0)
        varies[k] = reach > ROUNDING * (abs(centre) + reach)
    return varies


def _different(columns: Array, finite: Mask) -> Array:
    """Count evaluations, shape (rows, columns, outputs), off the usual value: the middle one by size."""
    middle = np.maximum(finite.sum(axis=0) - 1, 0) // 2
    placed = np.ascontiguousarray(np.where(finite, columns[:, 0], np.inf).T)
    placed.partition(np.unique(middle), axis=-1)
    usual = np.take_along_axis(placed, middle[:, None], axis=-1)[:, 0]
    return np.asarray(((columns != usual) & finite[:, None]).sum(axis=(0, 1)), float)
