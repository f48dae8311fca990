"""How sure is a limit: cars and days drawn apart, on the study's own graph, where a limit asks ``sure``."""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial

import numpy as np

from explorer.engine.plan import CHUNK, Plan, Progress, in_order, make_plan, no_progress
from explorer.engine.sampling import random_column
from explorer.errors import StudyError
from explorer.estimators.two_levels import OfCars, Sureness, how_sure
from explorer.study.limits import Limit
from explorer.study.study import Study


@dataclass(frozen=True)
class _Levels:
    """Draws some cars with all their days, and reduces the margin of each limit."""

    plan: Plan
    limits: tuple[Limit, ...]
    varying: frozenset[str]
    cars: int
    days: int

    @property
    def at_once(self) -> int:
        """Cars in a chunk."""
        return max(1, CHUNK // self.days)

    def part(self, chunk: int) -> tuple[OfCars, ...]:
        """Do the cars of one chunk."""
        cars = min(self.at_once, self.cars - chunk * self.at_once)
        uniforms = {
            stream: random_column(self.plan.seed, f"{stream} of a day", chunk, cars * self.days)
            if stream in self.varying
            else np.repeat(random_column(self.plan.seed, f"{stream} of a car", chunk, cars), self.days)
            for stream in self.plan.streams
        }
        values = self.plan.evaluate(self.plan.draw(uniforms))
        shape = (cars, self.days)
        found = (np.broadcast_to(limit.margin_in(values), cars * self.days) for limit in self.limits)
        return tuple(OfCars.of(margins.reshape(shape)) for margins in found)


def sureness_of(
    study: Study,
    *,
    workers: int | None = None,
    executor: Executor | None = None,
    progress: Progress = no_progress,
) -> dict[str, Sureness]:
    """Judge the limits that ask ``sure``, by name; nothing is drawn where none does.

    Raises
    ------
    StudyError
        When a correlation ties what varies from run to run to what does not.
    """
    limits = tuple(limit for limit in study.limits if limit.sure is not None)
    if not limits:
        return {}
    plan = make_plan(study, [pair for limit in limits for pair in limit.output.pairs])
    varying = frozenset(given.stream for given in plan.uncertain.values() if given.varies)
    settings = study.entries.study
    levels = _Levels(plan, limits, varying, settings.cars, settings.days)
    chunks = -(-levels.cars // levels.at_once)
    parts = list(
        in_order(
            partial(_part, levels),
            chunks,
            workers=workers,
            executor=executor,
            progress=lambda done: progress("cars and their days", done, chunks),
        )
    )
    return {
        limit.name: how_sure(
            OfCars.joined([part[place] for part in parts]), levels.days, limit.probability, limit.sure or 0.0
        )
        for place, limit in enumerate(limits)
    }


def _part(levels: _Levels, chunk: int) -> tuple[OfCars, ...]:
    return levels.part(chunk)


def check_kinds_apart(study: Study) -> None:
    """Refuse, where a limit asks ``sure``, a correlation between an input of the day and one of the car.

    Raises
    ------
    StudyError
    """
    if all(limit.sure is None for limit in study.limits):
        return
    for place, one in enumerate(study.correlations, start=1):
        varies = {name: study.inputs[name].varies for name in (one.first, one.second)}
        if len(set(varies.values())) > 1:
            day, car = sorted(varies, key=lambda name: not varies[name])
            raise StudyError(
                "what varies from run to run cannot go with what has one true value, where a limit asks sure",
                file=str(study.path),
                key=f"correlations[{place}]",
                found=f"{day}, which varies, and {car}",
                remedy="leave the correlation out, or say varies at both of them alike",
            )
