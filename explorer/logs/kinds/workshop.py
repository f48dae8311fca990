"""Fits of what is measured on the bench: springs, scales, readings, flap travel, a pull at an arm."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

import numpy as np
from pydantic import Field

from explorer.errors import StudyError, unknown
from explorer.graph.arrays import Array
from explorer.graph.units import dimension_matches, parse_spread
from explorer.logs.fitting.derived import Derived, derived
from explorer.logs.fitting.fit import Known
from explorer.logs.fitting.flap_travel import fit_flap_travel
from explorer.logs.fitting.hinge_pull import SQUARE, fit_hinge_pull
from explorer.logs.fitting.readings import fit_readings
from explorer.logs.fitting.scales import TRUE_SCALES, fit_scales
from explorer.logs.fitting.spring_test import EXACT_GAUGE, EXACT_LOAD, fit_spring_test
from explorer.logs.kinds.task import Finding, Kind, LoggedRun, Options, Task, spread_above_zero
from explorer.logs.named_logs import logged_unit
from explorer.study.schema import Value


class SpringOptions(Options):
    """``rate`` is the quantity found; ``wheels`` is 2 when both wheels of the axle share the load."""

    rate: str
    wheels: Literal[1, 2] = 1
    gauge_sd: Value | None = None


def spring_test(task: Task) -> Finding:
    """Fit a spring or wheel rate to load against deflection."""
    options: SpringOptions = task.options
    graph = task.day.study.graph
    if options.rate not in graph or not dimension_matches(graph[options.rate].unit, "N/m"):
        raise StudyError(
            "this is not a rate of the study",
            key=f"{task.key}.rate",
            found=options.rate,
            allowed=", ".join(q.name for q in graph.quantities.values() if q.unit == "N/m"),
        )
    run = task.read(task.one_log, ["load", "deflection"], ["loading", "time"])
    loading = run["loading"] if "loading" in run else directions(run["load"])
    both_ways = {1.0, -1.0} <= set(np.sign(loading))
    fit = fit_spring_test(
        run["load"],
        run["deflection"],
        rate_name=options.rate,
        wheels=options.wheels,
        loading=loading if both_ways else None,
        load_scale=task.day.bench.get("load_scale", EXACT_LOAD),
        deflection_scale=task.day.bench.get("deflection_scale", EXACT_GAUGE),
        standard_deviation=spread_above_zero(options.gauge_sd, "m", f"{task.key}.gauge_sd"),
        loss=options.loss,
        sources=[run.source],
    )
    return Finding(fit, (options.rate,), (run,), task.day.inputs)


def directions(load: Array) -> Array:
    """Say for each row whether load was being added (1) or taken off (-1); 0 before there is any.

    A test begins without load; one that is repeated keeps the direction it was reached in.
    """
    steps = np.sign(np.diff(load, prepend=0.0))
    latest = np.maximum.accumulate(np.where(steps != 0, np.arange(len(steps)), 0))
    return np.asarray(steps[latest])


class ScalesOptions(Options):
    """``reading_sd`` is the scatter of a reading, when there are too few to see it."""

    reading_sd: Value | None = None


def scales(task: Task) -> Finding:
    """Fit mass and centre of gravity to weighings of both axles, level and tilted."""
    log = task.one_log
    tilted = "rise" in {**task.entry.columns, **log.columns}
    front = task.read(log, ["front_load"], ["rise"])
    rear = task.read(log, ["rear_load"], ["rise"])
    # An axle may have been left out of some weighings: each brings its own rows.
    missing = [np.full(run.log.rows, np.nan) for run in (front, rear)]
    rise = np.concatenate([run["rise"] if tilted else np.zeros(run.log.rows) for run in (front, rear)])
    raised = bool(np.any(rise != 0))
    day = task.day
    fit = fit_scales(
        np.concatenate([front["front_load"], missing[1]]),
        np.concatenate([missing[0], rear["rear_load"]]),
        rise,
        wheelbase=day.required("wheelbase"),
        axle_height=day.required("axle_height") if raised else Known("axle_height", 0.0, 0.0, "m"),
        scale_factor=day.bench.get("scale_factor", TRUE_SCALES),
        standard_deviation=spread_above_zero(task.options.reading_sd, "kg", f"{task.key}.reading_sd"),
        sources=[front.source],
    )
    return Finding(fit, fit.names, (front, rear), day.inputs)


class ReadingsOptions(Options):
    """``resolution`` maps quantities to the smallest step the instrument shows."""

    resolution: dict[str, Value] = Field(default_factory=dict)


def readings(task: Task) -> Finding:
    """Take the mean of repeated readings of any quantities of the study."""
    log = task.one_log
    names = [name for name in {**task.entry.columns, **log.columns} if name != "time"]
    graph = task.day.study.graph
    units = {name: logged_unit(graph, name) for name in names}
    runs = [task.read(log, [name]) for name in names]
    if len(names) > 1 and len({run.log.rows for run in runs}) == 1:
        # As many readings of each: they were taken together, row by row.
        runs = [task.read(log, names)] * len(names)
    steps = {
        name: parse_spread(step, None, _unit_read(name, units, f"{task.key}.resolution"))[0]
        for name, step in task.options.resolution.items()
    }
    fit = fit_readings(
        {name: run[name] for name, run in zip(names, runs, strict=True)},
        units,
        resolution=steps,
        sources=[runs[0].source],
    )
    return Finding(fit, tuple(names), _each_once(runs), task.day.inputs)


def _each_once(runs: list[LoggedRun]) -> tuple[LoggedRun, ...]:
    return tuple({id(run): run for run in runs}.values())


def _unit_read(name: str, units: dict[str, str], key: str) -> str:
    if name not in units:
        raise StudyError(
            "this quantity is not read from the log", key=key, found=name, allowed=", ".join(units)
        )
    return units[name]


class FlapTravelOptions(Options):
    """``command`` is when the servo was told to move; ``air`` is running when the car was at speed."""

    movement: Literal["opening", "closing"] = "opening"
    command: Value = "0 s"
    air: Literal["still", "running"] = "still"


def flap_travel(task: Task) -> Finding:
    """Fit the time of one flap movement; in still air it tells how fast the servo is without load."""
    options: FlapTravelOptions = task.options
    run = task.read(task.one_log, ["time", "angle"])
    fit = fit_flap_travel(
        run["time"],
        run["angle"],
        movement=options.movement,
        command=parse_spread(options.command, None, "s")[0],
        loss=options.loss,
        sources=[run.source],
    )
    if options.air == "running":
        return Finding(fit, fit.names, (run,), task.day.inputs)
    travel = task.day.known("servo_travel")
    if travel is None:
        note = "in still air this is the servo without load; servo_travel would turn it into its speed"
        return Finding(replace(fit, notes=(*fit.notes, note)), (), (run,), task.day.inputs)
    sixty = derived(
        fit,
        {
            "servo_sixty_degree_time": Derived(
                "s", lambda of: of[fit.names[0]] * math.pi / 3 / abs(of["servo_travel"])
            )
        },
        (travel,),
    )
    note = "measured in still air: the friction of the mechanism counts as a slower servo"
    sixty = replace(sixty, notes=(*sixty.notes, note))
    return Finding(sixty, sixty.names, (run,), task.day.inputs)


class HingePullOptions(Options):
    """``element`` is the moving wing element, ``opening`` the flap opening at which it was pulled."""

    element: str
    opening: float = Field(default=0.0, ge=0, le=1)


def hinge_pull(task: Task) -> Finding:
    """Find closing moment and pivot friction of an element from a pull at an arm."""
    options: HingePullOptions = task.options
    members = task.day.study.graph.families.get("element", ())
    if options.element not in members:
        raise unknown("no element is called {}", options.element, members, f"{task.key}.element")
    log = task.one_log
    opening, closing = (task.read(log, [way]) for way in ("opening_pull", "closing_pull"))
    fit = fit_hinge_pull(
        opening["opening_pull"],
        closing["closing_pull"],
        arm=task.day.required("arm"),
        element=options.element,
        pull_angle=task.day.bench.get("pull_angle", SQUARE),
        sources=[opening.source],
    )
    found = Finding(
        fit,
        (f"{options.element}_pivot_friction_torque",),
        (opening, closing),
        task.day.scope(speed=0.0, flap_opening=options.opening),
    )
    return found.noted(
        "the closing moment in still air is that of the weight alone: compared, not given to the study"
    )


KINDS = {
    "spring_test": Kind(
        "spring or wheel rate from load against deflection",
        (("load", "deflection"), ("loading", "time")),
        spring_test,
        SpringOptions,
        {"load_scale": "1", "deflection_scale": "1"},
    ),
    "scales": Kind(
        "mass and centre of gravity from weighing the axles, level and tilted",
        (("front_load", "rear_load"), ("rise",)),
        scales,
        ScalesOptions,
        {"axle_height": "m", "scale_factor": "1"},
    ),
    "readings": Kind(
        "mean of repeated readings of anything", ((), ()), readings, ReadingsOptions, any_quantity=True
    ),
    "flap_travel": Kind(
        "how long the flap takes, from its angle against time",
        (("time", "angle"), ()),
        flap_travel,
        FlapTravelOptions,
    ),
    "hinge_pull": Kind(
        "closing moment and pivot friction from a pull at an arm, opening and closing",
        (("opening_pull", "closing_pull"), ()),
        hinge_pull,
        HingePullOptions,
        {"arm": "m", "pull_angle": "rad"},
    ),
}
