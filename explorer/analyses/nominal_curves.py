"""Curves of the nominal car: push and resistance, the run over the strip, the linkage over its travel."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from explorer.analyses.nominal import Nominal, nominal_along
from explorer.graph.arrays import Array
from explorer.results.curves import Curves, RunOverStrip
from explorer.study.study import Study

POINTS = 41
# Where the curves against speed begin, and how far past the top speed they go.
_SLOWEST, _PAST = 5.0, 1.1
PUSH = ("driving_force", "resistance_force")
TRAVEL = (
    "servo_working_torque",
    "servo_available_torque",
    "slot_gap",
    "binding_gap",
    "loaded_slot_gap",
)


def nominal_curves(study: Study, nominal: Nominal) -> tuple[Curves, ...]:
    """Draw up the curves that the study gives enough for, in its most shut and its most open condition."""
    return tuple(
        curves
        for condition in _ends(nominal)
        for curves in (_push(study, condition, nominal[condition]), _travel(study, condition, nominal))
        if curves is not None
    )


def runs_over_strip(study: Study, nominal: Nominal) -> tuple[RunOverStrip, ...]:
    """Follow the nominal car down its strip, flap shut and open, or along its straight."""
    runs = [_strip(study, condition, nominal[condition]) for condition in _ends(nominal)]
    found = [run for run in runs if run is not None]
    return tuple(found or _straight(study, nominal))


def _ends(nominal: Nominal) -> tuple[str, ...]:
    """Return the first conditions with the least and with the most flap opening."""
    by_opening: dict[float, str] = {}
    for condition, values in nominal.items():
        by_opening.setdefault(values.get("flap_opening") or 0.0, condition)
    return tuple(dict.fromkeys((by_opening[min(by_opening)], by_opening[max(by_opening)])))


def _push(study: Study, condition: str, values: Mapping[str, float | None]) -> Curves | None:
    top = values.get("top_speed")
    if top is None or any(values.get(name) is None for name in PUSH):
        return None
    speeds = np.linspace(_SLOWEST, _PAST * top, POINTS)
    return _curves(condition, "speed", speeds, nominal_along(study, condition, {"speed": speeds}, PUSH))


def _travel(study: Study, condition: str, nominal: Nominal) -> Curves | None:
    """Follow the linkage where the air is fastest: in the last condition, as the loads are largest there."""
    values = nominal[condition]
    angles = [f"{element}_angle" for element in study.graph.families.get("element", ())]
    names = [name for name in (*angles, *TRAVEL) if values.get(name) is not None]
    if condition != _ends(nominal)[-1] or not angles or any(name not in names for name in angles):
        return None
    places = np.linspace(0.0, 1.0, POINTS)
    return _curves(
        condition, "flap_opening", places, nominal_along(study, condition, {"flap_opening": places}, names)
    )


def _curves(condition: str, along: str, at: Array, values: Mapping[str, Any]) -> Curves:
    whole = {name: np.broadcast_to(value, at.shape) for name, value in values.items()}
    return Curves(condition, along, _told(at), {name: _told(value) for name, value in whole.items()})


def _told(values: Array) -> tuple[float, ...]:
    return tuple(float(value) for value in values)


def _strip(study: Study, condition: str, values: Mapping[str, float | None]) -> RunOverStrip | None:
    if any(values.get(name) is None for name in ("strip_speed", "strip_braking_point", "strip_length")):
        return None
    opening = values.get("flap_opening") or 0.0
    return _run(study, condition, "strip_run", used=opening > 0, length="strip_length", end=0.0)


def _straight(study: Study, nominal: Nominal) -> Iterator[RunOverStrip]:
    """Follow the straight with the flap used and without it, in the first condition that has one."""
    for condition, values in nominal.items():
        end = values.get("corner_speed")
        if values.get("braking_distance") is not None and end is not None:
            for name, used in (("run_without_flap", False), ("run_with_flap", True)):
                yield _run(study, condition, name, used=used, length="straight_length", end=end)
            return


_BRAKING = {
    "strip_run": ("strip_braking_point", "strip_speed"),
    "run_with_flap": ("braking_distance", "speed_at_braking_point"),
    "run_without_flap": ("braking_distance_closed", "speed_at_braking_point_closed"),
}


def _run(study: Study, condition: str, name: str, *, used: bool, length: str, end: float) -> RunOverStrip:
    place, fastest = _BRAKING[name]
    asked = (name, place, fastest, length, "flap_delay", "flap_opening_duration")
    found = nominal_along(study, condition, {}, asked)
    run, whole, speed = found[name], float(found[length]), float(found[fastest])
    begins = float(found[place]) if name == "strip_run" else whole - float(found[place])
    distance, speeds = (np.reshape(values, (len(run.time), -1))[:, 0] for values in (run.distance, run.speed))
    before = distance < begins
    slower = np.linspace(speed, max(end, 0.1), POINTS)
    braked = nominal_along(study, condition, {"speed": slower, "flap_opening": 0.0}, ("braking_way",))
    way = braked["braking_way"]
    starts, opened = (
        float(np.interp(moment, np.reshape(run.time, (len(run.time), -1))[:, 0], distance))
        for moment in (found["flap_delay"], found["flap_delay"] + found["flap_opening_duration"])
    )
    return RunOverStrip(
        condition,
        used,
        (*_told(distance[before]), begins),
        (*_told(speeds[before]), speed),
        (begins, *_told(whole - (way - way[-1]))),
        (speed, *_told(slower)),
        starts if used and starts < begins else None,
        opened if used and opened < begins else None,
        whole,
    )
