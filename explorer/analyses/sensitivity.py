"""What drives each limit: the Sobol indices of every margin, all limits in one pass over one design.

A few replicates of all inputs tell which may lead.  More are drawn of these for the limits where something
must change, until their order is settled, wherever the replicates allowed can do that.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial

import numpy as np

from explorer.engine.execution import Execution
from explorer.engine.plan import Plan, make_plan
from explorer.engine.sampling import saltelli_columns
from explorer.estimators.sensitivity import (
    LEADING_SHARE,
    Sensitivity,
    indices_of_output,
)
from explorer.estimators.sobol_parts import Parts, answers, joined, ranks, replicate_parts
from explorer.graph.arrays import Array
from explorer.graph.variants import Moved
from explorer.study.correlations import correlated_groups
from explorer.study.distributions import StudentT
from explorer.study.limits import Limit
from explorer.study.study import Study

# So many replicates of all inputs tell which may lead; of these there are twice as many before a look, where
# the order matters.  So many are evaluated side by side, as a few cars cost nearly as much as many.
SCREENING = 4
FIRST_REPLICATES = 8
TOGETHER, ROWS_TOGETHER = 2, 512
# Each look at the order may by chance find one that is not there, so there are few of them.
MOST_LOOKS = 3
# With fewer readings an input's Student t lacks the moments that errors of shares rest on: of intervals of
# 95 %, 92 in 100 hold the truth with six readings, 88 with five, 71 with four (simulated).
FEWEST_READINGS = 7


@dataclass(frozen=True)
class Replicate:
    """One scramble, reduced: the parts of all indices, and those of having an answer, None where all have."""

    parts: Parts
    answered: Parts | None


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
    by_rank:
        Positions of the limits ranked by the margin's place among the cars: an input known from few readings
        lies upstream of them.
    pairs:
        Whether to prepare second-order indices.
    """

    plan: Plan
    limits: tuple[Limit, ...]
    groups: Mapping[str, tuple[str, ...]]
    rows: int
    reach: Mapping[str, tuple[int, ...]]
    by_rank: tuple[int, ...] = ()
    pairs: bool = False

    def groups_of(self, position: int) -> dict[str, tuple[str, ...]]:
        """Return the groups upstream of a limit."""
        return {name: keys for name, keys in self.groups.items() if position in self.reach[name]}

    def places_of(self, position: int) -> list[int]:
        """Return where these groups stand among all."""
        return [j for j, name in enumerate(self.groups) if position in self.reach[name]]

    def replicate(self, index: int) -> Array:
        """Return margins of one scramble: shape (rows, blocks, limits), in SALib's order of blocks."""
        return self._evaluated([index], sides=2)

    def one_sided(self, index: int) -> Array:
        """Return the same without the blocks BA and B: half the cost, enough to screen by."""
        return self._evaluated([index], sides=1)

    def changed_together(self, index: int, keys: Collection[str]) -> Array:
        """Return margins of A, and of A with these inputs drawn anew all at once: shape (rows, 2, limits)."""
        first, second = self._samples([index])
        every = tuple(range(len(self.limits)))
        return self._margins(first, [self._variant({key: second[key] for key in keys}, every)])

    def _evaluated(self, indices: Sequence[int], sides: int) -> Array:
        """Evaluate A, AB and, on two sides, BA and B; a limit that a block cannot change is copied.

        Rows of several scrambles stand one after the other.
        """
        drawn = self._samples(indices)
        # On two sides A and B stand one after the other, and what changes is taken each from the other.
        there, other = (
            {key: np.concatenate([drawn[side][key] for side in order]) for key in drawn[0]}
            for order in ((0, 1)[:sides], (1, 0)[:sides])
        )
        variants = [
            self._variant({key: other[key] for key in keys}, self.reach[name])
            for name, keys in self.groups.items()
        ]
        margins = self._margins(there, variants)
        if sides == 1:
            return margins
        ahead, behind = np.split(margins, 2)
        return np.concatenate([ahead, behind[:, 1:], behind[:, :1]], axis=1)

    def _variant(self, moved: Mapping[str, Array], limits: Sequence[int]) -> Moved:
        return Moved(moved, {pair for k in limits for pair in self.limits[k].output.pairs})

    def parts(self, indices: Sequence[int]) -> list[Replicate]:
        """Reduce scrambles, evaluated side by side, to the parts of their indices."""
        inputs, placed, found = len(self.groups), list(self.by_rank), []
        for evaluations in np.split(self._evaluated(indices, sides=2), len(indices)):
            evaluations[..., placed] = ranks(evaluations[..., placed])
            complete = bool(np.isfinite(evaluations).all())
            found.append(
                Replicate(
                    replicate_parts(evaluations, inputs, pairs=self.pairs),
                    None if complete else answers(evaluations, inputs),
                )
            )
        return found

    def _samples(self, indices: Sequence[int]) -> tuple[dict[str, Array], dict[str, Array]]:
        """Draw the two independent samples and map them onto the inputs once; mixed blocks pick columns."""
        power = self.rows.bit_length() - 1
        drawn = [saltelli_columns(self.plan.seed, self.plan.uncertain, index, power) for index in indices]
        first, second = (
            {name: np.concatenate([one[side][name] for one in drawn]) for name in drawn[0][side]}
            for side in (0, 1)
        )
        return self.plan.draw(first), self.plan.draw(second)

    def _margins(self, drawn: Mapping[str, Array], variants: Sequence[Moved]) -> Array:
        """Evaluate the limits on some rows and their variants: shape (rows, 1 + variants, limits)."""
        found = self.plan.evaluate_variants(drawn, variants)
        return np.stack([limit.margin_in(found).T for limit in self.limits], axis=2)


def make_design(
    study: Study,
    limits: Sequence[Limit] | None = None,
    leading: Mapping[str, Collection[str]] | None = None,
) -> Design:
    """Group the uncertain inputs upstream of any of the limits; correlated ones change together.

    Parameters
    ----------
    limits:
        By default all of the study.
    leading:
        By limit the groups to change; by default all upstream of it.
    """
    limits = tuple(study.limits if limits is None else limits)
    plan = make_plan(study, [pair for limit in limits for pair in limit.output.pairs])
    groups: dict[str, tuple[str, ...]] = {}
    for keys in correlated_groups(study.correlations):
        if any(key in plan.uncertain for key in keys):
            groups[" + ".join(keys)] = keys
    grouped = {key for keys in groups.values() for key in keys}
    # In the order of the file, so that fewer limits leave the order of what is left as it is.
    groups.update({one.key: (one.key,) for one in study.all_inputs() if one.key in plan.uncertain})
    groups = {name: keys for name, keys in groups.items() if name not in grouped}
    upstream = [keys_upstream(study, limit) for limit in limits]
    reach = {
        name: tuple(
            i
            for i, keys in enumerate(upstream)
            if keys & set(members) and (leading is None or name in leading[limits[i].name])
        )
        for name, members in groups.items()
    }
    groups = {name: keys for name, keys in groups.items() if reach[name]}
    rows, pairs = study.sensitivity_samples, study.sensitivity_pairs
    few = known_from_few_readings(study)
    by_rank = tuple(i for i, keys in enumerate(upstream) if keys & few)
    return Design(plan, limits, groups, rows, reach, by_rank, pairs)


def known_from_few_readings(study: Study) -> set[str]:
    """Return the keys of inputs whose spread has no size that samples could show: shares go by rank."""
    return {
        one.key
        for one in study.all_inputs()
        if isinstance(one.distribution, StudentT) and one.distribution.readings < FEWEST_READINGS
    }


def keys_upstream(study: Study, limit: Limit) -> set[str]:
    """Return the keys of the inputs, exact ones included, that can change a limit's margin."""
    keys: set[str] = set()
    for quantity, condition in limit.output.pairs:
        given = study.given_in(condition)
        names = study.graph.inputs_of(quantity, study.given_names(condition))
        keys.update(given[name].key for name in names if name in given)
    return keys


def run_sensitivity(
    study: Study,
    unmet: Collection[str] | None = None,
    *,
    execution: Execution | None = None,
) -> dict[str, Sensitivity]:
    """Rank what drives the margin of every limit.

    Parameters
    ----------
    unmet:
        Names of the limits whose order is worth settling, because something must change; by default all.
    execution:
        On which workers, and told to whom; the numbers do not depend on it.

    Returns
    -------
    dict
        Limit name -> indices, the leading input first.  Empty when no input is uncertain.
    """
    execution = execution or Execution()
    design = make_design(study)
    if not design.groups:
        return {}
    count = FIRST_REPLICATES if study.sensitivity_pairs else SCREENING
    replicates = _replicates(design, 0, count, execution)
    rankings = []
    for k, limit in enumerate(study.limits):
        places = design.places_of(k)
        parts = [one.parts.of(k, places) for one in replicates]
        answered = _of_answers(parts, [one.answered and one.answered.of(k, places) for one in replicates])
        rankings.append(_Ranked(limit, design.groups_of(k), joined(parts), k in design.by_rank, answered))
    matter = [one for one in rankings if unmet is None or one.limit.name in unmet]
    if count < FIRST_REPLICATES and matter:
        _sharpen(study, matter, count, FIRST_REPLICATES, execution)
    count = FIRST_REPLICATES
    for _ in range(1, MOST_LOOKS):
        needed = {one.limit.name: _replicates_needed(one.found) for one in matter}
        again = [one for one in matter if count < needed[one.limit.name] <= study.sensitivity_replicates]
        if not again:
            break
        start, count = count, max(needed[one.limit.name] for one in again)
        _sharpen(study, again, start, count, execution)
    return {one.limit.name: one.found for one in rankings}


def _replicates(design: Design, start: int, end: int, execution: Execution) -> list[Replicate]:
    """Reduce the replicates of a design from one to another."""
    # Four batches or more, for several workers; where replicates are many and short, many in one.
    size = max(TOGETHER, min(math.ceil((end - start) / 4), ROWS_TOGETHER // design.rows))
    batches = [range(first, min(first + size, end)) for first in range(start, end, size)]
    done = execution.in_order(partial(_parts, design, batches), len(batches), "what drives the limits")
    return [replicate for batch in done for replicate in batch]


def _sharpen(study: Study, rankings: Sequence[_Ranked], start: int, end: int, execution: Execution) -> None:
    """Draw further replicates of what leads some rankings; of everything where pairs are asked for."""
    leading = {one.limit.name: one.leading for one in rankings}
    limits = [one.limit for one in rankings]
    design = make_design(study, limits, None if study.sensitivity_pairs else leading)
    replicates = _replicates(design, start, end, execution)
    for k, one in enumerate(rankings):
        places = design.places_of(k)
        more = [replicate.parts.of(k, places) for replicate in replicates]
        if study.sensitivity_pairs:
            one.parts = joined([one.parts, *more])
        else:
            one.further += more


@dataclass
class _Ranked:
    """What is known of one limit: replicates of all its groups, and further ones of those that lead."""

    limit: Limit
    groups: Mapping[str, tuple[str, ...]]
    parts: Parts
    by_rank: bool
    answered: Parts | None
    further: list[Parts] = field(default_factory=list)

    @cached_property
    def leading(self) -> tuple[str, ...]:
        """Groups that may turn out to lead by the first replicates, and the next one to hold them against."""
        indices = self.found.indices
        may = [place for place, one in enumerate(indices) if one.total.high >= LEADING_SHARE]
        chosen = {one.name for one in indices[: max(may, default=0) + 2]}
        return tuple(name for name in self.groups if name in chosen)

    @property
    def found(self) -> Sensitivity:
        """Rank by all that is known."""
        return indices_of_output(
            self.parts,
            self.limit.name,
            self.groups,
            by_rank=self.by_rank,
            answered=self.answered,
            further=joined(self.further) if self.further else None,
            leading=self.leading if self.further else (),
        )


def _replicates_needed(found: Sensitivity) -> int:
    """Replicates in all that would settle the order, a tenth to spare: half-widths are estimates too."""
    if found.settled:
        return found.replicates
    return math.ceil(1.1 * found.replicates * found.samples_needed / max(found.samples, 1))


def _of_answers(parts: Sequence[Parts], answered: Sequence[Parts | None]) -> Parts | None:
    """Join the parts of having an answer; where every car of a replicate has one, nothing of that varies."""
    if not any(one.left_out.any() for one in parts):
        return None
    still = [replace(one, first=0 * one.first, total=0 * one.total, scale=0 * one.scale) for one in parts]
    return joined([one or other for one, other in zip(answered, still, strict=True)])


def _parts(design: Design, batches: Sequence[range], place: int) -> list[Replicate]:
    return design.parts(batches[place])
