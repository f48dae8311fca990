"""Which measurements to make within a budget, in which order, and what cannot be settled by any of them.

Two measurements of the same thing are not counted twice: a set is weighed by regressing on all its readings
together, and after each step the rest are weighed again.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from explorer.errors import SampleError
from explorer.estimators.measuring import (
    SIGNIFICANT,
    Calls,
    Measurement,
    Stake,
    calls_after,
    calls_before,
    mean_of,
    ranked,
    stacked_margins,
    take_readings,
    worth_of_calls,
)
from explorer.estimators.measuring_outlook import Alone, MeasuringPlan, NextMeasurement, Outlook
from explorer.graph.arrays import Array

MOST_SETS_TRIED = 150
# Sets of more measurements than this are not written out one by one.
MOST_ENUMERATED = 14


@dataclass(frozen=True)
class Judged:
    """Some limits and the samples that they are judged on: plain ones, or cars with all their days.

    Attributes
    ----------
    samples, margins:
        Values of the uncertain inputs by name, and margin of each limit (zero or more conforms, NaN has no
        answer), shape (samples,) each.
    stakes:
        What hangs on each limit.
    behind:
        By limit the inputs that its margin hangs on, or that go with such; all where nothing is said.
    """

    samples: Mapping[str, Array]
    margins: Mapping[str, Array]
    stakes: tuple[Stake, ...]
    behind: Mapping[str, Collection[str]] = field(default_factory=dict)

    def telling(self, measurements: Sequence[Measurement], limit: str) -> frozenset[str]:
        """Name the measurements that can tell anything of a limit."""
        behind = set(self.behind.get(limit, self.samples))
        return frozenset(one.name for one in measurements if not behind.isdisjoint(one.reads))

    def reading(self, measurement: Measurement, seed: int, known: Collection[str]) -> Array:
        """Simulate the readings, shape (readings, samples), without those of inputs that others hang on."""
        others = set(known) - set(self.samples)
        reads = {name: how for name, how in measurement.reads.items() if name not in others}
        if not reads:
            return np.empty((0, next(iter(self.margins.values())).size))
        return take_readings(replace(measurement, reads=reads), self.samples, seed)


@dataclass(frozen=True)
class _Drawn:
    """Readings and margins of the samples that some limits are judged on; what can tell of each limit."""

    stakes: tuple[Stake, ...]
    readings: Mapping[str, Array]
    margins: Array
    telling: tuple[frozenset[str], ...]

    def calls(self, names: Collection[str]) -> tuple[Calls, ...]:
        """Know the readings of a set of measurements, together."""
        found: dict[int, Calls] = {}
        # Sorted, so that a set is the same set in whatever order it was put together.
        chosen = [tuple(sorted(telling.intersection(names))) for telling in self.telling]
        for told in dict.fromkeys(chosen):
            limits = [k for k, one in enumerate(chosen) if one == told]
            scores = [self.readings[name] for name in told]
            if sum(map(len, scores)):
                found |= zip(limits, calls_after(np.concatenate(scores), self.margins[limits]), strict=True)
            else:
                found |= {k: calls_before(self.margins[k]) for k in limits}
        return tuple(found[k] for k in range(len(chosen)))

    def losses(self, calls: Sequence[Calls]) -> Array:
        """Loss of the verdicts in each sample, summed over the limits."""
        pairs = zip(calls, self.stakes, strict=True)
        return np.asarray(sum(call.losses(stake) for call, stake in pairs))


@dataclass(frozen=True)
class Readings:
    """Readings of what was drawn: weighs any set of measurements."""

    measurements: tuple[Measurement, ...]
    drawn: tuple[_Drawn, ...]
    _known: dict[frozenset[str], tuple[Calls, ...]] = field(default_factory=dict, init=False)

    @property
    def stakes(self) -> tuple[Stake, ...]:
        """What hangs on each limit, in the order of the calls."""
        return tuple(stake for one in self.drawn for stake in one.stakes)

    @property
    def margins(self) -> list[Array]:
        """Margin of each limit in the samples that it is judged on."""
        return [margin for one in self.drawn for margin in one.margins]

    def calls(self, names: Collection[str]) -> tuple[Calls, ...]:
        """Know the readings of a set of measurements, together."""
        chosen = frozenset(names)
        if chosen not in self._known:
            self._known[chosen] = tuple(call for one in self.drawn for call in one.calls(chosen))
        return self._known[chosen]

    def losses(self, calls: Sequence[Calls]) -> Array:
        """Losses whose mean is that of the verdicts, summed over the limits.

        Samples of several kinds stand one after the other, each with the weight that makes the mean of all
        the sum of their means; its error comes out no smaller than that of the sum.
        """
        left, found = list(calls), []
        every = sum(one.margins.shape[1] for one in self.drawn)
        for one in self.drawn:
            own, left = left[: len(one.stakes)], left[len(one.stakes) :]
            found.append(one.losses(own) * (every / one.margins.shape[1]))
        return np.concatenate(found)


def plan_measurements(
    judged: Sequence[Judged],
    measurements: Sequence[Measurement],
    *,
    budget_hours: float,
    budget_cost: float = math.inf,
    seed: int,
) -> MeasuringPlan:
    """Find the set of measurements that saves most within a budget, and their order.

    Parameters
    ----------
    judged:
        The limits, with the samples that they are judged on.
    measurements:
        What could be measured.
    seed:
        The run's.
    budget_hours, budget_cost:
        What may be spent in all.

    Raises
    ------
    SampleError
        With too few samples, an input or limit that the run does not have, a measurement that takes no time,
        or two of one name.
    """
    _check(measurements, [stake for of in judged for stake in of.stakes])
    known = set().union(*(of.samples for of in judged))
    drawn = tuple(
        _Drawn(
            of.stakes,
            {one.name: of.reading(one, seed, known) for one in measurements},
            stacked_margins(of.margins, of.stakes),
            tuple(of.telling(measurements, stake.limit) for stake in of.stakes),
        )
        for of in judged
    )
    taken = Readings(tuple(measurements), drawn)
    singly = [taken.calls([one.name]) for one in measurements]
    sets, complete = _affordable_sets(taken, budget_hours, budget_cost)
    tried = {chosen: taken.calls(chosen) for chosen in sets}
    loss = {chosen: float(taken.losses(calls).mean()) for chosen, calls in tried.items()}
    first = min(sets, key=loss.__getitem__)
    order = _without_idle(taken, _in_order(taken, first))
    steps = _steps(taken, order)
    best = tuple(order)
    return MeasuringPlan(
        budget_hours=budget_hours,
        budget_cost=budget_cost,
        hours=sum(step.hours for step in steps),
        cost=sum(step.cost for step in steps),
        steps=steps,
        gain=mean_of(taken.losses(taken.calls(())) - taken.losses(taken.calls(best))),
        worths=worth_of_calls(taken.margins, measurements, taken.stakes, singly),
        alone=_alone(taken, singly),
        outlooks=_outlooks(taken, best, tried),
        complete=complete,
    )


def _alone(taken: Readings, singly: Sequence[Sequence[Calls]]) -> tuple[Alone, ...]:
    """Rank measurements by what each brings over all limits together."""
    if not singly:
        return ()
    loss = taken.losses(taken.calls(()))
    gains = np.stack([loss - taken.losses(calls) for calls in singly])
    _, ties = ranked(gains)
    named = [one.name for one in taken.measurements]
    found = [
        Alone(one.name, one.label, one.hours, one.cost, mean_of(gain), tuple(named[j] for j in tied))
        for one, gain, tied in zip(taken.measurements, gains, ties, strict=True)
    ]
    return tuple(sorted(found, key=lambda one: -one.gain.value))


def _check(measurements: Sequence[Measurement], stakes: Sequence[Stake]) -> None:
    names = [one.name for one in measurements]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise SampleError("two measurements have one name", found=", ".join(twice), remedy="rename one")
    if not stakes:
        raise SampleError("no limit hangs on any measurement", remedy="give the study a limit")
    for one in measurements:
        if not one.hours > 0:
            raise SampleError(
                "a measurement takes some time", key=one.name, found=one.hours, allowed="hours above 0"
            )


def _affordable_sets(
    taken: Readings, budget_hours: float, budget_cost: float
) -> tuple[list[tuple[str, ...]], bool]:
    """List the sets worth weighing, and say whether the best is sure to be among them.

    More readings never make a verdict worse, so only sets to which nothing affordable can be added count.
    Where these are too many, sets grown one measurement at a time stand in for them.
    """

    def affordable(chosen: Collection[Measurement]) -> bool:
        return (
            sum(one.hours for one in chosen) <= budget_hours
            and sum(one.cost for one in chosen) <= budget_cost
        )

    within = [one for one in taken.measurements if affordable([one])]
    if len(within) <= MOST_ENUMERATED:
        full = []
        for size in range(len(within), 0, -1):
            for chosen in itertools.combinations(within, size):
                rest = [one for one in within if one not in chosen]
                if affordable(chosen) and not any(affordable([*chosen, one]) for one in rest):
                    full.append(tuple(one.name for one in chosen))
        if len(full) <= MOST_SETS_TRIED:
            return [*full, ()], True
    grown: dict[tuple[str, ...], None] = {}
    for prefer_variance in (False, True):
        chosen_so_far: list[Measurement] = []
        while rest := [
            one for one in within if one not in chosen_so_far and affordable([*chosen_so_far, one])
        ]:
            names = [one.name for one in chosen_so_far]
            best, _ = _next(taken, names, rest, prefer_variance=prefer_variance)
            chosen_so_far.append(best)
            grown[tuple(one.name for one in chosen_so_far)] = None
    return [*grown, ()], False


def _next(
    taken: Readings, known: Sequence[str], rest: Sequence[Measurement], *, prefer_variance: bool = False
) -> tuple[Measurement, tuple[str, ...]]:
    """Choose what to measure next, for each hour it takes, and name those that would do as well.

    Two measurements may bring something only together; where none alone saves anything, the one that
    leaves the least variance goes first.
    """
    before = taken.calls(known)
    after = {one.name: taken.calls([*known, one.name]) for one in rest}
    loss = taken.losses(before)
    gains = np.stack([(loss - taken.losses(after[one.name])) / one.hours for one in rest])
    best = int(np.argmax(gains.mean(axis=1)))
    if not prefer_variance and _significant(gains[best]):
        _, ties = ranked(gains)
        # What brings nothing that shows would not do as well, however wide its error.
        return rest[best], tuple(rest[j].name for j in ties[best] if _significant(gains[j]))
    removed = [_variance_removed(before, after[one.name]) / one.hours for one in rest]
    return rest[int(np.argmax(removed))], ()


def _variance_removed(before: Sequence[Calls], after: Sequence[Calls]) -> float:
    """Share of the margins' variance that goes, summed over the limits."""
    removed = 0.0
    for one, other in zip(before, after, strict=True):
        deviations = one.deviations()
        if deviations.size and deviations.any():
            removed += 1 - float(other.deviations().sum() / deviations.sum())
    return removed


def _in_order(taken: Readings, chosen: Collection[str]) -> dict[str, tuple[str, ...]]:
    """Order a set by what each adds an hour once the earlier ones are known, as far as anything is added.

    Returns
    -------
    dict
        Names in order, each with those that would have done as well in its turn.
    """
    rest = [one for one in taken.measurements if one.name in chosen]
    at_best = taken.losses(taken.calls(chosen))
    order: dict[str, tuple[str, ...]] = {}
    while rest:
        best, tied = _next(taken, list(order), rest)
        known = taken.losses(taken.calls(list(order)))
        if not (
            _significant(known - at_best)
            or _significant(known - taken.losses(taken.calls([*order, best.name])))
        ):
            break
        rest.remove(best)
        order[best.name] = tied
    return order


def _without_idle(taken: Readings, order: dict[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
    """Leave out measurements that later ones have made idle, as long as nothing that can be told is lost."""
    kept = dict(order)
    least = taken.losses(taken.calls(list(kept)))
    while kept:
        without = {name: taken.losses(taken.calls([n for n in kept if n != name])) for name in kept}
        idle = min(kept, key=lambda name: float(without[name].mean()))
        # Against the best yet, so that small losses cannot add up unseen.
        if _significant(without[idle] - least):
            break
        least = min(least, without[idle], key=lambda losses: float(losses.mean()))
        del kept[idle]
    return kept


def _significant(gains: Array) -> bool:
    """Whether a mean gain is above zero beyond its error."""
    gain = mean_of(gains)
    return gain.value > SIGNIFICANT * gain.error


def _steps(taken: Readings, order: Mapping[str, tuple[str, ...]]) -> tuple[NextMeasurement, ...]:
    """Take the measurements in order, and see where each limit stands after each."""
    named = {one.name: one for one in taken.measurements}
    steps: list[NextMeasurement] = []
    hours = cost = 0.0
    before = taken.calls(())
    stood = [call.outcome(stake) for call, stake in zip(before, taken.stakes, strict=True)]
    for place, (name, tied) in enumerate(order.items()):
        one = named[name]
        after = taken.calls(list(order)[: place + 1])
        stands = [call.outcome(stake) for call, stake in zip(after, taken.stakes, strict=True)]
        hours, cost = hours + one.hours, cost + one.cost
        pairs = zip(taken.stakes, stood, stands, strict=True)
        limits = {stake.limit: (then, now) for stake, then, now in pairs}
        gain = mean_of(taken.losses(before) - taken.losses(after))
        step = name, one.label, one.hours, one.cost, gain, tied
        steps.append(NextMeasurement(*step, hours_so_far=hours, cost_so_far=cost, limits=limits))
        before, stood = after, stands
    return tuple(steps)


def _outlooks(
    taken: Readings,
    planned: tuple[str, ...],
    tried: Mapping[tuple[str, ...], Sequence[Calls]],
) -> tuple[Outlook, ...]:
    """Judge for each limit what the plan, the best affordable set and everything at once would do to it."""
    now, after = taken.calls(()), taken.calls(planned)
    everything = taken.calls([one.name for one in taken.measurements])
    telling = [names for one in taken.drawn for names in one.telling]
    found = []
    for k, stake in enumerate(taken.stakes):
        here, then = now[k].outcome(stake), after[k].outcome(stake)
        passes = here.passes.value == 1
        turned = {
            chosen: float(np.mean((calls[k].probability >= stake.required) != passes))
            for chosen, calls in tried.items()
        }
        best_set = max(turned, key=turned.__getitem__)
        best, at_once = tried[best_set][k].outcome(stake), everything[k].outcome(stake).passes.value
        told = tuple(name for name in best_set if name in telling[k])
        found.append(Outlook(stake.limit, stake.required, here, then, best, told, at_once, stake.runs))
    return tuple(found)
