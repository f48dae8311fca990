"""Whether the figures of a run stand still: mean, spread and interval ends of every output.

Source: the adaptive procedure of JCGM 101:2008, 7.9; the whole chunks that a run draws are its batches.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from explorer.engine.montecarlo import Outcome, Output, SoFar
from explorer.estimators.stopping import Stability, stability
from explorer.graph.quantity import Array
from explorer.graph.units import about


@dataclass
class Steady:
    """Goes on until the figures of every output stand still (JCGM 101:2008, 7.9.4).

    Attributes
    ----------
    cap:
        Most samples that may be drawn.
    """

    cap: int

    @property
    def name(self) -> str:
        """Tell runs that end so from others."""
        return f"steady, {self.cap} at the most"

    @property
    def memory(self) -> Array:
        """Nothing: the batches so far say all."""
        return np.empty(0)

    def recall(self, memory: Array) -> None:
        """Go on: nothing had to be remembered."""

    def enough(self, so_far: SoFar) -> bool:
        """Tell whether all figures that can be judged stand still."""
        judged = [one for _, one in _standing(so_far.outcome({}))]
        return bool(judged) and all(one.settled for one in judged)


def standing_figures(outcome: Outcome) -> dict[str, Any]:
    """Say for how many outputs two figures of the uncertainty stand still, and what the rest would take.

    Empty where fewer than two batches were drawn.
    """
    found = {output.column: one for output, one in _standing(outcome)}
    if not found:
        return {}
    still = [name for name, one in found.items() if one.settled]
    growth = max((one.batches_needed / one.batches for one in found.values() if not one.settled), default=0)
    return {
        "settled": still,
        "open": [name for name in found if name not in still],
        "samples_needed": round(growth * outcome.samples),
        "words": _words(len(still), len(found), growth * outcome.samples),
    }


def _standing(outcome: Outcome) -> Iterator[tuple[Output, Stability]]:
    """Judge every output of which two batches have answers."""
    for output, batches, tally in zip(outcome.outputs, outcome.batches, outcome.tallies, strict=True):
        if batches.count > 1:
            yield output, stability(batches, uncertainty=tally.sd)


def _words(still: int, outputs: int, needed: float) -> str:
    if still == outputs:
        return f"the figures of all {outputs} outputs stand still to two digits of their uncertainty"
    return (
        f"the figures of {still} of {outputs} outputs stand still to two digits of their uncertainty; "
        f"all of them would take about {about(needed)} samples"
    )
