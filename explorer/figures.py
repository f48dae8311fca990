"""Whether the figures of a run stand still: mean, spread and interval ends of every output.

Source: the adaptive procedure of JCGM 101:2008, 7.9, applied to the batches that the run has drawn.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from explorer.estimators.stopping import Stability, batch_of, batch_size, stability
from explorer.keeping import SampleFiles
from explorer.montecarlo import Outcome
from explorer.quantity import Array


def standing_figures(outcome: Outcome) -> dict[str, Any]:
    """Say for how many outputs two figures of the uncertainty stand still, and what the rest would take.

    Empty where the samples are not at hand, or fewer than two batches were drawn.
    """
    if isinstance(outcome.kept, SampleFiles) or outcome.scrambled:
        return {}
    found = {
        output.column: standing
        for output in outcome.outputs
        if output.column in outcome.kept
        and (standing := _standing(np.asarray(outcome.kept[output.column]))) is not None
    }
    if not found:
        return {}
    still = [name for name, one in found.items() if one.settled]
    needed = max((one.batches_needed for one in found.values() if not one.settled), default=0) * batch_size()
    return {
        "settled": still,
        "open": [name for name in found if name not in still],
        "samples_needed": needed,
        "words": _words(len(still), len(found), needed),
    }


def _standing(values: Array) -> Stability | None:
    """Judge one output by its batches of equal size; samples without an answer are left out."""
    answered = values[np.isfinite(values)]
    size = batch_size()
    count = answered.size // size
    if count < 2:
        return None
    batches = [batch_of(answered[i * size : (i + 1) * size]) for i in range(count)]
    return stability(batches, uncertainty=float(answered.std(ddof=1)))


def _words(still: int, outputs: int, needed: int) -> str:
    if still == outputs:
        return f"the figures of all {outputs} outputs stand still to two digits of their uncertainty"
    more = f"{float(f'{needed:.2g}'):,.0f}".replace(",", " ")
    return (
        f"the figures of {still} of {outputs} outputs stand still to two digits of their uncertainty; "
        f"all of them would take about {more} samples"
    )
