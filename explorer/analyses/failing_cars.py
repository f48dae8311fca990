"""Which cars miss a limit: what they have in common, which limits they miss together, which is likeliest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from explorer.analyses.nominal import computable, nominal_along
from explorer.analyses.rare_failures import Margins, inputs_moved
from explorer.analyses.sensitivity import keys_upstream
from explorer.engine.montecarlo import Outcome
from explorer.engine.plan import CHUNK, make_plan
from explorer.engine.storage import SampleFiles
from explorer.estimators.conformance import Conformance
from explorer.estimators.groups import apart, enough, fifths, missed_together
from explorer.estimators.nearest_failure import most_likely_failure
from explorer.estimators.rare import generator
from explorer.graph.arrays import Array, Mask
from explorer.results.failing_cars import FailingCars, InputApart, MissedTogether, NearestCar
from explorer.study.limits import Limit
from explorer.study.study import Study

# Inputs that are shown, and standard errors by which the two groups must lie apart in them.
MOST_INPUTS = 6
CLEARLY = 4.0
# Cars among which one on the other side of a limit is looked for, and their stream.
TRIED = 1000
STREAM = 41


def first_kept(outcome: Outcome) -> Mapping[str, Array]:
    """Return the first of the kept samples; none where none were kept."""
    if isinstance(outcome.kept, SampleFiles):
        return outcome.kept.first(CHUNK)
    return {name: values[:CHUNK] for name, values in outcome.kept.items()}


def failing_cars(
    study: Study, kept: Mapping[str, Array]
) -> tuple[tuple[FailingCars, ...], MissedTogether | None]:
    """Describe the cars that miss each limit which some miss and some meet, and which go together."""
    missing = {limit: _missing(limit, kept) for limit in study.limits if limit.output.column in kept}
    split = {limit: cars for limit, cars in missing.items() if enough(cars)}
    described = tuple(_described(study, limit, cars, kept) for limit, cars in split.items())
    if len(split) < 2:
        return described, None
    names = tuple(limit.name for limit in split)
    cars = len(next(iter(split.values())))
    return described, MissedTogether(names, missed_together(list(split.values())), cars)


def _missing(limit: Limit, kept: Mapping[str, Array]) -> Mask:
    """Tell which cars miss a limit; one without an answer does."""
    values = kept[limit.output.column]
    found: Mask = ~((values >= limit.low) & (values <= limit.high))
    return found


def _described(study: Study, limit: Limit, missing: Mask, kept: Mapping[str, Array]) -> FailingCars:
    found = [
        InputApart(key, apart(kept[key], missing))
        for key in sorted(keys_upstream(study, limit))
        if key in kept and np.all(np.isfinite(kept[key])) and np.ptp(kept[key]) > 0
    ]
    clear = [one for one in found if abs(one.apart.shift) > CLEARLY * one.apart.error]
    shown = sorted(clear, key=lambda one: -abs(one.apart.shift))[:MOST_INPUTS]
    slices = fifths(kept[shown[0].key], missing) if shown else ()
    return FailingCars(limit.name, int(np.sum(missing)), len(missing), tuple(shown), slices)


def most_in_the_way(limits: Sequence[Limit], judged: Sequence[Conformance]) -> Limit | None:
    """Pick the limit that a car is shown for: failed before open before passed, safety first, then worst."""
    rank = {"fail": 0, "undecided": 1, "pass": 2}
    pairs = [pair for pair in zip(limits, judged, strict=True) if pair[0].output.minus is None]
    if not pairs:
        return None
    return min(
        pairs,
        key=lambda pair: (rank[pair[1].verdict], not pair[0].safety, pair[1].probability - pair[1].required),
    )[0]


def nearest_car(study: Study, limit: Limit) -> NearestCar | None:
    """Find the likeliest car that lies on the other side of a limit from the median car.

    The median car has every input at its median.  None where no car of the ones tried lies there.
    """
    plan = make_plan(study, limit.output.pairs)
    margins = Margins(plan, limit, tuple(plan.streams))
    middle = np.zeros((1, len(margins.streams)))
    meets = bool(margins(middle)[0] >= 0)
    normals = generator(study.seed, STREAM).standard_normal((TRIED, middle.size))

    def beyond(points: Array) -> Array:
        found = margins(points)
        return found if meets else -np.where(np.isfinite(found), found, -np.inf)

    there = normals[~(beyond(normals) >= 0)]
    if not there.size:
        return None
    # For a margin that changes steadily, the likeliest of them lies the way that they lie on average.
    ray = (
        np.linspace(0, 4, TRIED // 10)[:, None]
        * np.mean(there, axis=0)
        / np.linalg.norm(np.mean(there, axis=0))
    )
    crossed = ray[~(beyond(ray) >= 0)]
    point, _ = most_likely_failure(beyond, np.concatenate([crossed[:1], there]))
    point = point * 1.001
    drawn, median = ({k: float(v[0]) for k, v in margins.drawn(p).items()} for p in (point[None], middle))
    condition = limit.output.condition
    of = {one.key: name for name, one in study.given_in(condition).items()}
    cars = [
        _quantities(study, condition, {of[key]: value for key, value in values.items() if key in of})
        for values in (median, drawn)
    ]
    return NearestCar(
        limit.name,
        condition,
        meets,
        float(np.linalg.norm(point)),
        inputs_moved(margins, point),
        *cars,
    )


def _quantities(study: Study, condition: str, inputs: Mapping[str, float]) -> dict[str, float | None]:
    found = nominal_along(study, condition, inputs, computable(study, condition))
    return {
        name: float(value) if np.isfinite(value) else None
        for name, value in found.items()
        if not study.graph[name].record and name not in study.tables and np.ndim(value) == 0
    }
