"""Levers: which way what a builder can set moves each limit, and the setting at which one that fails passes.

Every setting is put on the same cars (common random numbers), all levers through one program; a limit is
brought to pass through a program of its own, which computes nothing that the limit does not need.  A few cars
tell where that may be, and only there it is looked for with as many as can show it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from explorer.analyses.sensitivity import keys_upstream
from explorer.design.evaluator import Evaluator, set_up
from explorer.design.inverse import standing
from explorer.design.variables import Variable, chosen_input, read_variables, record_of
from explorer.engine.execution import Execution
from explorer.engine.plan import CHUNK, make_plan
from explorer.errors import StudyError
from explorer.estimators.assessment import LIKELY, POSSIBLE, SURE, Assessment, turning_counts
from explorer.estimators.conformance import binomial_interval
from explorer.estimators.effects import looks_towards, low_to_high, mean_change, nearest_setting
from explorer.estimators.ranges import Range
from explorer.estimators.side_by_side import side_by_side
from explorer.graph.arrays import Array
from explorer.graph.labels import label
from explorer.graph.units import parse, parse_spread
from explorer.results.exploration import OtherLimit
from explorer.results.levers import LeverEffect, LeverRecord, Levers, Rescue, SignedEffect
from explorer.study.builds import AS_IT_STANDS, check_not_always_overridden
from explorer.study.limits import Limit
from explorer.study.study import Input, Study

# Cars that a setting is shown to pass on, those that it is sought on first, those that every lever is moved a
# step on, and those that signed effects are seen in.
CARS = 1_024
FEW = 128
MOVED = 256
SEEN = 4_096
# Steps in a range that names none.
STEPS = 10
# Steps to either side of the present value in a range that the study does not name.
FAR = 20
# Levers tried for each limit that does not pass: those that promise the most margin within their range.
TRIED = 6
_NONE: Mapping[str, Array] = {}


def try_levers(
    study: Study,
    unmet: Collection[str] | None = None,
    *,
    cars: Mapping[str, Array] = _NONE,
    execution: Execution | None = None,
) -> Levers:
    """Move every lever of a study a step, and look for the settings at which limits pass.

    Parameters
    ----------
    unmet:
        Names of the limits that do not pass as the car stands; by default those that do not on so few cars.
    cars:
        First cars of a run by column, where there is one.
    execution:
        On which workers, and told to whom; the numbers do not depend on it.
    """
    execution = execution or Execution()
    effects = signed_effects(study, cars)
    variables = levers_of(study)
    if not variables:
        return Levers((), CARS, MOVED, effects, SEEN)
    evaluator = set_up(study, variables, samples=CARS)
    names = {limit.name: place for place, limit in enumerate(study.limits)}
    reached = {variable.name: evaluator.reached_by(variable) for variable in variables}
    now = [_now(study, variable) for variable in variables]
    before, none = evaluator.tried(now)
    steps = [_step(study, variable) for variable in variables]
    points = [[*now[:k], now[k] + step, *now[k + 1 :]] for k, step in enumerate(steps)]
    few = set_up(study, variables, samples=MOVED)
    half = (len(points) + 1) // 2  # for several workers
    batches = [batch for batch in (points[:half], points[half:]) if batch]
    after = execution.in_order(partial(_stepped, few, batches), len(batches), "levers")
    moved = [
        [
            LeverEffect(name, mean_change(before[names[name], :MOVED], margins[names[name]]))
            for name in reached[variable.name]
        ]
        for variable, margins in zip(variables, itertools.chain(*after), strict=True)
    ]
    here = evaluator.judged(now, before, none)
    stands = standing(evaluator, here)
    met = tuple(one.name for one in stands if one.probability >= one.required)
    if unmet is None:
        unmet = [one.name for one in stands if one.verdict != "pass"]
    searches = [
        _Search(study, of, limit)
        for limit in study.limits
        if limit.name in unmet
        for of in _together(study, [variables[k] for k in _promising(limit, variables, now, steps, moved)])
    ]
    found = execution.in_order(partial(_searched, tuple(searches)), len(searches))
    tried = [(search.limit, variable) for search in searches for variable in search.variables]
    rescues: dict[tuple[str, str], Rescue | None] = {(one.name, limit.name): None for limit, one in tried}
    settings = [
        _TriedSetting(variable, limit, value)
        for (limit, variable), value in zip(tried, itertools.chain(*found), strict=True)
        if value is not None
    ]
    beside = _beside(study, settings, reached)
    for of, rescued in zip(
        beside, execution.in_order(partial(_rescued, study, beside, stands, met), len(beside)), strict=True
    ):
        rescues |= {(s.variable.name, s.limit.name): one for s, one in zip(of.settings, rescued, strict=True)}
    records = (
        LeverRecord(
            record_of(study, AS_IT_STANDS, variable),
            step,
            tuple(_with_rescue(variable, effect, rescues) for effect in effects_),
        )
        for variable, step, effects_ in zip(variables, steps, moved, strict=True)
        if effects_
    )
    return Levers(tuple(records), CARS, MOVED, effects, SEEN)


def _stepped(evaluator: Evaluator, batches: Sequence[Sequence[Sequence[float]]], place: int) -> Array:
    """Move each lever of a batch a step: margins of all limits, on the same cars."""
    return evaluator.margins_at(batches[place])


def levers_of(study: Study) -> tuple[Variable, ...]:
    """Return the design variables of a study, and whatever else it gives that a builder can set.

    Where the study names no range, it is what is usual of such cars, within a third and three times the
    present value, and within twenty of the lever's steps.
    """
    named = {variable.name: variable for variable in read_variables(study)}
    found = []
    for name, one in study.inputs.items():
        if name in named:
            found.append(named[name])
        elif study.graph[name].lever and not one.default:
            found += _variable(study, one)
    return tuple(found)


def _variable(study: Study, one: Input) -> Iterator[Variable]:
    quantity = study.graph[one.quantity]
    try:
        check_not_always_overridden(study, one.quantity, one.key)
    except StudyError:
        return  # every condition sets it: its common value is nobody's
    value = float(one.distribution.nominal)
    if quantity.usual is not None:
        low, high = (parse(end, None, quantity.unit)[0] for end in (quantity.usual.low, quantity.usual.high))
        # From the other side of such cars no one orders a part: at most three times and a third.
        near = sorted((value / 3, value * 3)) if value else (low, high)
        low, high = max(low, near[0]), min(high, near[1])
    else:
        low, high = sorted((value / 2, value * 2))
    step = parse_spread(quantity.lever, None, quantity.unit)[0]
    # A place has no third: moved by more of a workshop's steps, it belongs to another car.
    low, high = max(low, value - FAR * step), min(high, value + FAR * step)
    ends = math.ceil(low / step) * step, math.floor(high / step) * step
    if not (ends[0] < ends[1] and all(quantity.allows(end) for end in ends)):
        return
    given = chosen_input(study, AS_IT_STANDS, one.quantity, value, one.display_unit, keep=True)
    words = label(one.quantity)
    yield Variable(one.quantity, words, Range(*ends, step), quantity.unit, one.display_unit, given)


def _now(study: Study, variable: Variable) -> float:
    """Return the present value; that of the variable itself may be the middle of its range."""
    return float(study.inputs[variable.name].distribution.nominal)


def _step(study: Study, variable: Variable) -> float:
    """Return the step that a lever is moved by: the sensible one of the model file, else one of its range."""
    text = study.graph[variable.name].lever
    if text:
        return parse_spread(text, None, variable.unit)[0]
    return variable.range.step or variable.range.width / STEPS


def _promising(
    limit: Limit,
    variables: Sequence[Variable],
    now: Sequence[float],
    steps: Sequence[float],
    moved: Sequence[Sequence[LeverEffect]],
) -> list[int]:
    """Return the places of the levers that promise the most for a limit, up to the end of their range."""
    promised = {}
    for place, (variable, step, effects) in enumerate(zip(variables, steps, moved, strict=True)):
        change = next((one.change for one in effects if one.limit == limit.name), None)
        if change is None or change.value == 0:
            continue
        ends = (variable.range.low - now[place], variable.range.high - now[place])
        # Where cars have no answer a mean says little: then either way is worth a try.
        slope = change.value / step if math.isfinite(change.value) else math.inf
        promised[place] = max(slope * end for end in ends)
    return sorted(promised, key=lambda place: -promised[place])[:TRIED]


def _together(study: Study, variables: Sequence[Variable]) -> list[tuple[Variable, ...]]:
    """Put those together that leave the study what it is while they are at their present value."""
    apart = [
        one
        for one in variables
        if one.spread == "none" and one.name in study.inputs and not study.inputs[one.name].exact
    ]
    rest = tuple(one for one in variables if one not in apart)
    return [of for of in (rest, *((one,) for one in apart)) if of]


def _assessed(evaluator: Evaluator, asked: Iterable[tuple[int, float]]) -> list[Assessment]:
    """Assess the study with one lever at a time set to a value, all others as they are."""
    now = [_now(evaluator.study, variable) for variable in evaluator.variables]
    return evaluator.assess_each([[*now[:place], value, *now[place + 1 :]] for place, value in asked])


@dataclass(frozen=True)
class _Search:
    """Levers to be moved, one at a time, until one limit passes."""

    study: Study
    variables: tuple[Variable, ...]
    limit: Limit


def _searched(searches: Sequence[_Search], position: int) -> list[float | None]:
    """Find for each lever the nearest setting at which the limit passes beyond doubt."""
    search = searches[position]
    few, many = (
        set_up(search.study, search.variables, samples=samples, limits=[search.limit])
        for samples in (FEW, enough_for(search.limit.probability))
    )
    now = [_now(search.study, variable) for variable in search.variables]
    ranges = [variable.range for variable in search.variables]
    looks = [
        (place, value)
        for place, at in enumerate(now)
        for value in dict.fromkeys([at, *itertools.chain(*looks_towards(at, ranges[place]))])
    ]
    guessed: list[dict[float, tuple[float, float]]] = [{} for _ in now]
    for (place, value), there in zip(looks, _assessed(few, looks), strict=True):
        guessed[place][value] = float(there.surplus[LIKELY, 0]), float(there.surplus[POSSIBLE, 0])
    return side_by_side(
        [nearest_setting(*of) for of in zip(now, ranges, guessed, strict=True)],
        lambda asked: [float(there.surplus[SURE, 0]) for there in _assessed(many, asked.items())],
    )


@dataclass(frozen=True)
class _TriedSetting:
    """Where a lever brings a limit to pass."""

    variable: Variable
    limit: Limit
    value: float


@dataclass(frozen=True)
class _Beside:
    """Settings of levers that reach the same limits, to be put on as many cars."""

    settings: tuple[_TriedSetting, ...]
    reached: tuple[str, ...]
    samples: int


def _beside(
    study: Study, settings: Sequence[_TriedSetting], reached: Mapping[str, tuple[str, ...]]
) -> tuple[_Beside, ...]:
    groups: dict[tuple[int, tuple[str, ...], int], list[_TriedSetting]] = {}
    levers = {one.variable.name: one.variable for one in settings}
    for place, of in enumerate(_together(study, list(levers.values()))):
        for one in settings:
            if one.variable in of:
                key = place, reached[one.variable.name], enough_for(one.limit.probability)
                groups.setdefault(key, []).append(one)
    return tuple(_Beside(tuple(found), limits, cars) for (_, limits, cars), found in groups.items())


def _rescued(
    study: Study, beside: Sequence[_Beside], stands: Sequence[OtherLimit], met: Collection[str], index: int
) -> list[Rescue]:
    """Say how all limits stand at each setting: those that its lever does not move as they do now."""
    of = beside[index]
    levers = {one.variable.name: one.variable for one in of.settings}
    limits = [limit for limit in study.limits if limit.name in of.reached]
    evaluator = set_up(study, list(levers.values()), samples=of.samples, limits=limits)
    asked = [(list(levers).index(one.variable.name), one.value) for one in of.settings]
    rescues = []
    for one, there in zip(of.settings, _assessed(evaluator, asked), strict=True):
        place = limits.index(one.limit)
        low, high = binomial_interval(float(there.conforming[place]), int(there.trials[place]))
        moved = {other.name: other for other in standing(evaluator, there)}
        others = tuple(moved.get(other.name, other) for other in stands if other.name != one.limit.name)
        breaks = tuple(
            other.name for other in others if other.name in met and other.probability < other.required
        )
        rescues.append(Rescue(one.value, float(there.probabilities[place]), low, high, others, breaks))
    return rescues


def enough_for(probability: float) -> int:
    """Return how many cars can show that a limit passes at all, at its required probability."""
    samples = CARS
    while turning_counts(samples, probability)[0] is None and samples < CHUNK:
        samples *= 2
    return samples


def _with_rescue(
    variable: Variable, effect: LeverEffect, rescues: dict[tuple[str, str], Rescue | None]
) -> LeverEffect:
    key = (variable.name, effect.limit)
    return LeverEffect(effect.limit, effect.change, key in rescues, rescues.get(key))


def signed_effects(study: Study, cars: Mapping[str, Array] = _NONE) -> tuple[SignedEffect, ...]:
    """Return how each uncertain input moves each margin: its highest fifth of cars less its lowest.

    They are the first of the cars given, where those are enough; else some are drawn and evaluated.
    """
    plan = make_plan(study, [pair for limit in study.limits for pair in limit.output.pairs])
    if min(map(len, cars.values()), default=0) >= SEEN:
        drawn = {key: cars[key][:SEEN] for key in plan.uncertain}
        margins = [limit.margin(cars[limit.output.column][:SEEN]) for limit in study.limits]
    else:
        drawn = plan.random_chunk(0, SEEN)
        found = plan.evaluate(drawn)
        margins = [limit.margin_in(found) for limit in study.limits]
    effects: list[SignedEffect] = []
    for limit, margin in zip(study.limits, margins, strict=True):
        upstream = keys_upstream(study, limit)
        effects += [
            SignedEffect(key, limit.name, low_to_high(drawn[key], margin))
            for key in plan.uncertain
            if key in upstream
        ]
    return tuple(effects)
