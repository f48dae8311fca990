"""A evaluator for builds: one compiled program, one set of samples, any values of the design variables.

The program is compiled once with the variables as leaves of their own; a point of the design only replaces
their values.  All points see the same samples (common random numbers), so that what differs between two
points is what the design does, not chance.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from explorer.design.objectives import Objective
from explorer.design.variables import Variable
from explorer.engine.fingerprint import inputs_digest
from explorer.engine.plan import Plan, chunk_sizes, make_plan
from explorer.estimators.assessment import Assessment, Requirement, assess
from explorer.graph.arrays import Array
from explorer.study.builds import AS_IT_STANDS, Build
from explorer.study.limits import Limit
from explorer.study.study import Input, Study

# Draws are kept for all points up to this many samples, beyond it they are drawn again for each.
MOST_HELD = 131_072
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

    """

    study: Study
    build: Build
    variables: tuple[Variable, ...]
    limits: tuple[Limit, ...]
    objectives: tuple[Objective, ...]
    samples: int
    plan: Plan
    draw: int = 0

    @property
    def requirements(self) -> tuple[Requirement, ...]:
        """What is asked of each limit."""
        return tuple(Requirement(one.name, one.probability, one.safety) for one in self.limits)

    @cached_property
    def settings(self) -> str:
        """Everything a result hangs on beside the study and the point."""
        variables = [(v.name, v.spread, v.everywhere, inputs_digest([v.given])) for v in self.variables]
        overrides = inputs_digest(self.build.overrides.values())
        limits = [_without_words(one) for one in self.limits]
        objectives = [
            (one.goal, one.output, one.limit and _without_words(one.limit)) for one in self.objectives
        ]
        return f"{variables} {overrides} {limits} {objectives} {self.samples} {self.draw}"

    @cached_property
    def _held(self) -> tuple[dict[str, Array], ...]:
        return tuple(self._drawn()) if self.samples <= MOST_HELD else ()

    def __getstate__(self) -> dict[str, Any]:
        # Draws are made where they are needed: they travel to no other process.
        return {name: value for name, value in self.__dict__.items() if name != "_held"}

    def _drawn(self) -> Iterator[dict[str, Array]]:
        for index, size in enumerate(chunk_sizes(self.samples)):
            yield self.plan.random_chunk(self.draw * DRAW_STRIDE + index, size)

    def outcomes(self, point: Sequence[float]) -> Iterator[dict[tuple[str, str], Array]]:
        """Evaluate one point, chunk by chunk."""
        for drawn in self._held or self._drawn():
            yield self.plan.evaluate({**drawn, **self._moved(drawn, point)})

    def _moved(self, drawn: Mapping[str, Array], point: Sequence[float]) -> dict[str, Array]:
        moved = {}
        for variable, value in zip(self.variables, point, strict=True):
            key = variable.given.key
            if key in self.plan.bounds:
                moved[key] = self.plan.possible(key, variable.at(value, drawn.get(key)))
        return moved

    def tried(self, point: Sequence[float]) -> tuple[Array, Array]:
        """Return margins, shape (limits, samples), and objectives, shape (objectives, samples)."""
        margins = np.empty((len(self.limits), self.samples))
        objectives = np.empty((len(self.objectives), self.samples))
        start = 0
        for size, found in zip(chunk_sizes(self.samples), self.outcomes(point), strict=True):
            part = slice(start, start + size)
            for k, limit in enumerate(self.limits):
                margins[k, part] = limit.margin_in(found)
            for k, objective in enumerate(self.objectives):
                objectives[k, part] = objective.values(found)
            start += size
        return margins, objectives

    def assess(self, point: Sequence[float]) -> Assessment:
        """Assess the build with these values of its variables."""
        margins, objectives = self.tried(point)
        return assess(margins, self.requirements, objectives)

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
    draw: int = 0,
) -> Evaluator:
    """Compile the program for some variables.

    Parameters
    ----------
    limits:
        Limits to assess; by default all of the study.
    draw:
        Which independent set of samples to use.

    """
    limits = tuple(study.limits if limits is None else limits)
    wanted = [pair for limit in limits for pair in limit.output.pairs]
    wanted += [pair for objective in objectives for pair in objective.wanted]
    scopes = {name: _scope(study, build, variables, name) for name in study.conditions}
    plan = make_plan(study, wanted, scopes=scopes)
    return Evaluator(study, build, tuple(variables), limits, tuple(objectives), samples, plan, draw)


def _scope(study: Study, build: Build, variables: Sequence[Variable], condition: str) -> dict[str, Input]:
    common = {variable.name: variable.given for variable in variables}
    last = {variable.name: variable.given for variable in variables if variable.everywhere}
    return {**study.conditions[condition].over({**study.inputs, **build.overrides, **common}), **last}
