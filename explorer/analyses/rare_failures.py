"""Safety limits that hardly ever fail: how seldom, and what the car looks like that fails first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.special import ndtr, ndtri

from explorer.engine.execution import Execution
from explorer.engine.montecarlo import Drawing, Outcome
from explorer.engine.plan import CHUNK, Plan, make_plan
from explorer.engine.sampling import EDGE
from explorer.estimators.conformance import Conformance
from explorer.estimators.rare import (
    STEP_SHARE,
    RareFailure,
    Start,
    held_against,
    rare_failure,
    shares_of_correlated,
)
from explorer.graph.arrays import Array
from explorer.results.failing_cars import InputMoved
from explorer.results.records import RareFailureRecord
from explorer.study.limits import Limit
from explorer.study.study import Study

# A failure seen fewer times than this in the plain run is worth the search.
SELDOM = 200
# So many walks start from the cars of the run, each from so many with the least margin.
WALKS = 8
SEEDS = 40
# How far out no input's distribution is known: nothing is claimed below.
LEAST = 1e-6
# Coefficient of variation that is near enough for what hangs on distributions that far out.
CLOSE = 0.08
# Inputs that account for less of the way to the failure than this are not named.
SIGNIFICANT_SHARE = 0.05


@dataclass(frozen=True)
class Margins:
    """Margin of one limit as a function of standard normal coordinates, one an uncertain input."""

    plan: Plan
    limit: Limit
    streams: tuple[str, ...]

    def __call__(self, normals: Array) -> Array:
        """Evaluate chunk by chunk: shape (samples, inputs) -> (samples,)."""
        pieces = [self._piece(normals[start : start + CHUNK]) for start in range(0, len(normals), CHUNK)]
        return np.concatenate(pieces)

    def drawn(self, normals: Array) -> dict[str, Array]:
        """Map coordinates onto the inputs, correlations included."""
        uniforms = np.clip(ndtr(normals), EDGE, 1 - EDGE)
        return self.plan.draw({name: uniforms[:, i] for i, name in enumerate(self.streams)})

    def _piece(self, normals: Array) -> Array:
        return self.limit.margin_in(self.plan.evaluate(self.drawn(normals)))


def seldom_failing(study: Study, judged: Sequence[Conformance]) -> dict[Limit, Conformance]:
    """Find the safety limits whose failures the plain run hardly saw, with what it counted."""
    return {
        limit: found
        for limit, found in zip(study.limits, judged, strict=True)
        if limit.safety and found.trials - found.conforming < SELDOM
    }


def search_rare_failures(
    study: Study,
    seldom: Mapping[Limit, Conformance],
    *,
    outcome: Outcome | None = None,
    execution: Execution | None = None,
) -> tuple[RareFailureRecord, ...]:
    """Estimate the probability that each limit fails, and find the most likely failing car.

    What the run itself counted is held against each estimate.

    Limits are searched side by side where there are workers; the numbers do not depend on that.

    Parameters
    ----------
    outcome:
        The run, from whose cars the walks start; by default, and where it kept none, from others.
    """
    searched = []
    starts: list[tuple[Start, ...]] = []
    for limit in seldom:
        plan = make_plan(study, limit.output.pairs)
        if plan.uncertain:
            searched.append(Margins(plan, limit, tuple(plan.streams)))
            starts.append(_starts(study, searched[-1], outcome))
    execution = execution or Execution()
    failures = execution.in_order(
        partial(_failure, tuple(searched), tuple(starts), study.seed),
        len(searched),
        "rare failures",
    )
    records = []
    for margins, failure in zip(searched, failures, strict=True):
        counted = seldom[margins.limit]
        found = held_against(failure, counted.trials - counted.conforming, counted.trials)
        moved = inputs_moved(margins, np.array(found.most_likely)) if found.most_likely else ()
        records.append(RareFailureRecord(margins.limit.name, found, moved))
    return tuple(records)


def _starts(study: Study, margins: Margins, outcome: Outcome | None) -> tuple[Start, ...]:
    """Deal the cars that a run kept to the walks; each starts from those with the least margin."""
    column = margins.limit.output.column
    # Cars of a scrambled design are not independent, which parts of a run have to be.
    if outcome is None or study.design != "random" or column not in outcome.kept:
        return ()
    found = margins.limit.margin(outcome.kept[column])
    lowest = np.where(np.isfinite(found), found, -np.inf)
    if len(lowest) < WALKS * SEEDS / STEP_SHARE:
        return ()
    chosen = [walk + WALKS * np.argpartition(lowest[walk::WALKS], SEEDS)[:SEEDS] for walk in range(WALKS)]
    drawing, points = Drawing.of(study, len(lowest)), np.empty((WALKS, SEEDS, len(margins.streams)))
    places = np.stack(chosen)
    for chunk in range(drawing.chunks):
        uniforms = drawing.uniforms(margins.plan, chunk)
        here = (places >= drawing.up_to(chunk)) & (places < drawing.up_to(chunk + 1))
        for k, name in enumerate(margins.streams):
            points[here, k] = ndtri(uniforms[name][places[here] - drawing.up_to(chunk)])
    return tuple(Start(points[walk], lowest[places[walk]], len(lowest[walk::WALKS])) for walk in range(WALKS))


def _failure(
    searched: Sequence[Margins], starts: Sequence[tuple[Start, ...]], seed: int, index: int
) -> RareFailure:
    margins = searched[index]
    return rare_failure(
        margins, len(margins.streams), seed=seed, walks=WALKS, least=LEAST, close=CLOSE, starts=starts[index]
    )


def inputs_moved(margins: Margins, point: Array) -> tuple[InputMoved, ...]:
    """List the inputs that make a car what it is beside the median car, those that answer for most first."""
    cars = margins.drawn(np.stack([point, np.zeros_like(point)]))
    scores, shares = _scores_and_shares(margins, point)
    found = (
        InputMoved(one.key, float(value), float(median), scores[one.stream], shares[one.stream])
        for one in margins.plan.uncertain.values()
        for value, median in (cars[one.key],)
        if shares[one.stream] >= SIGNIFICANT_SHARE
    )
    return tuple(sorted(found, key=lambda one: -one.share))


def _scores_and_shares(margins: Margins, point: Array) -> tuple[dict[str, float], dict[str, float]]:
    """Return the normal score of each stream in a car, and its share of the way there from the middle.

    Correlated inputs share the way among them whatever the order in which they are written.
    """
    names = margins.streams
    squared = max(float(point @ point), np.finfo(float).tiny)
    scores = dict(zip(names, point.tolist(), strict=True))
    shares = dict(zip(names, (point**2 / squared).tolist(), strict=True))
    for group, matrix in margins.plan.copulas:
        own = np.linalg.cholesky(matrix) @ [scores[name] for name in group]
        scores.update(zip(group, own.tolist(), strict=True))
        shared = shares_of_correlated(own, matrix) / squared
        shares.update(zip(group, shared.tolist(), strict=True))
    return scores, shares
