"""A look through all design variables at once: what can be had, what trades against what, and the best build.

Points that fill the space evenly come first, each with its full uncertainty on common random numbers; then
neighbours of the trade-off front; then a constrained search for the best first objective, checked with
samples that the search has not seen.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from explorer.analyses.two_levels import all_cars
from explorer.analyses.verdicts import decided
from explorer.design.evaluator import Evaluator, set_up
from explorer.design.objectives import Objective, record_of_objective
from explorer.design.points import Point, assess_one, assess_points, check_count
from explorer.design.variables import Variable, record_of
from explorer.engine.execution import Execution
from explorer.engine.sampling import random_column, sobol_columns
from explorer.errors import StudyError
from explorer.estimators.assessment import LIKELY, Assessment
from explorer.estimators.conformance import judge_joint, judge_margins, worst_verdict
from explorer.estimators.design_space import nondominated
from explorer.estimators.optimum import NO_SCORE, Found, Standing, best_point, guarded
from explorer.estimators.ranges import Range
from explorer.graph.arrays import Array
from explorer.results.exploration import DesignPoint, OptimumRecord, SearchRecord
from explorer.study.builds import Build
from explorer.study.limits import Limit
from explorer.study.study import Study

# Rounds of trying neighbours of the front, and how many in each.
ROUNDS, OFFSPRING = 3, 32
# How far neighbours lie in the first round, as a share of each range; half of that in each round after.
FIRST_REACH = 0.15
# Standard errors held in reserve so that what is found stands the check; less where nothing meets so much.
RESERVES = (3.0, 1.5, 0.75, 0.0)
# So near to an end of its range, as a share of it, a variable is said to lie there.
AT_END = 0.005
# Number of the samples that only the check sees.
CHECK_DRAW = 1
# A limit is said to hold the optimum back when this close, in units of its spread beyond the reserve.
TOUCHING = 0.1


@dataclass(frozen=True)
class Pool:
    """Points assessed so far, in order, without repeats."""

    evaluator: Evaluator
    points: tuple[Point, ...]
    assessed: tuple[Assessment, ...]

    @property
    def scores(self) -> Array:
        """Means of the objectives turned so that more is better: shape (points, objectives)."""
        signs = [objective.sign for objective in self.evaluator.objectives]
        return np.array([one.objectives * signs for one in self.assessed])

    @property
    def meets(self) -> Array:
        """Whether each point meets every limit, as estimated."""
        return np.array([bool(np.all(one.surplus[LIKELY] >= 0)) for one in self.assessed])

    @property
    def front(self) -> Array:
        """Whether no other point that meets every limit betters it in all objectives."""
        scores = np.where(self.meets[:, None], self.scores, np.nan)
        return np.asarray(nondominated(scores))

    def added(self, points: Sequence[Point], assessed: Sequence[Assessment]) -> Pool:
        """Return a larger pool."""
        return replace(self, points=(*self.points, *points), assessed=(*self.assessed, *assessed))


def run_search(
    study: Study,
    build: Build,
    variables: Sequence[Variable],
    objectives: Sequence[Objective],
    execution: Execution,
) -> SearchRecord:
    """Explore all design variables of a study and find the best build for its first objective.

    Raises
    ------
    StudyError
        When no limit and no objective depends on any variable, or too many points are asked for.
    """
    entry = study.entries.search
    check_count(entry.points, entry.samples, "search.points", "search", "a few hundred points fill the space")
    told = set_up(study, variables, samples=entry.samples, build=build, objectives=objectives)
    idle = [variable.name for variable in variables if not told.reached_by(variable)]
    used = [variable for variable in variables if variable.name not in idle]
    if not used:
        raise StudyError(
            "no limit and no objective depends on any design variable",
            file=str(study.path),
            key="design",
            found=", ".join(idle),
            remedy="vary inputs that reach a limit; 'squatline explain NAME' says what needs them",
        )
    evaluator = set_up(study, used, samples=entry.samples, build=build, objectives=objectives)
    pool = _filled(evaluator, entry.points, execution)
    pool = _bred(pool, execution)
    optimum = _optimum(pool, execution)
    notes = tuple(
        f"no limit and no objective depends on {name}: it was left out of the search" for name in idle
    )
    return _record(study, build, pool, optimum, notes)


def _filled(evaluator: Evaluator, count: int, execution: Execution) -> Pool:
    """Assess a scrambled Sobol design of the variables, a power of two of points, and the build as it is."""
    ranges = _ranges(evaluator)
    power = math.ceil(math.log2(count))
    names = [f"design {variable.name}" for variable in evaluator.variables]
    columns = sobol_columns(evaluator.study.seed, names, 0, power)
    units = np.stack([columns[name] for name in names], axis=1)
    now = tuple(
        one.nearest(variable.given.distribution.nominal)
        for one, variable in zip(ranges, evaluator.variables, strict=True)
    )
    points = _unseen([now, *(_at(ranges, unit) for unit in units)], ())
    assessed = assess_points(evaluator, points, execution, "filling the space")
    return Pool(evaluator, tuple(points), tuple(assessed))


def _ranges(evaluator: Evaluator) -> list[Range]:
    return [variable.range for variable in evaluator.variables]


def _at(ranges: Sequence[Range], unit: Array) -> Point:
    """Return the point that can be had nearest to one of the unit cube."""
    return tuple(
        one.nearest(one.low + one.width * float(np.clip(share, 0, 1)))
        for one, share in zip(ranges, unit, strict=True)
    )


def _unseen(points: Sequence[Point], seen: Sequence[Point]) -> list[Point]:
    known = set(seen)
    return [point for point in dict.fromkeys(points) if point not in known]


def _bred(pool: Pool, execution: Execution) -> Pool:
    """Try neighbours of the front, nearer in each round."""
    for number in range(ROUNDS):
        if not pool.front.any():
            return pool
        fresh = _unseen(_offspring(pool, number), pool.points)
        stage = f"trade-off front, round {number + 1}"
        assessed = assess_points(pool.evaluator, fresh, execution, stage)
        pool = pool.added(fresh, assessed)
    return pool


def _offspring(pool: Pool, number: int) -> list[Point]:
    """Return points around those of the front, each of them in turn."""
    ranges, front = _ranges(pool.evaluator), np.flatnonzero(pool.front)
    low = np.array([one.low for one in ranges])
    width = np.array([one.width for one in ranges])
    # Uniform over a box around the parent: streams by variable, as all draws here.
    moves = np.stack(
        [
            random_column(pool.evaluator.study.seed, f"offspring {variable.name}", number, OFFSPRING)
            for variable in pool.evaluator.variables
        ],
        axis=1,
    )
    reach = FIRST_REACH / 2**number
    parents = [np.array(pool.points[front[k % front.size]]) for k in range(OFFSPRING)]
    return [
        _at(ranges, (parent - low) / width + reach * (2 * move - 1))
        for parent, move in zip(parents, moves, strict=True)
    ]


def _optimum(pool: Pool, execution: Execution) -> OptimumRecord | None:
    """Search for the best first objective with something in reserve, and check it with fresh samples."""
    tried, all_steps = 0, len(RESERVES)
    # Where no point meets the limits, none with a reserve will be found before one is found without.
    if not pool.meets.any() and not _sought(pool, RESERVES[-1], execution)[1].standing.feasible:
        execution.progress("best build", all_steps, all_steps)
        return None
    for number, reserve in enumerate(RESERVES):
        execution.progress("best build", number, all_steps)
        evaluator, found = _sought(pool, reserve, execution)
        tried += found.tried
        if found.standing.feasible:
            execution.progress("best build", all_steps, all_steps)
            return _checked(pool.evaluator, evaluator, found.point, reserve, tried, execution)
    execution.progress("best build", all_steps, all_steps)
    return None


def _sought(pool: Pool, reserve: float, execution: Execution) -> tuple[Evaluator, Found]:
    """Search with so much in reserve, from the best points known."""
    entry = pool.evaluator.study.entries.search
    evaluator = _guarded_evaluator(pool.evaluator, reserve, entry.verify)
    standing, starts = partial(_standing, evaluator, execution), _starts(pool, entry.starts)
    return evaluator, best_point(standing, _ranges(evaluator), starts, _score_scale(pool))


def _guarded_evaluator(evaluator: Evaluator, reserve: float, check_samples: int) -> Evaluator:
    def held_back(limit: Limit) -> Limit:
        if limit.sure is None:
            reached = guarded(limit.probability, evaluator.samples, check_samples, reserve)
            return replace(limit, probability=reached)
        searched, checked = evaluator.cars_and_days[0], all_cars(evaluator.study)[0]
        return replace(limit, sure=guarded(limit.sure, searched, checked, reserve))

    return replace(evaluator, limits=tuple(map(held_back, evaluator.limits)))


def _standing(evaluator: Evaluator, execution: Execution, point: Point) -> Standing:
    one = assess_one(evaluator, point, execution)
    score = evaluator.objectives[0].sign * float(one.objectives[0])
    return Standing(NO_SCORE if math.isnan(score) else score, one.scaled())


def _starts(pool: Pool, count: int) -> list[Point]:
    """Return the best points that meet every limit, then those nearest to it."""
    scores = np.nan_to_num(pool.scores[:, 0], nan=-np.inf)
    slack = np.array([float(one.scaled().min()) for one in pool.assessed])
    order = sorted(
        range(len(pool.points)),
        key=lambda k: (bool(pool.meets[k]), scores[k] if pool.meets[k] else slack[k]),
        reverse=True,
    )
    return [pool.points[k] for k in order[:count]]


def _score_scale(pool: Pool) -> float:
    scores = pool.scores[:, 0]
    return float(np.nanstd(scores)) or 1.0 if np.isfinite(scores).any() else 1.0


def _checked(
    evaluator: Evaluator, guarded: Evaluator, point: Point, reserve: float, tried: int, execution: Execution
) -> OptimumRecord:
    """Judge a point on samples that no search has seen."""
    study = evaluator.study
    fresh = replace(evaluator, samples=study.entries.search.verify, draw=CHECK_DRAW)
    margins, objectives = fresh.tried(point)
    surely = fresh.sureness(point)
    judged = tuple(
        decided(judge_margins(m, one.probability), surely.get(one.name))
        for m, one in zip(margins, evaluator.limits, strict=True)
    )
    searched = assess_one(guarded, point, execution)
    touching = searched.scaled() < TOUCHING
    answers = [_mean(values) for values in objectives]
    return OptimumRecord(
        values=point,
        found=float(searched.objectives[0]),
        objectives=tuple(mean for mean, _ in answers),
        objective_errors=tuple(error for _, error in answers),
        limits=judged,
        sureness=surely,
        all_limits=judge_joint(margins, max(limit.probability for limit in evaluator.limits)),
        verdict=worst_verdict([one.verdict for one in judged]),
        held_back_by=tuple(
            limit.name for limit, near in zip(evaluator.limits, touching, strict=True) if near
        ),
        at_end=tuple(
            variable.words
            for variable, value in zip(evaluator.variables, point, strict=True)
            if value - variable.range.low < AT_END * variable.range.width
            or variable.range.high - value < AT_END * variable.range.width
        ),
        reserve=reserve,
        tried=tried,
        samples=fresh.samples,
    )


def _mean(values: Array) -> tuple[float | None, float | None]:
    answered = values[np.isfinite(values)]
    if answered.size < 2:
        return None, None
    return float(answered.mean()), float(np.std(answered, ddof=1)) / math.sqrt(answered.size)


def _record(
    study: Study, build: Build, pool: Pool, optimum: OptimumRecord | None, notes: tuple[str, ...]
) -> SearchRecord:
    front = pool.front
    points = tuple(
        _design_point(point, one, bool(front[k]))
        for k, (point, one) in enumerate(zip(pool.points, pool.assessed, strict=True))
    )
    nearest: DesignPoint | None = None
    fails: tuple[str, ...] = ()
    if optimum is None:
        k = int(np.argmax([float(one.scaled().min()) for one in pool.assessed]))
        nearest = points[k]
        fails = tuple(
            limit.name
            for limit, surplus in zip(pool.evaluator.limits, pool.assessed[k].surplus[LIKELY], strict=True)
            if surplus < 0
        )
    return SearchRecord(
        variables=tuple(record_of(study, build, variable) for variable in pool.evaluator.variables),
        objectives=tuple(map(record_of_objective, pool.evaluator.objectives)),
        limits=tuple(limit.name for limit in pool.evaluator.limits),
        required=tuple(limit.threshold for limit in pool.evaluator.limits),
        points=points,
        optimum=optimum,
        nearest=nearest,
        nearest_fails=fails,
        samples=pool.evaluator.samples,
        notes=notes,
    )


def _design_point(point: Point, one: Assessment, on_front: bool) -> DesignPoint:
    return DesignPoint(
        values=point,
        objectives=tuple(None if math.isnan(objective) else float(objective) for objective in one.objectives),
        objective_errors=tuple(None if math.isnan(error) else float(error) for error in one.objective_errors),
        probabilities=tuple(float(p) for p in one.probabilities[:-2]),
        all_limits=float(one.probabilities[-2]),
        meets=bool(np.all(one.surplus[LIKELY] >= 0)),
        verdict=one.verdict,
        on_front=on_front,
    )
