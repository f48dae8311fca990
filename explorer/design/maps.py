"""Maps: conformance over one or two design variables, and the line between what meets every limit or not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from explorer.design.evaluator import Evaluator, set_up
from explorer.design.objectives import find_limit
from explorer.design.points import Point, assess_one, assess_points, check_count
from explorer.design.variables import Variable, find_variable, read_variables, record_of
from explorer.engine.execution import Execution
from explorer.errors import StudyError, with_file
from explorer.estimators.assessment import LIKELY, POSSIBLE, SURE, Assessment
from explorer.estimators.design_space import Segment, Stretch, contour, stretches
from explorer.graph.arrays import Array
from explorer.results.exploration import Grid, MapLimit, MapRecord
from explorer.study.builds import Build, find_build
from explorer.study.schema import MapEntry
from explorer.study.study import Study

USUAL_POINTS = {1: 41, 2: 25}


@dataclass(frozen=True)
class PreparedMap:
    """A map that has been found right and only needs evaluating."""

    name: str
    evaluator: Evaluator
    values: tuple[tuple[float, ...], ...]

    @property
    def points(self) -> list[Point]:
        """Points row by row: the first variable runs fastest."""
        columns, rows = self.values[0], self.values[1] if len(self.values) == 2 else (math.nan,)
        return [(x, y)[: len(self.values)] for y in rows for x in columns]


def prepare_map(study: Study, build: Build, position: int) -> PreparedMap:
    """Check one map of a study.

    Parameters
    ----------
    build:
        What to vary around, where the map names no candidate.
    position:
        Which map of the study.

    Raises
    ------
    StudyError
        When the map names what is unknown, asks for too many points, or varies what no limit depends on.
    """
    entry, key = study.entries.maps[position], f"maps[{position + 1}]"
    with with_file(str(study.path)):
        build = find_build(study, entry.around, build, f"{key}.around")
        variables = read_variables(study, build)
        over = [find_variable(variables, name, f"{key}.over") for name in entry.over]
        limits = [find_limit(study, name, f"{key}.limits") for name in entry.limits] or list(study.limits)
        counts = [_count(entry, variable, len(over)) for variable in over]
        _check_grid(entry, key, counts)
        values = tuple(_values(entry, variable, count) for variable, count in zip(over, counts, strict=True))
        evaluator = set_up(study, over, samples=entry.samples, build=build, limits=limits)
        for variable in over:
            check_reaches(evaluator, variable, f"{key}.over")
    return PreparedMap(entry.name or " and ".join(variable.words for variable in over), evaluator, values)


def run_map(prepared: PreparedMap, execution: Execution) -> MapRecord:
    """Evaluate a map."""
    evaluator, values = prepared.evaluator, prepared.values
    assessed = assess_points(evaluator, prepared.points, execution, f"map: {prepared.name}")
    # One scale for the whole map, so that the smallest surplus does not jump from point to point.
    scale = np.median([one.spread for one in assessed], axis=0)
    spans = stretches_of(evaluator, values[0], assessed, scale, execution) if len(values) == 1 else ()
    return _record(prepared, assessed, scale, spans)


def _count(entry: MapEntry, variable: Variable, dimensions: int) -> int:
    """Count the values along one variable: as asked for, else its steps, else enough for a picture."""
    if entry.points is not None:
        return entry.points
    return USUAL_POINTS[dimensions] if variable.range.step is None else variable.range.step_count + 1


def _check_grid(entry: MapEntry, key: str, counts: Sequence[int]) -> None:
    told = " by ".join(f"{count:,}".replace(",", " ") for count in counts)
    remedy = "set points = 40 in the map, or a larger step; [search] covers many variables with few points"
    check_count(math.prod(counts), entry.samples, key, told, remedy)


def _values(entry: MapEntry, variable: Variable, count: int) -> tuple[float, ...]:
    by_step = entry.points is None and variable.range.step is not None
    return variable.range.stepped() if by_step else variable.range.even(count)


def check_reaches(evaluator: Evaluator, variable: Variable, key: str) -> None:
    """Refuse a variable that nothing asked for depends on.

    Raises
    ------
    StudyError
        With the limits it does not reach.
    """
    if not evaluator.reached_by(variable):
        raise StudyError(
            "no limit here depends on this design variable",
            key=key,
            found=variable.name,
            allowed=f"an input that reaches one of: {'; '.join(limit.name for limit in evaluator.limits)}",
            remedy=f"'squatline explain {variable.name}' says what needs it; conditions that set it, and a "
            "quantity given instead of computed, cut it off",
        )


def _record(
    prepared: PreparedMap, assessed: Sequence[Assessment], scale: Array, spans: tuple[Stretch, ...]
) -> MapRecord:
    name, evaluator, values = prepared.name, prepared.evaluator, prepared.values
    shape = (len(values[1]) if len(values) == 2 else 1, len(values[0]))
    probabilities = np.stack([one.probabilities for one in assessed]).T.reshape(-1, *shape)
    surplus = np.stack([one.scaled(LIKELY, scale) for one in assessed], axis=1)
    surplus = surplus.reshape(len(evaluator.limits), *shape)
    verdicts = [one.verdict for one in assessed]
    met = sum(verdict == "pass" for verdict in verdicts) / len(verdicts)
    variables = tuple(
        record_of(evaluator.study, evaluator.build, variable) for variable in evaluator.variables
    )
    return MapRecord(
        name=name,
        around=evaluator.build.words,
        variables=variables,
        values=values,
        limits=tuple(
            MapLimit(
                limit.name,
                limit.threshold,
                limit.safety,
                _grid(probabilities[k]),
                _lines(values, surplus[k]),
            )
            for k, limit in enumerate(evaluator.limits)
        ),
        all_limits=_grid(probabilities[-2]),
        verdict=tuple(tuple(verdicts[r * shape[1] : (r + 1) * shape[1]]) for r in range(shape[0])),
        boundary=_lines(values, surplus.min(axis=0)),
        stretches=spans,
        met=met,
        samples=evaluator.samples,
    )


def _grid(values: Array) -> Grid:
    return tuple(tuple(float(value) for value in row) for row in values)


def _lines(values: Sequence[tuple[float, ...]], surplus: Array) -> tuple[Segment, ...]:
    return contour(values[0], values[1], surplus) if len(values) == 2 else ()


def stretches_of(
    evaluator: Evaluator,
    values: Sequence[float],
    assessed: Sequence[Assessment],
    scale: Array,
    execution: Execution,
) -> tuple[Stretch, ...]:
    """Find where every limit of an evaluator holds along its only variable.

    Parameters
    ----------
    values, assessed:
        Rising values that were looked at, and how each stands.
    scale:
        What a surplus of each limit is measured in.
    """
    known = dict(zip(values, assessed, strict=True))

    def surplus(value: float) -> Array:
        one = known.get(value) or assess_one(evaluator, (value,), execution)
        return np.array([one.scaled(kind, scale).min() for kind in (SURE, LIKELY, POSSIBLE)])

    return stretches(surplus, values)
