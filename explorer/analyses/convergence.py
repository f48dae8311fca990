"""Whether the figures of a run stand still: mean, spread and interval ends of every output.

Source: the adaptive procedure of JCGM 101:2008, 7.9; the whole chunks that a run draws are its batches.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from explorer.engine.montecarlo import Outcome, SoFar
from explorer.estimators.stopping import Stability, stability
from explorer.graph.arrays import Array
from explorer.results.records import Convergence
from explorer.study.limits import Output


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


def convergence_of(outcome: Outcome) -> Convergence | None:
    """Say for which outputs two figures of the uncertainty stand still, and what the rest would take.

    None where fewer than two batches were drawn.
    """
    found = {output.column: one for output, one in _standing(outcome)}
    if not found:
        return None
    still = tuple(name for name, one in found.items() if one.settled)
    growth = max((one.batches_needed / one.batches for one in found.values() if not one.settled), default=0)
    return Convergence(
        settled=still,
        open=tuple(name for name in found if name not in still),
        samples_needed=round(growth * outcome.samples),
    )


def _standing(outcome: Outcome) -> Iterator[tuple[Output, Stability]]:
    """Judge every output of which two batches have answers."""
    for output, batches, tally in zip(outcome.outputs, outcome.batches, outcome.tallies, strict=True):
        if batches.count > 1:
            yield output, stability(batches, uncertainty=tally.sd)
