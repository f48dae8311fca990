"""The highest speed at which all safety limits hold, for each state of the flap, and speed steps up to it.

Each safety limit is held against its quantity with the speed of its condition replaced by the speed tried.
A limit on a critical speed (front lift-off, divergence), which does not depend on the speed driven, becomes:
the critical speed is at least the speed tried.  What is found is a prediction, never a clearance.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from explorer.design.evaluator import Evaluator, set_up
from explorer.design.objectives import Objective
from explorer.design.points import assess_one, assess_points
from explorer.design.variables import Variable, chosen_input
from explorer.engine.execution import Execution
from explorer.engine.plan import CHUNK, make_plan
from explorer.errors import StudyError, with_file, with_key
from explorer.estimators.assessment import LIKELY, POSSIBLE, SURE, Assessment
from explorer.estimators.design_space import spans
from explorer.estimators.ranges import Range
from explorer.graph.arrays import Array
from explorer.graph.units import parse
from explorer.graph.written import percent
from explorer.results.exploration import Expectation, HighestSpeeds, SpeedLimit, SpeedStep, StateSpeed
from explorer.study.builds import Build
from explorer.study.limits import Limit, Output
from explorer.study.study import Study

# Speeds looked at before the turn is closed in on; a limit broken and met again in between is not seen.
LOOKS = 41
AT_EACH, MUST_REACH, AT_ANY = "at each speed", "must reach the speed", "at any speed"
# The last speed step carries this share of the air load at the highest conforming speed.
TOP_STEP = 0.9
# Shown at every step where the study can compute them.
WATCHED = ("pitch", "front_axle_load", "kinetic_energy")
# Common practice, no source.
LOOK_AFTER_EACH = (
    "Compare logger and film with what is expected at this step; one value outside its range ends the day's "
    "steps until it is understood.",
    "Under the car: fresh marks on splitter edge and floor edges.",
    "Wing: mounts, hinge pins, rods, horn and servo for play, cracks and heat; the flap falls shut with the "
    "rod taken off.",
    "Springs, dampers and ride heights: back to where they were set.",
    "Tyres and wheels: glue, growth, flat spots, nuts.",
    "Battery, speed controller and motor: temperature, and voltage left under load.",
    "Radio: range and fail-safe again before the next step.",
)


@dataclass(frozen=True)
class _InState:
    """One state of the flap: the conditions run in it and the safety limits on them."""

    words: str
    opening: float | None
    conditions: tuple[str, ...]
    limits: tuple[Limit, ...]


def run_highest_speed(study: Study, build: Build, execution: Execution) -> HighestSpeeds | None:
    """Find the highest conforming speed for each state of the flap.

    Returns
    -------
    HighestSpeeds or None
        None when no safety limit is set in a condition that is driven at a speed.

    Raises
    ------
    StudyError
        When the range of speeds is empty.
    """
    entry = study.entries.highest_speed
    with with_file(str(study.path)):
        speeds = _range(study)
    states, notes = _states(study, build)
    if not states:
        return None
    stage = f"highest speed: {build.words}"
    found = []
    for done, state in enumerate(states):
        execution.progress(stage, done, len(states))
        found.append(_state_speed(study, build, state, speeds, execution))
    execution.progress(stage, len(states), len(states))
    return HighestSpeeds(
        build=build.words,
        states=tuple(found),
        look_after_each=LOOK_AFTER_EACH,
        samples=entry.samples,
        notes=notes,
    )


def _range(study: Study) -> Range:
    entry = study.entries.highest_speed
    cap = study.inputs.get("speed_cap")
    with with_key("highest_speed"):
        low, _ = parse(entry.start, entry.unit, "m/s")
        most = float(cap.distribution.nominal) if cap is not None else 90.0
        high = most if entry.to is None else parse(entry.to, entry.unit, "m/s")[0]
    if not 0 < low < high:
        raise StudyError(
            "the range of speeds is empty",
            key="highest_speed",
            found=f"from {low:g} to {high:g} m/s",
            allowed="above zero, and a lower speed before a higher one",
        )
    return Range(low, high)


def _states(study: Study, build: Build) -> tuple[list[_InState], tuple[str, ...]]:
    """Group the conditions that are driven at a speed by the flap; keep the groups with a safety limit."""
    groups: dict[float | None, list[str]] = {}
    for name in study.conditions:
        scope = build.scope(study, name)
        if "speed" in scope:
            flap = scope.get("flap_opening")
            opening = None if flap is None else float(flap.distribution.nominal)
            groups.setdefault(opening, []).append(name)
    states, notes = [], []
    for opening, names in groups.items():
        limits = tuple(
            limit
            for limit in study.limits
            if limit.safety and {where for _, where in limit.output.pairs} <= {*names}
        )
        words = _state_words(opening)
        if limits:
            states.append(_InState(words, opening, tuple(names), limits))
        else:
            notes.append(f"{words}: no safety limit is set, so no highest speed follows")
    return states, tuple(notes)


def _state_words(opening: float | None) -> str:
    if opening is None:
        return "any state"
    return {0.0: "flap closed", 1.0: "flap open"}.get(opening, f"flap {percent(opening, 2)} open")


def _state_speed(
    study: Study, build: Build, state: _InState, speeds: Range, execution: Execution
) -> StateSpeed:
    variable = _speed_variable(study, build, speeds)
    samples = study.entries.highest_speed.samples
    evaluator = set_up(study, [variable], samples=samples, build=build, limits=state.limits)
    uses = tuple(_use(study, evaluator, limit) for limit in state.limits)
    evaluator = replace(evaluator, critical=tuple(k for k, use in enumerate(uses) if use == MUST_REACH))
    looked_at = speeds.even(LOOKS)
    points = [(speed,) for speed in looked_at]
    assessed = assess_points(evaluator, points, execution, f"speeds, {state.words}")
    known = dict(zip(looked_at, assessed, strict=True))

    def at(speed: float) -> Assessment:
        if speed not in known:
            known[speed] = assess_one(evaluator, (speed,), execution)
        return known[speed]

    # One scale for all speeds: the spread in the middle of the range.
    scale = at(looked_at[LOOKS // 2]).spread
    sure, speed, possible = (
        _first_end(lambda v, k=kind: float(at(v).scaled(k, scale).min()), looked_at)  # type: ignore[misc]
        for kind in (SURE, LIKELY, POSSIBLE)
    )
    shown = [at(value) for value in looked_at]
    reachable = _reachable(study, build, state)
    held_back_by = None if speed == speeds.high else _weakest(state, at(speed or speeds.low), scale)
    steps: tuple[SpeedStep, ...] = ()
    if sure is not None:
        # The last step lies below the highest conforming speed, and within what the car can run.
        top = min(sure * math.sqrt(TOP_STEP), math.inf if reachable is None else reachable[2])
        step_speeds = _speed_steps(top, study.entries.highest_speed.steps)
        expected = _expected(evaluator, state, step_speeds)
        steps = tuple(
            SpeedStep(speed, (speed / sure) ** 2, float(at(speed).probabilities[-2]), seen)
            for speed, seen in zip(step_speeds, expected, strict=True)
        )
    return StateSpeed(
        words=state.words,
        flap_opening=state.opening,
        conditions=state.conditions,
        limits=tuple(
            SpeedLimit(
                limit.name,
                use,
                limit.threshold,
                _first_end(lambda v, k=k: float(at(v).surplus[LIKELY, k]), looked_at),  # type: ignore[misc]
                tuple(float(one.probabilities[k]) for one in shown),
            )
            for k, (limit, use) in enumerate(zip(state.limits, uses, strict=True))
        ),
        speed=speed,
        sure=sure,
        possible=possible,
        to_the_end=speed == speeds.high,
        held_back_by=held_back_by,
        reachable=reachable,
        speeds=looked_at,
        together=tuple(float(one.probabilities[-2]) for one in shown),
        steps=steps,
    )


def _first_end(surplus: Callable[[float], float], speeds: Sequence[float]) -> float | None:
    """Return how far up from the lowest speed a requirement holds without a break; None when not at all."""
    found = spans(surplus, speeds)
    return found[0][1] if found and found[0][0] == speeds[0] else None


def _weakest(state: _InState, at_turn: Assessment, scale: Array) -> str:
    return state.limits[int(np.argmin(at_turn.scaled(LIKELY, scale)))].name


def _speed_variable(study: Study, build: Build, speeds: Range) -> Variable:
    given = chosen_input(study, build, "speed", speeds.low, "m/s", keep=False)
    return Variable(
        "speed", "speed", speeds, "m/s", study.unit_of("speed"), given, spread="none", everywhere=True
    )


def _use(study: Study, evaluator: Evaluator, limit: Limit) -> str:
    """Say how a limit is held against a speed."""
    if limit.name in evaluator.reached_by(evaluator.variables[0]):
        return AT_EACH
    quantity = study.graph[limit.output.quantity]
    lower_only = math.isinf(limit.high) and not limit.output.is_difference
    critical = quantity.capped_by is not None and quantity.unit == "m/s" and lower_only
    return MUST_REACH if critical else AT_ANY


def _reachable(study: Study, build: Build, state: _InState) -> tuple[float, float, float] | None:
    """Return quantiles of the top speed in a state, where the study can compute it."""
    where = state.conditions[0]
    if "top_speed" not in study.graph or study.graph.missing(["top_speed"], build.given_names(study, where)):
        return None
    plan = make_plan(study, [("top_speed", where)], scopes={where: build.scope(study, where)})
    values = plan.evaluate(plan.random_chunk(0, CHUNK))["top_speed", where]
    return _quantiles(values)


def _quantiles(values: Array) -> tuple[float, float, float] | None:
    answered = values[np.isfinite(values)]
    if not answered.size:
        return None
    low, middle, high = (float(value) for value in np.quantile(answered, [0.05, 0.5, 0.95]))
    return low, middle, high


def _speed_steps(top: float, steps: int) -> list[float]:
    """Return speeds up to a highest one, in steps of equal air load."""
    return [top * math.sqrt(step / steps) for step in range(1, steps + 1)]


def _expected(
    evaluator: Evaluator, state: _InState, speeds: Sequence[float]
) -> list[tuple[Expectation, ...]]:
    """Say what to expect at each speed of the limited quantities and of those worth watching."""
    study, first = evaluator.study, state.conditions[0]
    given = evaluator.build.given_names(study, first)
    watched = [name for name in WATCHED if name in study.graph and not study.graph.missing([name], given)]
    shown = [(name, first) for name in watched] + [
        pair for limit in state.limits for pair in limit.output.pairs
    ]
    objectives = [
        Objective(
            f"{name} {where}",
            "highest",
            Output(name, where),
            None,
            study.graph[name].unit,
            study.unit_of(name),
        )
        for name, where in dict.fromkeys(shown)
    ]
    watch = set_up(
        study, evaluator.variables, samples=CHUNK, build=evaluator.build, limits=(), objectives=objectives
    )
    reached = watch.reached_by(evaluator.variables[0])
    # Conditions that differ in speed alone are one and the same here: one slot of the program.
    slots = {
        watch.plan.program.outputs[objective.wanted[0]]: objective
        for objective in reversed(objectives)
        if objective.name in reached
    }
    moving = [objective for objective in objectives if objective in slots.values()]
    expected = []
    for speed in speeds:
        (found,) = watch.outcomes((speed,))
        ranges = [(objective, _quantiles(objective.values(found))) for objective in moving]
        expected.append(
            tuple(_expectation(objective, *range_) for objective, range_ in ranges if range_ is not None)
        )
    return expected


def _expectation(objective: Objective, low: float, middle: float, high: float) -> Expectation:
    assert objective.output is not None  # the speed steps watch quantities only
    return Expectation(
        objective.output.quantity,
        objective.output.condition,
        objective.unit,
        objective.display_unit,
        low,
        middle,
        high,
    )
