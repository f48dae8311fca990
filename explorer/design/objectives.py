"""Objectives: what to want more or less of, or which limit to hold as surely as can be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from explorer.errors import StudyError, unknown, with_file, with_key
from explorer.graph.arrays import Array, Mask
from explorer.graph.units import parse
from explorer.results.exploration import ObjectiveRecord
from explorer.study.limits import Limit, Output
from explorer.study.schema import ObjectiveEntry
from explorer.study.study import Study
from explorer.study.throttle import check_throttle


@dataclass(frozen=True)
class Objective:
    """What to want more or less of (SI units).

    Exactly one of ``output`` (a quantity in a condition) and ``limit`` is given; the objective for a limit is
    the probability that it holds.
    """

    name: str
    goal: Literal["highest", "lowest"]
    output: Output | None
    limit: Limit | None
    unit: str
    display_unit: str

    @property
    def sign(self) -> float:
        """Plus one when more is better, else minus one."""
        return 1.0 if self.goal == "highest" else -1.0

    @property
    def words(self) -> str:
        """Say it in a few words."""
        return self.name if self.limit is not None else f"{self.goal} {self.name}"

    @property
    def wanted(self) -> tuple[tuple[str, str], ...]:
        """(quantity, condition) pairs it takes."""
        return self.of.pairs

    @property
    def of(self) -> Output:
        """What it is about: its own output, or that of the limit to hold."""
        if self.output is not None:
            return self.output
        assert self.limit is not None  # one of the two is given
        return self.limit.output

    def values(self, found: Mapping[tuple[str, str], Array]) -> Array:
        """Values in their own unit, sample by sample; for a limit one where it holds, else zero."""
        values = self.of.value(found)
        return values if self.limit is None else (self.limit.margin(values) >= 0).astype(float)


def read_objectives(study: Study) -> tuple[Objective, ...]:
    """Read the objectives of a study.

    Raises
    ------
    StudyError
        When an objective names what is unknown or cannot be computed, or two have one name.
    """
    with with_file(str(study.path)):
        objectives = tuple(
            _objective(study, entry, position) for position, entry in enumerate(study.entries.objectives)
        )
        names = [objective.name for objective in objectives]
        doubled = next((name for name in names if names.count(name) > 1), None)
        if doubled:
            raise StudyError(
                "two objectives have the same name", key="objectives", found=doubled, remedy="name them apart"
            )
    return objectives


def record_of_objective(objective: Objective) -> ObjectiveRecord:
    """Describe an objective for the results."""
    return ObjectiveRecord(
        objective.name, objective.words, objective.goal, objective.unit, objective.display_unit
    )


def find_limit(study: Study, name: str, key: str) -> Limit:
    """Return the limit of a name.

    Raises
    ------
    StudyError
        When no limit is called so.
    """
    for limit in study.limits:
        if limit.name == name:
            return limit
    names = [limit.name for limit in study.limits]
    raise unknown("no limit is called so", name, names, key, allowed="; ".join(names))


def _objective(study: Study, entry: ObjectiveEntry, position: int) -> Objective:
    key = f"objectives[{position + 1}]"
    if entry.limit is not None:
        limit = find_limit(study, entry.limit, f"{key}.limit")
        return Objective(entry.name or f"surest: {limit.name}", "highest", None, limit, "1", "%")
    assert entry.quantity is not None
    assert entry.condition is not None  # the schema holds both
    output = Output(entry.quantity, entry.condition, entry.minus)
    _check_computable(study, output, key)
    name = entry.name or f"{entry.quantity.replace('_', ' ')}, {study.conditions[entry.condition].words}"
    unit = study.graph[entry.quantity].unit
    return Objective(name, entry.goal, output, None, unit, study.unit_of(entry.quantity))


def _check_computable(study: Study, output: Output, key: str) -> None:
    unknown = next((name for _, name in output.pairs if name not in study.conditions), None)
    if unknown:
        raise StudyError(
            f"no condition is called {unknown!r}",
            key=f"{key}.condition",
            found=unknown,
            allowed=", ".join(study.conditions),
        )
    with with_key(f"{key}.quantity"):
        for quantity, condition in output.pairs:
            check_throttle(study, quantity, condition, f"{key}.quantity")
            study.graph.require([quantity], study.given_names(condition))


@dataclass(frozen=True)
class Payoff:
    """What a car brings: the objective's score, or a fixed score for one that breaks a limit.

    Without an objective it is one for a car that holds every limit, and zero for another.
    """

    objective: Objective | None
    broken: float

    @property
    def words(self) -> str:
        """Say what is reckoned."""
        if self.objective is None:
            return "the chance that the build chosen meets every limit"
        return f"{self.objective.words} (a car that misses a limit counts with the value given for it)"

    def of(self, scores: Array | None, holds_all: Mask) -> Array:
        """Payoff sample by sample, always finite.

        Parameters
        ----------
        scores:
            Scores of the objective; None without one.
        holds_all:
            True where every limit holds.
        """
        if scores is None:
            return holds_all.astype(float)
        return np.where(holds_all & np.isfinite(scores), scores, self.broken)


def read_payoff(study: Study, objectives: tuple[Objective, ...]) -> Payoff:
    """Read what the choice between candidates goes by.

    Raises
    ------
    StudyError
        When it names no objective of the study, or its value has no proper unit.
    """
    entry = study.entries.decision
    if entry is None:
        return Payoff(None, 0.0)
    with with_file(str(study.path)):
        objective = next((objective for objective in objectives if objective.name == entry.objective), None)
        if objective is None:
            raise StudyError(
                "no objective is called so",
                key="decision.objective",
                found=entry.objective,
                allowed="; ".join(objective.name for objective in objectives) or "none is defined",
                remedy="name it under [[objectives]]",
            )
        with with_key("decision.broken_limit_counts_as"):
            value, _ = parse(entry.broken_limit_counts_as, entry.unit, objective.unit)
    return Payoff(objective, objective.sign * value)
