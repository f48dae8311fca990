"""What drives each limit: the Sobol indices of every margin, all limits in one pass over one design."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial

import numpy as np

from explorer.engine import (
    CHUNK,
    Plan,
    Progress,
    correlated_groups,
    in_order,
    make_plan,
    margin_of,
    no_progress,
)
from explorer.quantity import Array
from explorer.sampling import saltelli_blocks, saltelli_columns
from explorer.sensitivity import (
    Parts,
    Sensitivity,
    cross_check_with_salib,
    indices_from_parts,
    replicate_parts,
)
from explorer.study import Limit, Study

REPLICATES = 8


@dataclass(frozen=True)
class Design:
    """The evaluations to make: groups of inputs that change together, rows a replicate, and the plan."""

    plan: Plan
    limits: tuple[Limit, ...]
    groups: Mapping[str, tuple[str, ...]]
    rows: int

    def replicate(self, index: int) -> Array:
        """Return margins of one scramble: shape (rows, blocks, limits), in SALib's order of blocks."""
        first, second = self._samples(index)
        blocks = saltelli_blocks(first, second, self.groups)
        columns = {key: np.concatenate([block[key] for block in blocks]) for key in first}
        return self._margins(columns).reshape(len(blocks), self.rows, -1).swapaxes(0, 1)

    def _samples(self, index: int) -> tuple[dict[str, Array], dict[str, Array]]:
        """Draw the two independent samples and map them onto the inputs once; mixed blocks pick columns."""
        power = self.rows.bit_length() - 1
        first, second = saltelli_columns(self.plan.seed, self.plan.uncertain, index, power)
        return self.plan.draw(first), self.plan.draw(second)

    def _margins(self, columns: Mapping[str, Array]) -> Array:
        """Evaluate the margins chunk by chunk: shape (all rows, limits)."""
        total = next(iter(columns.values())).size
        pieces = []
        for start in range(0, total, CHUNK):
            found = self.plan.evaluate(
                {key: values[start : start + CHUNK] for key, values in columns.items()}
            )
            pieces.append(np.stack([margin_of(limit, found) for limit in self.limits], axis=1))
        return np.concatenate(pieces)


def make_design(study: Study) -> Design:
    """Group the uncertain inputs upstream of any limit; correlated ones change together."""
    wanted = [(limit.quantity, c) for limit in study.limits for c in (limit.condition, limit.minus) if c]
    plan = make_plan(study, wanted)
    groups: dict[str, tuple[str, ...]] = {}
    for keys in correlated_groups(study.correlations):
        if any(key in plan.uncertain for key in keys):
            groups[" + ".join(keys)] = keys
    grouped = {key for keys in groups.values() for key in keys}
    groups.update({key: (key,) for key in plan.uncertain if key not in grouped})
    return Design(plan, study.limits, groups, study.sensitivity_samples)


def reaching(study: Study, design: Design) -> dict[str, tuple[str, ...]]:
    """For each limit, the groups that lie upstream of it."""
    found: dict[str, tuple[str, ...]] = {}
    for limit in design.limits:
        keys: set[str] = set()
        for condition in (limit.condition, limit.minus):
            if condition:
                given = study.given_in(condition)
                names = study.graph.inputs_of(limit.quantity, study.given_names(condition))
                keys.update(given[name].key for name in names if name in given)
        found[limit.name] = tuple(group for group, members in design.groups.items() if keys & set(members))
    return found


def run_drivers(
    study: Study,
    *,
    workers: int | None = None,
    executor: Executor | None = None,
    progress: Progress = no_progress,
) -> dict[str, Sensitivity]:
    """Rank what drives the margin of every limit.

    Returns
    -------
    dict
        Limit name -> indices, the leading input first.  Empty when no input is uncertain.
    """
    design = make_design(study)
    if not design.groups:
        return {}
    parts: list[Parts] = []
    cross_checks: tuple[float | None, ...] | None = None
    names = tuple(design.groups)
    jobs = in_order(
        partial(_replicate, design),
        REPLICATES,
        workers=workers,
        executor=executor,
        progress=lambda done: progress("what drives the limits", done, REPLICATES),
    )
    for evaluations in jobs:
        if cross_checks is None:
            cross_checks = cross_check_with_salib(evaluations, names)
        parts.append(replicate_parts(evaluations, len(names)))
    found = indices_from_parts(
        parts,
        names,
        [limit.name for limit in design.limits],
        members=design.groups,
        reaching=reaching(study, design),
        estimator="azzini",
        cross_checks=cross_checks,
    )
    return {one.output: one for one in found}


def _replicate(design: Design, index: int) -> Array:
    return design.replicate(index)
