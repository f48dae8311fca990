"""Samples of a finished run to look at again: those it kept, or the same ones drawn once more."""

from __future__ import annotations

from collections.abc import Mapping

from explorer.engine.montecarlo import Outcome, run_montecarlo
from explorer.engine.storage import first_rows
from explorer.graph.arrays import Array
from explorer.study.study import Study


def replay_samples(study: Study, outcome: Outcome, most: int) -> Mapping[str, Array]:
    """Return the first samples of a run, inputs and outputs by column, at most so many.

    A run that did not keep its samples is drawn again as far as needed: the numbers are the same.
    """
    kept = outcome.kept or run_montecarlo(study, samples=min(most, outcome.samples), keep=True).kept
    return first_rows(kept, most)


def replay_margins(study: Study, samples: Mapping[str, Array]) -> dict[str, Array]:
    """Return the margin of every limit, by its name, from the columns of samples."""
    return {limit.name: limit.margin(samples[limit.output.column]) for limit in study.limits}
