"""Several builds tried in the same samples: their values, margins and scores side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from explorer.design.objectives import Objective
from explorer.estimators.paired_comparison import Better
from explorer.graph.arrays import Array, Mask
from explorer.results.comparison import Subject
from explorer.study.builds import Build, place
from explorer.study.limits import Limit, Output
from explorer.study.study import Study


def outputs_of(study: Study, objectives: Sequence[Objective]) -> tuple[Output, ...]:
    """List what is kept of each sample: the limited values, then what the objectives are about."""
    return tuple(
        dict.fromkeys(
            [
                *(limit.output for limit in study.limits),
                *(objective.output for objective in objectives if objective.output),
            ]
        )
    )


def of_build(output: Output, build: Build) -> Output:
    """Return an output as it stands in the conditions of one build."""
    minus = None if output.minus is None else place(build.name, output.minus)
    return Output(output.quantity, place(build.name, output.condition), minus)


def wanted_of(builds: Sequence[Build], outputs: Sequence[Output]) -> list[tuple[str, str]]:
    """List the (quantity, condition of a build) pairs behind the outputs of all builds."""
    own = [of_build(output, build) for build in builds for output in outputs]
    return [pair for one in own for pair in one.pairs]


@dataclass(frozen=True)
class SideBySide:
    """Values of all builds in all samples.

    Attributes
    ----------
    values:
        Shape (builds, outputs, samples), in SI units; NaN has no answer.
    """

    study: Study
    builds: tuple[Build, ...]
    objectives: tuple[Objective, ...]
    outputs: tuple[Output, ...]
    values: Array

    def _of(self, output: Output) -> Array:
        return self.values[:, self.outputs.index(output)]

    def margins_of(self, limit: Limit) -> Array:
        """Margins of one limit: shape (builds, samples)."""
        return limit.margin(self._of(limit.output))

    @cached_property
    def margins(self) -> Array:
        """Margins of all limits: shape (builds, limits, samples)."""
        return np.stack([self.margins_of(limit) for limit in self.study.limits], axis=1)

    @cached_property
    def holds(self) -> Mask:
        """True where a limit holds; no answer counts against it: shape (builds, limits, samples)."""
        holds: Mask = self.margins >= 0
        return holds

    @cached_property
    def all_hold(self) -> Mask:
        """True where every limit holds: shape (builds, samples)."""
        every: Mask = np.all(self.holds, axis=1)
        return every

    @cached_property
    def scores(self) -> Array:
        """Scores of the objectives, more is better: shape (builds, objectives, samples)."""
        rows = [self.score(objective) for objective in self.objectives]
        return np.stack(rows, axis=1) if rows else np.empty((len(self.builds), 0, self.values.shape[2]))

    def score(self, objective: Objective) -> Array:
        """Score of one objective: shape (builds, samples)."""
        if objective.output is not None:
            return objective.sign * self._of(objective.output)
        assert objective.limit is not None  # one of the two is given
        return (self.margins_of(objective.limit) >= 0).astype(float)

    @cached_property
    def subjects(self) -> dict[Output, Subject]:
        """What is compared, once each: the limited quantities, then those of the objectives."""
        found: dict[Output, Subject] = {}
        for limit in self.study.limits:
            unit = self.study.graph[limit.output.quantity].unit
            better: Better = "lower" if math.isinf(limit.low) else "higher"
            both = math.isfinite(limit.low) and math.isfinite(limit.high)
            subject = _subject(limit.name, limit.output, unit, limit.display_unit, better, both)
            found.setdefault(limit.output, subject)
        for objective in self.objectives:
            if objective.output is not None:
                better = "higher" if objective.goal == "highest" else "lower"
                subject = _subject(
                    objective.name, objective.output, objective.unit, objective.display_unit, better, False
                )
                found.setdefault(objective.output, subject)
        return found

    def compared(self, output: Output) -> Array:
        """Return what a subject is compared by, its value or its margin: shape (builds, samples)."""
        if not self.subjects[output].by_margin:
            return self._of(output)
        limit = next(limit for limit in self.study.limits if limit.output == output)
        return self.margins_of(limit)

    def columns(self) -> dict[str, Array]:
        """Return the values, one column a build and output."""
        return {
            f"{build.name} | {output.column}": self.values[k, o]
            for k, build in enumerate(self.builds)
            for o, output in enumerate(self.outputs)
        }


def _subject(
    label: str, output: Output, unit: str, display_unit: str, better: Better, by_margin: bool
) -> Subject:
    return Subject(
        **vars(output), label=label, unit=unit, display_unit=display_unit, better=better, by_margin=by_margin
    )
