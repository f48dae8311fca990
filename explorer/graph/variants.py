"""One program on some samples and on variants of them, in each of which a few leaves differ.

Each step is called once, on the samples and on those variants alone that reach it and need it: what a variant
does not change it takes from the samples as they are.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from explorer.graph.arrays import Array, Placed, Rows, picked
from explorer.graph.program import Program

Pair = tuple[str, str]


@dataclass(frozen=True)
class Moved:
    """The leaves that differ, by token, and the pairs that are wanted of it; what is not stays as it was."""

    leaves: Mapping[Any, Any]
    wanted: Collection[Pair]


def run_variants(
    program: Program, supplied: Mapping[Any, Any], variants: Sequence[Moved], size: int
) -> dict[Pair, Array]:
    """Evaluate a program on some samples and on their variants.

    Parameters
    ----------
    supplied:
        As in ``Program.run``.
    size:
        Number of the samples.

    Returns
    -------
    dict
        (quantity, condition) -> values, shape (1 + variants, samples), the samples as they are first.
    """
    present = _present(program, variants)

    @cache
    def rows_for(held: tuple[int, ...], asked: tuple[int, ...]) -> Placed:
        place = {variant: 1 + k for k, variant in enumerate(held)}
        blocks: Rows = np.array([0, *(place.get(variant, 0) for variant in asked)])
        return Placed(size * (1 + len(held)), (blocks[:, None] * size + np.arange(size)).ravel())

    values = {slot: supplied[token] for token, slot in program.leaves.items()}
    for token, slot in program.leaves.items():
        if present[slot]:
            several = [supplied[token], *(variants[k].leaves[token] for k in present[slot])]
            values[slot] = np.concatenate([np.broadcast_to(one, (size,)) for one in several])

    def in_rows(slot: int, asked: tuple[int, ...]) -> Any:
        held = present[slot]
        return values[slot] if held == asked else picked(values[slot], rows_for(held, asked))

    with np.errstate(all="ignore"):
        for step, done_with in program.schedule:
            asked = present[step.slot]
            values[step.slot] = step.run({slot: in_rows(slot, asked) for slot in step.reads})
            for slot in done_with:
                del values[slot]
    everyone = tuple(range(len(variants)))
    shape = (1 + len(variants), size)
    return {
        pair: np.broadcast_to(in_rows(slot, everyone), (shape[0] * size,)).reshape(shape)
        for pair, slot in program.outputs.items()
    }


def _present(program: Program, variants: Sequence[Moved]) -> dict[int, tuple[int, ...]]:
    """List for each slot the variants in which it differs, and is needed for what is wanted of them."""
    reached = {
        slot: {k for k, one in enumerate(variants) if token in one.leaves}
        for token, slot in program.leaves.items()
    }
    for step in program.steps:
        reached[step.slot] = set().union(*(reached[slot] for slot in step.reads))
    needed: dict[int, set[int]] = {slot: set() for slot in reached}
    for pair, slot in program.outputs.items():
        needed[slot] |= {k for k, one in enumerate(variants) if pair in one.wanted}
    for step in reversed(program.steps):
        for slot in step.reads:
            needed[slot] |= needed[step.slot]
    return {slot: tuple(sorted(found & needed[slot])) for slot, found in reached.items()}
