"""An evaluator of builds: one compiled program, one set of samples, any values of the design variables.

The program is compiled once with the variables as leaves of their own; a point of the design only replaces
their values.  All points see the same samples (common random numbers), so that what differs between two
points is what the design does, not chance.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Any

import numpy as np

from explorer.analyses.two_levels import all_cars, draw_cars, fewest_cars
from explorer.design.objectives import Objective
from explorer.design.variables import Variable
from explorer.engine.fingerprint import inputs_digest
from explorer.engine.plan import CHUNK, Plan, chunk_sizes, make_plan
from explorer.estimators.assessment import Assessment, Requirement, assess
from explorer.estimators.two_levels import (
    ENOUGH,
    OfCars,
    Sureness,
    how_sure,
    kept_margins,
    surpluses_of_cars,
)
from explorer.graph.arrays import Array
from explorer.graph.program import Settled
from explorer.graph.variants import Moved
from explorer.study.builds import AS_IT_STANDS, Build
from explorer.study.limits import Limit
from explorer.study.study import Input, Study

# Draws are kept for all points up to this many samples, beyond it they are drawn again for each; and what
# the variables do not reach is evaluated once for up to so many.
MOST_HELD, MOST_SETTLED = 131_072, 2 * CHUNK
# Chunks of one draw and of the next lie so far apart that they never meet.
DRAW_STRIDE = 2**32


@dataclass(frozen=True)
class Evaluator:
    """What any point of a design is put on.

    Attributes
    ----------
    variables:
        What a point gives values for, in this order.
    draw:
        Number of the set of samples: another number is another, independent set.
    critical:
        Places of limits on a critical speed: held against the speed tried instead of their own bound.
    """

    study: Study
    build: Build
    variables: tuple[Variable, ...]
    limits: tuple[Limit, ...]
    objectives: tuple[Objective, ...]
    samples: int
    plan: Plan
    draw: int = 0
    plan_of_cars: Plan | None = None
    critical: tuple[int, ...] = ()

    @property
    def requirements(self) -> tuple[Requirement, ...]:
        """What is asked of each limit."""
        return tuple(Requirement(one.name, one.probability, one.safety) for one in self.limits)

    @property
    def surely(self) -> tuple[int, ...]:
        """Places of the limits that ask ``sure``."""
        return tuple(place for place, limit in enumerate(self.limits) if limit.sure is not None)

    @property
    def cars_and_days(self) -> tuple[int, int]:
        """Cars, and days of each, that those limits are judged on: no more than the study draws."""
        return fewest_cars(self.study, [self.limits[place] for place in self.surely])

    @cached_property
    def settings(self) -> str:
        """Everything a result hangs on beside the study and the point."""
        variables = [(v.name, v.spread, v.everywhere, inputs_digest([v.given])) for v in self.variables]
        overrides = inputs_digest(self.build.overrides.values())
        limits = [_without_words(one) for one in self.limits]
        objectives = [
            (one.goal, one.output, one.limit and _without_words(one.limit)) for one in self.objectives
        ]
        return f"{variables} {overrides} {limits} {objectives} {self.samples} {self.draw} {self.critical}"

    @cached_property
    def _held(self) -> tuple[dict[str, Array], ...]:
        return tuple(self._drawn()) if self.samples <= MOST_HELD else ()

    @cached_property
    def _held_settled(self) -> tuple[Settled, ...]:
        moving = [variable.given.key for variable in self.variables]
        return tuple(self.plan.settled(drawn, moving) for drawn in self._held)

    @cached_property
    def _held_cars(self) -> tuple[tuple[int, dict[str, Array]], ...]:
        return tuple(self._drawn_cars(*self.cars_and_days))

    def _drawn_cars(self, cars: int, days: int) -> Iterator[tuple[int, dict[str, Array]]]:
        for index, size in enumerate(chunk_sizes(cars, max(1, CHUNK // days))):
            assert self.plan_of_cars is not None  # cars are drawn for limits that ask sure alone
            yield size, draw_cars(self.plan_of_cars, self.draw * DRAW_STRIDE + index, size, days)

    def __getstate__(self) -> dict[str, Any]:
        # Draws are made where they are needed: they travel to no other process.
        return {name: value for name, value in self.__dict__.items() if not name.startswith("_held")}

    def _drawn(self) -> Iterator[dict[str, Array]]:
        for index, size in enumerate(chunk_sizes(self.samples)):
            yield self.plan.random_chunk(self.draw * DRAW_STRIDE + index, size)

    def outcomes(self, point: Sequence[float]) -> Iterator[dict[tuple[str, str], Array]]:
        """Evaluate one point, chunk by chunk."""
        settles = self.samples <= MOST_SETTLED
        for index, drawn in enumerate(self._held or self._drawn()):
            moved = {**drawn, **self._moved(self.plan, drawn, point)}
            yield self.plan.evaluate(moved, partial(self._settled, index) if settles else None)

    def _settled(self, chunk: int) -> Settled:
        """Evaluate once for all points what the variables do not reach."""
        return self._held_settled[chunk]

    def _moved(self, plan: Plan, drawn: Mapping[str, Array], point: Sequence[float]) -> dict[str, Array]:
        moved = {}
        for variable, value in zip(self.variables, point, strict=True):
            key = variable.given.key
            if key in plan.bounds:
                moved[key] = plan.possible(key, variable.at(value, drawn.get(key)))
        return moved

    def tried(self, point: Sequence[float]) -> tuple[Array, Array]:
        """Return margins, shape (limits, samples), and objectives, shape (objectives, samples)."""
        margins = np.empty((len(self.limits), self.samples))
        objectives = np.empty((len(self.objectives), self.samples))
        start = 0
        for size, found in zip(chunk_sizes(self.samples), self.outcomes(point), strict=True):
            part = slice(start, start + size)
            for k in range(len(self.limits)):
                margins[k, part] = self._margin(k, found, point)
            for k, objective in enumerate(self.objectives):
                objectives[k, part] = objective.values(found)
            start += size
        return margins, objectives

    def _margin(self, place: int, found: Mapping[tuple[str, str], Array], point: Sequence[float]) -> Array:
        limit = self.limits[place]
        margin = limit.margin_in(found)
        return margin + (limit.low - point[0]) if place in self.critical else margin

    def margins_at(self, points: Sequence[Sequence[float]]) -> Array:
        """Return margins at several points, shape (points, limits, samples), evaluated side by side.

        They are variants of the point that takes each value which most of them share.
        """
        pairs = list(self.plan.program.outputs)
        usual = [Counter(values).most_common(1)[0][0] for values in zip(*points, strict=True)]
        margins = np.empty((len(points), len(self.limits), self.samples))
        start = 0
        for size, drawn in zip(chunk_sizes(self.samples), self._held or self._drawn(), strict=True):
            shared = self._moved(self.plan, drawn, usual)
            variants = []
            for point in points:
                moved = self._moved(self.plan, drawn, point)
                differ = [v.given.key for v, a, b in zip(self.variables, point, usual, strict=True) if a != b]
                variants.append(Moved({key: moved[key] for key in differ if key in moved}, pairs))
            found = self.plan.evaluate_variants({**drawn, **shared}, variants)
            for k, limit in enumerate(self.limits):
                margins[:, k, start : start + size] = limit.margin_in(found)[1:]
            start += size
        return margins

    def assess(self, point: Sequence[float]) -> Assessment:
        """Assess the build with these values of its variables."""
        return self.judged(point, *self.tried(point))

    def assess_each(self, points: Sequence[Sequence[float]]) -> list[Assessment]:
        """Assess the build at several points side by side, without its objectives."""
        none = np.empty((0, self.samples))
        return [
            self.judged(point, margins, none)
            for point, margins in zip(points, self.margins_at(points), strict=True)
        ]

    def judged(self, point: Sequence[float], margins: Array, objectives: Array) -> Assessment:
        """Assess the build at a point from what was tried there."""
        found = assess(margins, self.requirements, objectives)
        for place, kept in self._kept(point).items():
            surplus = surpluses_of_cars(kept, self.limits[place].threshold)
            found = found.on_cars(place, surplus, int(np.count_nonzero(kept[ENOUGH] >= 0)), kept.shape[1])
        return found

    def _kept(self, point: Sequence[float]) -> dict[int, Array]:
        """Return the margins that cars keep on their days, of each limit that asks ``sure``."""
        if self.plan_of_cars is None:
            return {}
        parts: dict[int, list[Array]] = {place: [] for place in self.surely}
        for place, margins in self._of_cars(point, self._held_cars, self.cars_and_days[1]):
            parts[place].append(kept_margins(margins, self.limits[place].probability))
        return {place: np.concatenate(kept, axis=1) for place, kept in parts.items()}

    def _of_cars(
        self, point: Sequence[float], chunks: Iterable[tuple[int, dict[str, Array]]], days: int
    ) -> Iterator[tuple[int, Array]]:
        """Evaluate one point on cars and days: places of limits, and margins of shape (cars, days)."""
        assert self.plan_of_cars is not None
        for cars, drawn in chunks:
            found = self.plan_of_cars.evaluate({**drawn, **self._moved(self.plan_of_cars, drawn, point)})
            for place in self.surely:
                margins = np.broadcast_to(self._margin(place, found, point), cars * days)
                yield place, margins.reshape(cars, days)

    def sureness(self, point: Sequence[float]) -> dict[str, Sureness]:
        """Judge one point on as many cars and days as the study draws, limit by limit that asks ``sure``."""
        if self.plan_of_cars is None:
            return {}
        cars, days = all_cars(self.study)
        parts: dict[int, list[OfCars]] = {place: [] for place in self.surely}
        for place, margins in self._of_cars(point, self._drawn_cars(cars, days), days):
            parts[place].append(OfCars.of(margins, self.limits[place].probability))
        return {
            (limit := self.limits[place]).name: how_sure(
                OfCars.joined(found), days, limit.probability, limit.threshold
            )
            for place, found in parts.items()
        }

    def reached_by(self, variable: Variable) -> tuple[str, ...]:
        """Names of the limits and objectives that depend on a variable."""
        leaf = self.plan.program.leaves.get(variable.given.key)
        if leaf is None:
            return ()

        def depends(pairs: Sequence[tuple[str, str]]) -> bool:
            slots = [self.plan.program.outputs[pair] for pair in pairs]
            return any(leaf == slot or leaf in self.plan.program.upstream[slot] for slot in slots)

        limits = [limit.name for limit in self.limits if depends(limit.output.pairs)]
        return (*limits, *(objective.name for objective in self.objectives if depends(objective.wanted)))


def _without_words(limit: Limit) -> Limit:
    return replace(limit, why="", display_unit="")


def set_up(
    study: Study,
    variables: Sequence[Variable],
    *,
    samples: int,
    build: Build = AS_IT_STANDS,
    limits: Sequence[Limit] | None = None,
    objectives: Sequence[Objective] = (),
) -> Evaluator:
    """Compile the program for some variables.

    Parameters
    ----------
    limits:
        Limits to assess; by default all of the study.
    """
    limits = tuple(study.limits if limits is None else limits)
    wanted = [pair for limit in limits for pair in limit.output.pairs]
    wanted += [pair for objective in objectives for pair in objective.wanted]
    scopes = {name: _scope(study, build, variables, name) for name in study.conditions}
    plan = make_plan(study, wanted, scopes=scopes)
    surely = [pair for limit in limits if limit.sure is not None for pair in limit.output.pairs]
    return Evaluator(
        study,
        build,
        tuple(variables),
        limits,
        tuple(objectives),
        samples,
        plan,
        plan_of_cars=make_plan(study, surely, scopes=scopes) if surely else None,
    )


def _scope(study: Study, build: Build, variables: Sequence[Variable], condition: str) -> dict[str, Input]:
    common = {variable.name: variable.given for variable in variables}
    last = {variable.name: variable.given for variable in variables if variable.everywhere}
    return {**study.conditions[condition].over({**study.inputs, **build.overrides, **common}), **last}
