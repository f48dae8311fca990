"""Several builds tried in the same samples: their values, margins and scores side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from explorer.design.objectives import Aim
from explorer.engine.montecarlo import Output
from explorer.engine.plan import margin_inside
from explorer.estimators.paired_comparison import Better
from explorer.graph.arrays import Array, Mask
from explorer.results.comparison import Subject
from explorer.study.builds import Build, place
from explorer.study.study import Limit, Study

if TYPE_CHECKING:
    import pandas as pd


def outputs_of(study: Study, aims: Sequence[Aim]) -> tuple[Output, ...]:
    """List what is kept of each sample: the limited values, then what the aims are about."""
    return tuple(dict.fromkeys([*map(output_of, study.limits), *(aim.output for aim in aims if aim.output)]))


def output_of(limit: Limit) -> Output:
    """Return the value a limit is held against."""
    return Output(limit.quantity, limit.condition, limit.minus)


def of_build(output: Output, build: Build) -> Output:
    """Return an output as it stands in the conditions of one build."""
    minus = None if output.minus is None else place(build.name, output.minus)
    return Output(output.quantity, place(build.name, output.condition), minus)


def wanted_of(builds: Sequence[Build], outputs: Sequence[Output]) -> list[tuple[str, str]]:
    """List the (quantity, condition of a build) pairs behind the outputs of all builds."""
    own = [of_build(output, build) for build in builds for output in outputs]
    return [(one.quantity, where) for one in own for where in (one.condition, one.minus) if where]


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
    aims: tuple[Aim, ...]
    outputs: tuple[Output, ...]
    values: Array

    def _of(self, output: Output) -> Array:
        return self.values[:, self.outputs.index(output)]

    def margins_of(self, limit: Limit) -> Array:
        """Margins of one limit: shape (builds, samples)."""
        return margin_inside(limit, self._of(output_of(limit)))

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
        """Scores of the aims, more is better: shape (builds, aims, samples)."""
        rows = [self.score(aim) for aim in self.aims]
        return np.stack(rows, axis=1) if rows else np.empty((len(self.builds), 0, self.values.shape[2]))

    def score(self, aim: Aim) -> Array:
        """Score of one aim: shape (builds, samples)."""
        if aim.output is not None:
            return aim.sign * self._of(aim.output)
        assert aim.limit is not None  # one of the two is given
        return (self.margins_of(aim.limit) >= 0).astype(float)

    @cached_property
    def subjects(self) -> dict[Output, Subject]:
        """What is compared, once each: the limited quantities, then those of the aims."""
        found: dict[Output, Subject] = {}
        for limit in self.study.limits:
            unit = self.study.graph[limit.quantity].unit
            better: Better = "lower" if limit.at_least is None else "higher"
            both = limit.at_least is not None and limit.at_most is not None
            subject = Subject(limit.name, *_where(output_of(limit)), unit, limit.display_unit, better, both)
            found.setdefault(output_of(limit), subject)
        for aim in self.aims:
            if aim.output is not None:
                better = "higher" if aim.goal == "highest" else "lower"
                subject = Subject(aim.name, *_where(aim.output), aim.unit, aim.display_unit, better, False)
                found.setdefault(aim.output, subject)
        return found

    def compared(self, output: Output) -> Array:
        """Return what a subject is compared by, its value or its margin: shape (builds, samples)."""
        if not self.subjects[output].by_margin:
            return self._of(output)
        limit = next(limit for limit in self.study.limits if output_of(limit) == output)
        return self.margins_of(limit)

    def frame(self) -> pd.DataFrame:
        """Return the values as a data frame: one row a sample, one column a build and output."""
        import pandas as pd

        return pd.DataFrame(
            {
                f"{build.name} | {output.column}": self.values[k, o]
                for k, build in enumerate(self.builds)
                for o, output in enumerate(self.outputs)
            }
        )


def _where(output: Output) -> tuple[str, str, str | None]:
    return output.quantity, output.condition, output.minus
