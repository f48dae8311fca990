"""Many points of a design on one evaluator, on all processors, each kept when it is done."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from functools import partial

from explorer.design.evaluator import Evaluator
from explorer.engine.execution import Execution
from explorer.errors import StudyError
from explorer.estimators.assessment import Assessment
from explorer.graph.arrays import Array

Point = tuple[float, ...]

MOST_POINTS = 100_000
# Evaluations in all: half a day on two processors.
MOST_EVALUATIONS = 20_000_000_000


def assess_points(
    evaluator: Evaluator, points: Sequence[Point], execution: Execution, stage: str
) -> list[Assessment]:
    """Assess points in the order given; what was assessed before is not computed again.

    Parameters
    ----------
    stage:
        What to call it in the progress report.
    """
    names = [_name(evaluator, point) for point in points]
    return [
        Assessment.unpacked(row) for row in execution.parts(names, partial(_row, evaluator, points), stage)
    ]


def _row(evaluator: Evaluator, points: Sequence[Point], position: int) -> Array:
    return evaluator.assess(points[position]).packed()


def _name(evaluator: Evaluator, point: Point) -> str:
    return hashlib.sha256(f"{evaluator.settings} {point}".encode()).hexdigest()


def assess_one(evaluator: Evaluator, point: Point, execution: Execution) -> Assessment:
    """Assess one point, unless that was done before."""
    return Assessment.unpacked(
        execution.part(_name(evaluator, point), lambda: evaluator.assess(point).packed())
    )


def check_count(count: int, samples: int, key: str, told: str, remedy: str) -> None:
    """Refuse more points than can be worked through.

    Parameters
    ----------
    told:
        How the count comes about, in words.

    Raises
    ------
    StudyError
        With the count and the remedy.
    """
    if count > MOST_POINTS:
        raise StudyError(
            "too many points are asked for",
            key=key,
            found=f"{count:,} points ({told})".replace(",", " "),
            allowed=f"up to {MOST_POINTS:,} points".replace(",", " "),
            remedy=remedy,
        )
    if count * samples > MOST_EVALUATIONS:
        raise StudyError(
            "too many evaluations are asked for",
            key=key,
            found=f"{count:,} points of {samples:,} samples".replace(",", " "),
            allowed=f"up to {MOST_EVALUATIONS:,} evaluations in all".replace(",", " "),
            remedy="ask for fewer samples a point, or fewer points",
        )
