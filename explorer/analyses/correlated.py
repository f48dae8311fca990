"""What each of some correlated inputs answers for when it alone is known, with all it tells about the others.

They enter the Sobol design as one group, because changing one alone would make cars that do not exist. Which
of them leads is read off the run's own samples instead.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from explorer.engine.montecarlo import Outcome
from explorer.engine.replay import replay_margins, replay_samples
from explorer.estimators.given_data import FEWEST_SAMPLES, first_order_given_data
from explorer.estimators.sensitivity import Index, Sensitivity
from explorer.estimators.sobol_parts import places_among
from explorer.graph.arrays import Array
from explorer.study.study import Study

MOST_SAMPLES = 50_000


def with_members(
    study: Study, outcome: Outcome, drivers: Mapping[str, Sensitivity]
) -> dict[str, Sensitivity]:
    """Add to the ranking of every limit the shares of correlated inputs, each known alone."""
    grouped = any(len(index.members) > 1 for found in drivers.values() for index in found.indices)
    if not grouped or min(outcome.samples, MOST_SAMPLES) < FEWEST_SAMPLES:
        return dict(drivers)
    samples = replay_samples(study, outcome, MOST_SAMPLES)
    margins = replay_margins(study, samples)
    return {
        name: replace(found, indices=tuple(_with_members(index, samples, margin) for index in found.indices))
        for name, found in drivers.items()
        for margin in (places_among(margins[name], margins[name]) if found.by_rank else margins[name],)
    }


def _with_members(index: Index, samples: Mapping[str, Array], margin: Array) -> Index:
    """Estimate the share of each member of a group; an input of its own stays as it is."""
    if len(index.members) < 2 or np.count_nonzero(np.isfinite(margin)) < FEWEST_SAMPLES:
        return index
    found = first_order_given_data({key: samples[key] for key in index.members}, margin)
    return replace(index, known_alone=tuple(found.items()))
