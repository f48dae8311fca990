"""Downforce and other inputs from ride height or pitch against speed, through the study's own graph."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from pydantic import Field

from explorer.analyses.standing import STANDS
from explorer.errors import StudyError, did_you_mean
from explorer.graph.arrays import Array
from explorer.graph.written import chance
from explorer.logs.fitting.fit import Known
from explorer.logs.fitting.problem import Parameter
from explorer.logs.fitting.ride_height_log import SpeedRun, fit_through_model
from explorer.logs.forward import computed_as, forward_model
from explorer.logs.kinds.task import Finding, Kind, LoggedRun, Options, Task
from explorer.logs.test_conditions import known_input
from explorer.study.beside import STANDING, standing_of
from explorer.study.correlations import correlation_matrix
from explorer.study.study import Input

# The whole graph is evaluated for every row and every input: more rows only take time.
MOST_ROWS = 3000


class RideHeightOptions(Options):
    """``find`` are inputs of the study; ``weigh_in`` those of them whose old value counts as well.

    ``zeros`` are logged quantities whose gauge has a zero of its own; ``condition`` stands for runs that do
    not name theirs.
    """

    find: list[str] = Field(min_length=1)
    zeros: list[str] = Field(default_factory=list)
    weigh_in: list[str] = Field(default_factory=list)
    condition: str | None = None


@dataclass(frozen=True)
class _KnownSetting:
    """Everything given in each condition, and what of it is taken with its uncertainty."""

    nominal: Mapping[str, Mapping[str, Any]]
    known: tuple[Known, ...]


def ride_height(task: Task) -> Finding:
    """Find inputs of the study from quantities logged against speed."""
    options: RideHeightOptions = task.options
    _check_names(task)
    runs = [_run(task, log_number) for log_number in range(len(task.logs))]
    measured = list(dict.fromkeys(name for _, run in runs for name in run.measured))
    conditions = list(dict.fromkeys(run.condition for _, run in runs))
    setting = _setting(task, measured, conditions)
    free = [*options.find, *(known.name for known in setting.known)]
    fit = fit_through_model(
        forward_model(task.day.study.graph, measured, setting.nominal, free),
        [run for _, run in runs],
        [_parameter(task, name) for name in options.find],
        known=setting.known,
        known_correlation=_correlation(task, setting.known),
        zeros=options.zeros,
        loss=options.loss,
    )
    finding = Finding(fit, tuple(options.find), tuple(read for read, _ in runs), task.day.inputs)
    values = {name: fit.value(name) for name in options.find} | {one.name: one.value for one in setting.known}
    return finding.noted(*_scraping(task, [run for _, run in runs], setting, values))


def _scraping(
    task: Task, runs: list[SpeedRun], setting: _KnownSetting, values: Mapping[str, float]
) -> Iterator[str]:
    """Say of how many rows the model is of a car on its points: whether the logged one was is not known."""
    graph = task.day.study.graph
    of = [
        run
        for run in runs
        if any(
            standing_of(graph, computed_as(graph, name), {*setting.nominal[run.condition], "speed"})
            for name in run.measured
        )
    ]
    if not of:
        return
    forward = forward_model(graph, [STANDING], setting.nominal, list(values))
    stands = np.concatenate([forward(run.condition, values, run.speed)[STANDING] for run in of]) == 1
    if np.any(stands):
        yield (
            f"with what was found the car {STANDS} in {chance(float(np.mean(stands)))} of the rows, and the "
            "fit is there of a car that scrapes; look under the logged car whether it did"
        )


def _check_names(task: Task) -> None:
    options: RideHeightOptions = task.options
    for name in options.find:
        if name not in task.day.inputs:
            raise StudyError(
                "what is to be found is an input of the study, whose value is where the search begins",
                key=f"{task.key}.find",
                found=name,
                remedy=did_you_mean(name, task.day.inputs, "give it a first value under [inputs]"),
            )
    for name in options.weigh_in:
        if name not in options.find or task.day.inputs[name].exact:
            raise StudyError(
                "only an uncertain input that is to be found can be weighed in",
                key=f"{task.key}.weigh_in",
                found=name,
                allowed=", ".join(name for name in options.find if not task.day.inputs[name].exact),
            )


def _run(task: Task, number: int) -> tuple[LoggedRun, SpeedRun]:
    log = task.logs[number]
    condition = log.condition or task.options.condition
    conditions = task.day.study.conditions
    if condition not in conditions:
        raise StudyError(
            "a run is driven in a condition of the study",
            key=f"{task.key}.runs[{number + 1}].condition" if task.entry.runs else f"{task.key}.condition",
            found=condition,
            allowed=", ".join(conditions),
        )
    names = [name for name in {**task.entry.columns, **log.columns} if name not in ("speed", "time")]
    if not names:
        raise StudyError(
            "a quantity logged against speed is missing",
            key=f"{task.key}.columns",
            allowed="pitch, front_ride_height, rear_ride_height or any quantity of the study",
        )
    run = task.read(log, ["speed", *names], ["time"], most_rows=MOST_ROWS)
    measured = {name: run[name] for name in names}
    return run, SpeedRun(condition, run["speed"], measured, run.source)


def _setting(task: Task, measured: list[str], conditions: list[str]) -> _KnownSetting:
    """Gather the uncertain inputs upstream of what was logged; those set by a condition count as exact."""
    study, day = task.day.study, task.day
    given = {
        condition: {**study.conditions[condition].over(day.inputs), **_overridden(task)}
        for condition in conditions
    }
    upstream: set[str] = set()
    for inputs in given.values():
        graph = study.graph
        names = [computed_as(graph, name) for name in measured]
        graph.require(names, {*inputs, *study.tables, "speed"})
        for name in names:
            upstream |= graph.inputs_of(name, {*inputs, *study.tables, "speed"})
    common = [
        name
        for name in day.inputs
        if name in upstream
        and name not in task.options.find
        and not day.inputs[name].exact
        and all(inputs[name] is day.inputs[name] for inputs in given.values())
    ]
    known = tuple(known_input(day.inputs[name], study.graph[name].unit) for name in common)
    nominal = {
        condition: {
            **study.tables,
            **{name: float(one.distribution.nominal) for name, one in inputs.items()},
        }
        for condition, inputs in given.items()
    }
    return _KnownSetting(nominal, known)


def _overridden(task: Task) -> dict[str, Input]:
    return {name: task.day.inputs[name] for name in task.day.overridden}


def _parameter(task: Task, name: str) -> Parameter:
    quantity = task.day.study.graph[name]
    believed = known_input(task.day.inputs[name], quantity.unit)
    low = max((b for b in (quantity.above, quantity.at_least) if b is not None), default=-np.inf)
    return Parameter(
        name,
        quantity.unit,
        believed.value,
        scale=believed.standard_uncertainty or abs(believed.value) or 1.0,
        low=low,
        high=np.inf if quantity.at_most is None else quantity.at_most,
        expected=(believed.value, believed.standard_uncertainty) if name in task.options.weigh_in else None,
    )


def _correlation(task: Task, known: tuple[Known, ...]) -> Array | None:
    names = [each.name for each in known if each.name not in task.day.overridden]
    pairs = {
        (one.first, one.second): one.value
        for one in task.day.study.correlations
        if one.first in names and one.second in names
    }
    return correlation_matrix([each.name for each in known], pairs) if pairs else None


KINDS = {
    "ride_height": Kind(
        "downforce and pitch slopes from ride height or pitch against speed, through the study's models",
        (("speed",), ("time",)),
        ride_height,
        RideHeightOptions,
        any_quantity=True,
        each_run=("condition",),
    )
}
