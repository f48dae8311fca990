"""Coast-down as a study asks for it: the whole car's drag taken apart into what the study gives."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from explorer.errors import StudyError
from explorer.graph.arrays import Array
from explorer.logs.fitting.coast_down import CoastDownRun, coast_down_inputs, fit_coast_down
from explorer.logs.fitting.derived import Derived, derived
from explorer.logs.fitting.fit import Fit, Known
from explorer.logs.kinds.task import Finding, Kind, LoggedRun, Options, Task, spread_above_zero
from explorer.logs.test_conditions import DayOfLog, summed_up
from explorer.study.schema import Value

OPENING = {"closed": 0.0, "open": 1.0}
ROUNDING = 1e-12
COEFFICIENT = "wing_drag_coefficient_{flap}"


class CoastDownOptions(Options):
    """``wind_varies`` is the standard deviation of the wind along the track from run to run."""

    wind_varies: Value | None = None


def coast_down(task: Task) -> Finding:
    """Fit drag area and rolling resistance, and give the body and the wing their shares of the drag."""
    day, options = task.day, task.options
    runs = tuple(task.read(log, ["time", "speed"]) for log in task.logs)
    for run in runs:
        opening_of(run.entry.flap, f"{task.key}.runs")
    middle = float(np.median(np.concatenate([run["speed"] for run in runs])))
    flaps = tuple(dict.fromkeys(run.entry.flap for run in runs))
    pressing = {flap: downforce_area(day, flap, middle) for flap in flaps}
    fit = fit_coast_down(
        [_run(run) for run in runs],
        mass=day.required("mass"),
        rotating_mass_factor=day.required("rotating_mass_factor"),
        air_density=day.required("air_density"),
        # The study's own wind and slope are those of the race: the fit finds or is told those of its day.
        headwind=day.known("headwind") if "headwind" in day.overridden else None,
        grade=day.known("grade") if "grade" in day.overridden else None,
        gravity=day.required("gravity"),
        downforce_area={flap: known for flap, known in pressing.items() if known is not None},
        rolling_resistance_per_speed=_growing(day),
        wind_varies=spread_above_zero(options.wind_varies, "m/s", f"{task.key}.wind_varies") or 0.0,
        loss=options.loss,
    )
    parted = _taken_apart(fit, day, flaps)
    given = tuple(name for name in parted.names if not name.startswith("drag_area"))
    return Finding(parted, given, runs, day.inputs)


def opening_of(flap: str, key: str) -> float:
    """Return the flap opening that a word stands for.

    Raises
    ------
    StudyError
        For any other word.
    """
    if flap not in OPENING:
        raise StudyError("a flap is closed or open", key=key, found=flap, allowed=", ".join(OPENING))
    return OPENING[flap]


def downforce_area(day: DayOfLog, flap: str, speed: float) -> Known | None:
    """Return the downforce area of the car at a speed, as far as the study gives enough to compute it."""
    names, where = ("total_downforce", "dynamic_pressure"), {"flap_opening": OPENING[flap], "speed": speed}
    if not day.computable(names, **where):
        return None
    found = day.draws(names, **where).computed
    return summed_up("downforce_area", found["total_downforce"] / found["dynamic_pressure"], "m2")


def _growing(day: DayOfLog) -> Known | None:
    """Return what the rolling resistance gains per speed, where the study says that it does."""
    growing = day.known("rolling_resistance_per_speed")
    return growing if growing and (growing.value or growing.standard_uncertainty) else None


def _run(run: LoggedRun) -> CoastDownRun:
    return CoastDownRun(run["time"], run["speed"], run.entry.direction, run.entry.flap, run.source)


def _taken_apart(fit: Fit, day: DayOfLog, flaps: tuple[str, ...]) -> Fit:
    """Turn the drag areas of the whole car into the study's inputs, as far as it gives the rest."""
    flap = "open" if "open" in flaps else flaps[0]
    parts = ("drag_area", "wing_drag_area", "body_drag_area")
    if not day.computable(parts, flap_opening=OPENING[flap]):
        note = "the study does not give the drag part by part: only the rolling resistance goes back to it"
        return replace(fit, notes=(*fit.notes, note))
    found = day.draws(parts, flap_opening=OPENING[flap]).computed
    wing = day.known(COEFFICIENT.format(flap=flap))
    by_coefficient = wing is not None and COEFFICIENT.format(flap=flap) in day.inputs
    # What the study gives beside body and wing; without wing coefficients the wing is part of it.
    rest = found["drag_area"] - found["body_drag_area"] - (found["wing_drag_area"] if by_coefficient else 0.0)
    # What rounding leaves of a car without further parts is nothing.
    other = _named("other_drag_area", np.where(np.abs(rest) < ROUNDING * found["drag_area"], 0.0, rest))
    if not by_coefficient or wing is None:
        return derived(fit, _body(fit, flap, lambda of: 0.0), (other,))
    area = day.required("wing_area")
    if set(flaps) == set(OPENING):
        return coast_down_inputs(fit, wing_area=area, wing_drag_coefficient_open=wing, other_drag_area=other)
    return derived(fit, _body(fit, flap, lambda of: of["wing_area"] * of[wing.name]), (area, wing, other))


def _named(name: str, values: Array) -> Known:
    found = summed_up(name, values, "m2")
    assert found is not None, "drag areas are sums of inputs"
    return found


def _body(fit: Fit, flap: str, wing: Callable[[Mapping[str, float]], float]) -> dict[str, Derived]:
    """Body drag area as what is left of the car's with the wing and all else taken off."""
    drag = "drag_area" if "drag_area" in fit.names else f"drag_area_{flap}"
    return {
        "body_drag_area": Derived("m2", lambda of: of[drag] - wing(of) - of["other_drag_area"]),
        "rolling_resistance": Derived("1", lambda of: of["rolling_resistance"]),
    }


KINDS = {
    "coast_down": Kind(
        "drag area and rolling resistance from rolling out, both ways, flap closed and open",
        (("time", "speed"), ()),
        coast_down,
        CoastDownOptions,
        each_run=("flap", "direction"),
    )
}
