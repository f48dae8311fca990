"""What single measurements are worth, without a plan for a budget."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from explorer.estimators.measuring import (
    Measurement,
    Stake,
    Worth,
    calls_after,
    stacked_margins,
    take_readings,
    worth_of_calls,
)
from explorer.graph.arrays import Array


def worth_of_measurements(
    samples: Mapping[str, Array],
    margins: Mapping[str, Array],
    measurements: Sequence[Measurement],
    stakes: Sequence[Stake],
    seed: int,
) -> tuple[Worth, ...]:
    stacked = stacked_margins(margins, stakes)
    after = [calls_after(take_readings(one, samples, seed), stacked) for one in measurements]
    return worth_of_calls(list(stacked), measurements, stakes, after)
