"""Fits of full-throttle runs as a study asks for them: power, efficiency, top speed, battery, tyres."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from pydantic import Field

from explorer.errors import unknown
from explorer.graph.units import parse
from explorer.logs.fitting.battery import fit_battery
from explorer.logs.fitting.coast_down import NO_DOWNFORCE
from explorer.logs.fitting.derived import Derived, derived
from explorer.logs.fitting.full_throttle import (
    LEVEL_TRACK,
    NO_WIND,
    Resistance,
    ThrottleRun,
    fit_drive_efficiency,
    fit_wheel_power,
)
from explorer.logs.fitting.top_speed import fit_top_speed
from explorer.logs.fitting.tyre_radius import fit_tyre_radius
from explorer.logs.kinds.coasting import downforce_area, opening_of
from explorer.logs.kinds.task import Finding, Kind, LoggedRun, Options, Task
from explorer.logs.test_conditions import DayOfLog
from explorer.study.schema import Value

# Ways of logging the power, and what the efficiency is then a share of.
POWER_COLUMNS = ("voltage", "current", "electrical_power", "shaft_power")
AS_CALM = "no wind was given for the day of the log: it was taken as calm"
AS_LEVEL = "no slope was given for the track of the log: it was taken as level"


class PowerOptions(Options):
    """``flap`` says how the run was driven; ``knots`` are speeds between which the power is drawn."""

    flap: str = "closed"
    knots: list[Value] = Field(default_factory=list)


class EfficiencyOptions(Options):
    """``flap`` says how the run was driven."""

    flap: str = "closed"


def wheel_power(task: Task) -> Finding:
    """Fit the power at the road to the speed a car gains at full throttle."""
    run = task.read(task.one_log, ["time", "speed"])
    knots = [parse(knot, None, "m/s")[0] for knot in task.options.knots]
    resistance, notes = _resistance(task, run)
    fit = fit_wheel_power(
        ThrottleRun(run["time"], run["speed"], source=run.source),
        resistance,
        knots=knots,
        loss=task.options.loss,
    )
    constant = "wheel_power" in fit.names and not _follows_speed(task.day, "wheel_power")
    if not constant:
        notes.append("the study's drive gives the power at each speed: compare them, nothing goes back to it")
    given = ("wheel_power",) if constant else ()
    return _resisted(task, Finding(fit, given, (run,), task.day.inputs)).noted(*notes)


def drive_efficiency(task: Task) -> Finding:
    """Fit the share of the logged power that reaches the road."""
    mapped = {**task.entry.columns, **task.one_log.columns}
    shaft = "shaft_power" in mapped
    single = next((name for name in ("shaft_power", "electrical_power") if name in mapped), None)
    run = task.read(task.one_log, ["time", "speed", *([single] if single else ["voltage", "current"])])
    power = run[single] if single else run["voltage"] * run["current"]
    resistance, notes = _resistance(task, run)
    fit = fit_drive_efficiency(
        ThrottleRun(run["time"], run["speed"], power, run.source), resistance, loss=task.options.loss
    )
    if shaft:
        notes.append("the logged power is that of the motor shaft, so this is the study's drive_efficiency")
        return _resisted(task, Finding(fit, fit.names, (run,), task.day.inputs)).noted(*notes)
    notes.append("from battery to road: the study's drive_efficiency is that from motor shaft to road")
    whole = derived(fit, {"battery_to_road_efficiency": Derived("1", lambda of: of["drive_efficiency"])})
    return Finding(whole, (), (run,), task.day.inputs).noted(*notes)


def _resistance(task: Task, run: LoggedRun) -> tuple[Resistance, list[str]]:
    """Return what holds the car back on the day of the run, and what had to be assumed of it."""
    day, flap = task.day, task.options.flap
    opening = opening_of(flap, f"{task.key}.flap")
    pressing = downforce_area(day, flap, float(np.median(run["speed"])))
    wind, slope = (
        day.required(name) if name in day.overridden else otherwise
        for name, otherwise in (("headwind", NO_WIND), ("grade", LEVEL_TRACK))
    )
    resistance = Resistance(
        mass=day.required("mass"),
        rotating_mass_factor=day.required("rotating_mass_factor"),
        air_density=day.required("air_density"),
        drag_area=day.required("drag_area", flap_opening=opening),
        rolling_resistance=day.required("rolling_resistance"),
        headwind=wind,
        grade=slope,
        downforce_area=pressing or NO_DOWNFORCE,
        gravity=day.required("gravity"),
        correlation=_correlation(day, "drag_area", "rolling_resistance", opening),
    )
    notes = [AS_CALM] if wind is NO_WIND else []
    return resistance, notes + ([AS_LEVEL] if slope is LEVEL_TRACK else [])


def _resisted(task: Task, found: Finding) -> Finding:
    """Note that the drag the fit took as known has the errors of the study's own inputs."""
    if "drag_area" in task.day.overridden:
        return found
    return replace(found, follows={"drag_area": {"flap_opening": opening_of(task.options.flap, task.key)}})


def _correlation(day: DayOfLog, first: str, second: str, opening: float) -> float:
    """Return how two quantities go together in the study; 0 for what is given for the day apart."""
    if first in day.bench or second in day.bench or first in day.overridden or second in day.overridden:
        return 0.0
    found = day.draws([first, second], flap_opening=opening).computed
    if not np.ptp(found[first]) or not np.ptp(found[second]):
        return 0.0
    return float(np.corrcoef(found[first], found[second])[0, 1])


def _follows_speed(day: DayOfLog, name: str) -> bool:
    graph = day.study.graph
    return "speed" in graph.inputs_of(name, {*day.inputs, *day.study.tables} - {name})


class TopSpeedOptions(Options):
    """``condition`` is the one of the study that the run was driven in."""

    condition: str


def top_speed(task: Task) -> Finding:
    """Fit the speed that a full-throttle run comes to rest at, to be held against the predicted one."""
    study, condition = task.day.study, task.options.condition
    if condition not in study.conditions:
        raise unknown("no condition is called {}", condition, study.conditions, f"{task.key}.condition")
    run = task.read(task.one_log, ["time", "speed"])
    fit = fit_top_speed(ThrottleRun(run["time"], run["speed"], source=run.source), loss=task.options.loss)
    scope = study.conditions[condition].over(task.day.inputs)
    found = Finding(fit, (), (run,), scope)
    return found.noted("top speed follows from the inputs: --update shows what this one says about them")


def battery(task: Task) -> Finding:
    """Fit voltage and inner resistance of the battery to voltage against current."""
    run = task.read(task.one_log, ["voltage", "current"], ["time"])
    fit = fit_battery(run["voltage"], run["current"], loss=task.options.loss, sources=[run.source])
    return Finding(fit, fit.names, (run,), task.day.inputs)


class TyreOptions(Options):
    """``growing`` says whether growth with the square of the speed is fitted as well."""

    growing: bool = True


def tyre_radius(task: Task) -> Finding:
    """Fit the loaded radius of the driven tyres to speed over the ground and revs."""
    run = task.read(task.one_log, ["speed", "motor_speed"], ["time"])
    moving = (run["speed"] > 0) & (run["motor_speed"] > 0)
    fit = fit_tyre_radius(
        run["speed"][moving],
        run["motor_speed"][moving],
        gear_ratio=task.day.required("gear_ratio"),
        growing=task.options.growing,
        loss=task.options.loss,
        sources=[run.source],
    )
    return Finding(fit, fit.names, (run,), task.day.inputs)


KINDS = {
    "wheel_power": Kind(
        "power at the road from the speed gained at full throttle",
        (("time", "speed"), ()),
        wheel_power,
        PowerOptions,
    ),
    "drive_efficiency": Kind(
        "share of the battery's or the motor's power that reaches the road",
        (("time", "speed"), POWER_COLUMNS),
        drive_efficiency,
        EfficiencyOptions,
    ),
    "top_speed": Kind(
        "top speed of a full-throttle run, and whether it was reached",
        (("time", "speed"), ()),
        top_speed,
        TopSpeedOptions,
    ),
    "battery": Kind(
        "voltage and inner resistance of the battery from voltage against current",
        (("voltage", "current"), ("time",)),
        battery,
    ),
    "tyre_radius": Kind(
        "loaded radius and growth of the driven tyres from revs against speed",
        (("speed", "motor_speed"), ("time",)),
        tyre_radius,
        TyreOptions,
        # The drive by power alone has no gear.
        {"gear_ratio": "1"},
    ),
}
