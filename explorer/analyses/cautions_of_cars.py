"""What is to be known of the cars that the figures of a condition are of."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial

import numpy as np

from explorer.analyses.odd import asked_at_nominal
from explorer.analyses.standing import of_cars_on_points, predicted_cars
from explorer.analyses.taken_for_granted import taken_for_granted
from explorer.engine.execution import Execution
from explorer.engine.plan import make_plan
from explorer.graph.words import Number, Sentence, told
from explorer.graph.written import chance
from explorer.study.beside import (
    LIFTING,
    LIFTING_SPEED,
    SEVERAL,
    STANDING,
    STANDING_AT_TOP,
    jumps_passed_over,
    told_beside,
)
from explorer.study.study import Study

#: Cars of which shares are good to a hundredth.
CARS = 8000


def cautions_of_cars(study: Study, means: Mapping[tuple[str, str], float]) -> Iterator[Sentence]:
    """Yield them for each condition.

    Parameters
    ----------
    means:
        (quantity, condition) -> mean over the cars; what ``told_beside`` does not list is passed over.
    """
    for (quantity, condition), mean in means.items():
        where = study.conditions[condition].words
        share = f"{chance(mean)} of predicted cars"
        if quantity == SEVERAL and mean > 0:
            yield (
                f"{where}: {share} can keep more than one attitude. Figures are of the one that the car "
                f"comes to from rest; a bump may carry it to another{_of_runs(study, condition)}"
            )
        if quantity in (STANDING, STANDING_AT_TOP) and mean > 0:
            yield of_cars_on_points(study, quantity, condition, predicted_cars(mean))
        if quantity == LIFTING and mean > 0:
            # Cars that lift nothing count as 0 in both.
            speed = means[LIFTING_SPEED, condition] / mean
            yield told(
                f"{where}: ease off when the front wheels lift, as {share} do at full throttle, on average "
                "up to {}; held open, the throttle may take such a car over backwards. Acceleration, "
                "straight and strip are computed for a driver who eases off until they stay down, front "
                "loads and lift-off speeds for one who does not",
                Number(speed, spread=speed / 5, unit="m/s", display_unit=study.unit_of("speed")),
            )


def _of_runs(study: Study, condition: str) -> str:
    if not jumps_passed_over(study, condition):
        return ""
    return (
        ". A straight or strip is followed as if loads changed smoothly with the speed: what such a car "
        "reaches there may be off by tens of percent"
    )


def live_cautions(study: Study, execution: Execution | None = None) -> tuple[Sentence, ...]:
    """Tell what is taken for granted, and what is to be known of few cars, as one watches."""
    (found,) = (execution or Execution()).in_order(partial(_of_few, study), 1)
    return found


def _of_few(study: Study, _: int) -> tuple[Sentence, ...]:
    granted = tuple(taken_for_granted(study, asked_at_nominal(study)))
    plan = make_plan(study, told_beside(study))
    found = plan.evaluate(plan.random_chunk(0, CARS))
    answered = {pair: values[np.isfinite(values)] for pair, values in found.items()}
    means = {pair: float(np.mean(values)) if values.size else 0.0 for pair, values in answered.items()}
    return (*granted, *cautions_of_cars(study, means))
