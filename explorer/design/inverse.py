"""Inverse questions: which values of one design variable let a limit hold, and what the others say there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from explorer.design.evaluator import Evaluator, set_up
from explorer.design.maps import check_reaches, stretches_of
from explorer.design.objectives import find_limit
from explorer.design.points import assess_one, assess_points
from explorer.design.variables import find_variable, read_variables, record_of
from explorer.engine.execution import Execution
from explorer.errors import with_file
from explorer.estimators.assessment import Assessment
from explorer.estimators.design_space import Stretch
from explorer.estimators.ranges import Range
from explorer.results.exploration import AnswerRecord, OtherLimit
from explorer.study.builds import Build, find_build
from explorer.study.study import Study

# Values looked at before the turns are closed in on.
LOOKS = 25


@dataclass(frozen=True)
class PreparedQuestion:
    """A question that has been found right and only needs answering."""

    ask: str
    evaluator: Evaluator


def prepare_question(study: Study, build: Build, position: int) -> PreparedQuestion:
    """Check one question of a study.

    Parameters
    ----------
    build:
        What to vary, where the question names no candidate.
    position:
        Which question of the study.

    Raises
    ------
    StudyError
        When the question names what is unknown, or varies what its limit does not depend on.
    """
    entry, key = study.entries.questions[position], f"questions[{position + 1}]"
    with with_file(str(study.path)):
        build = find_build(study, entry.around, build, f"{key}.around")
        variable = find_variable(read_variables(study, build), entry.vary, f"{key}.vary")
        limit = find_limit(study, entry.limit, f"{key}.limit")
        evaluator = set_up(study, [variable], samples=entry.samples, build=build, limits=[limit])
        check_reaches(evaluator, variable, f"{key}.vary")
    return PreparedQuestion(entry.ask or f"Which {variable.words} does it take? ({limit.name})", evaluator)


def run_question(prepared: PreparedQuestion, execution: Execution) -> AnswerRecord:
    """Answer a question."""
    ask, evaluator = prepared.ask, prepared.evaluator
    (variable,), (limit,) = evaluator.variables, evaluator.limits
    values = variable.range.even(LOOKS)
    assessed = assess_points(evaluator, [(value,) for value in values], execution, f"question: {ask}")
    probabilities = tuple(float(one.probabilities[0]) for one in assessed)
    scale = np.median([one.spread for one in assessed], axis=0)
    found = stretches_of(evaluator, values, assessed, scale, execution)
    record = record_of(evaluator.study, evaluator.build, variable)
    choose = choice(variable.range, record.now, found)
    best = int(np.argmax(probabilities))
    return AnswerRecord(
        ask=ask,
        around=evaluator.build.words,
        variable=record,
        limit=limit.name,
        required=limit.threshold,
        stretches=found,
        choose=choose,
        best=values[best],
        best_probability=probabilities[best],
        others=() if choose is None else _others(evaluator, choose, execution),
        values=values,
        probabilities=probabilities,
        samples=evaluator.samples,
    )


def choice(allowed: Range, now: float | None, found: Sequence[Stretch]) -> float | None:
    """Choose the value that can be had nearest to the present one, among those that hold beyond doubt."""
    near = (allowed.low + allowed.high) / 2 if now is None else now
    choices = []
    for stretch in found:
        low, high = stretch.low.sure, stretch.high.sure
        if low is None or high is None:
            continue
        if allowed.step is None:
            choices.append(min(max(near, low), high))
        else:
            choices += [value for value in allowed.stepped() if low <= value <= high]
    return min(choices, key=lambda value: abs(value - near), default=None)


def _others(evaluator: Evaluator, value: float, execution: Execution) -> tuple[OtherLimit, ...]:
    """Assess the limits that were not asked about."""
    asked = evaluator.limits[0]
    rest = [limit for limit in evaluator.study.limits if limit is not asked]
    if not rest:
        return ()
    full = set_up(
        evaluator.study, evaluator.variables, samples=evaluator.samples, build=evaluator.build, limits=rest
    )
    return standing(full, assess_one(full, (value,), execution))


def standing(evaluator: Evaluator, there: Assessment) -> tuple[OtherLimit, ...]:
    """Say how each limit of an evaluator stands where it was assessed."""
    return tuple(
        OtherLimit(limit.name, limit.threshold, float(there.probabilities[k]), there.verdict_of(k))
        for k, limit in enumerate(evaluator.limits)
    )
