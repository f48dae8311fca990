"""What drives each limit: the Sobol indices of every margin, all limits in one pass over one design."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
from explorer.estimators.sensitivity import (
    Parts,
    Sensitivity,
    cross_check_with_salib,
    indices_from_parts,
    replicate_parts,
)
from explorer.quantity import Array
from explorer.sampling import saltelli_blocks, saltelli_columns
from explorer.study import Limit, Study

REPLICATES = 8


@dataclass(frozen=True)
class Design:
    """The evaluations to make.

    Attributes
    ----------
    plan:
        Draws every uncertain input upstream of any limit.
    limits:
        In the order of the file.
    groups:
        Name -> inputs that change together.
    rows:
        Rows a replicate.
    reach:
        Group -> positions of the limits that lie downstream of it.
    partial_plans:
        Evaluates just some limits: a block that changes one group leaves the others as they are.
    """

    plan: Plan
    limits: tuple[Limit, ...]
    groups: Mapping[str, tuple[str, ...]]
    rows: int
    reach: Mapping[str, tuple[int, ...]]
    partial_plans: Mapping[tuple[int, ...], Plan]

    def replicate(self, index: int) -> Array:
        """Return margins of one scramble: shape (rows, blocks, limits), in SALib's order of blocks."""
        first, second = self._samples(index)
        blocks = saltelli_blocks(first, second, self.groups)
        everything = tuple(range(len(self.limits)))
        whole = self._margins([blocks[0], blocks[-1]], everything)
        count = len(self.groups)
        margins = np.stack([whole[0], *[whole[0]] * count, *[whole[1]] * count, whole[1]], axis=1)
        for reached in dict.fromkeys(self.reach.values()):
            places = [1 + i for i, name in enumerate(self.groups) if self.reach[name] == reached]
            places += [place + count for place in places]
            changed = self._margins([blocks[place] for place in places], reached)
            for place, values in zip(places, changed, strict=True):
                margins[:, place, reached] = values
        return margins

    def parts(self, index: int) -> tuple[Parts, tuple[float | None, ...] | None]:
        """Reduce one scramble to the parts of its indices; the first is held against SALib too."""
        evaluations, names = self.replicate(index), tuple(self.groups)
        checked = cross_check_with_salib(evaluations, names) if index == 0 else None
        return replicate_parts(evaluations, len(names)), checked

    def _samples(self, index: int) -> tuple[dict[str, Array], dict[str, Array]]:
        """Draw the two independent samples and map them onto the inputs once; mixed blocks pick columns."""
        power = self.rows.bit_length() - 1
        first, second = saltelli_columns(self.plan.seed, self.plan.uncertain, index, power)
        return self.plan.draw(first), self.plan.draw(second)

    def _margins(self, blocks: Sequence[Mapping[str, Array]], limits: tuple[int, ...]) -> list[Array]:
        """Evaluate some limits on some blocks, chunk by chunk: one array (rows, limits) a block."""
        plan = self.partial_plans[limits]
        columns = {key: np.concatenate([block[key] for block in blocks]) for key in plan.uncertain}
        pieces = []
        for start in range(0, len(blocks) * self.rows, CHUNK):
            found = plan.evaluate({key: values[start : start + CHUNK] for key, values in columns.items()})
            pieces.append(np.stack([margin_of(self.limits[i], found) for i in limits], axis=1))
        return np.split(np.concatenate(pieces), len(blocks))


def make_design(study: Study) -> Design:
    """Group the uncertain inputs upstream of any limit; correlated ones change together."""
    plan = _plan_for(study, study.limits)
    groups: dict[str, tuple[str, ...]] = {}
    for keys in correlated_groups(study.correlations):
        if any(key in plan.uncertain for key in keys):
            groups[" + ".join(keys)] = keys
    grouped = {key for keys in groups.values() for key in keys}
    groups.update({key: (key,) for key in plan.uncertain if key not in grouped})
    upstream = [keys_upstream(study, limit) for limit in study.limits]
    reach = {
        name: tuple(i for i, keys in enumerate(upstream) if keys & set(members))
        for name, members in groups.items()
    }
    everything = tuple(range(len(study.limits)))
    partial_plans = {
        limits: _plan_for(study, [study.limits[i] for i in limits])
        for limits in {*reach.values(), everything}
    }
    return Design(plan, study.limits, groups, study.sensitivity_samples, reach, partial_plans)


def _plan_for(study: Study, limits: Sequence[Limit]) -> Plan:
    return make_plan(
        study, [(limit.quantity, c) for limit in limits for c in (limit.condition, limit.minus) if c]
    )


def keys_upstream(study: Study, limit: Limit) -> set[str]:
    """Return the keys of the inputs, exact ones included, that can change a limit's margin."""
    keys: set[str] = set()
    for condition in (limit.condition, limit.minus):
        if condition:
            given = study.given_in(condition)
            names = study.graph.inputs_of(limit.quantity, study.given_names(condition))
            keys.update(given[name].key for name in names if name in given)
    return keys


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
    names = tuple(design.groups)
    done = list(
        in_order(
            partial(_parts, design),
            REPLICATES,
            workers=workers,
            executor=executor,
            progress=lambda done: progress("what drives the limits", done, REPLICATES),
        )
    )
    found = indices_from_parts(
        [parts for parts, _ in done],
        names,
        [limit.name for limit in design.limits],
        members=design.groups,
        reaching={
            limit.name: [name for name, limits in design.reach.items() if i in limits]
            for i, limit in enumerate(design.limits)
        },
        estimator="azzini",
        cross_checks=done[0][1],
    )
    return {one.output: one for one in found}


def _parts(design: Design, index: int) -> tuple[Parts, tuple[float | None, ...] | None]:
    return design.parts(index)
