"""Which inputs drive an output: Sobol indices of all outputs in one pass, with honest intervals.

The design is two independent samples A and B of all inputs, and for each input (or group of correlated
inputs) the rows of A with that one taken from B, called AB, and the other way round, called BA.  Each
scramble of a Sobol design is one replicate, and intervals come from the scatter between replicates by
Student's t.  Source of the formulas: Azzini, Mara & Rosati 2021.

Every estimate is a ratio, variance explained over variance, so the replicates' parts are averaged before they
are divided, and the error follows from the residuals of the ratio (Cochran, Sampling Techniques, 2.11).
A replicate in which a rare output never varied then weighs nothing, where a mean of ratios would not exist.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np
from scipy.special import stdtrit

from explorer.errors import SampleError
from explorer.estimators.conformance import CONFIDENCE
from explorer.estimators.sobol_parts import Parts, joined
from explorer.graph.arrays import Array, Mask
from explorer.graph.written import chance

# Totals below this share of the variance are not worth an order of their own.
LEADING_SHARE = 0.05
# Totals shown to lie as near as this to each other are as good as equal.
ALIKE = 0.02
# Left-out rows above this share make the indices those of a different population.
MANY_LEFT_OUT = 0.05
# Pairs that answer together for less than this share are not worth naming.
WORTH_NAMING = 0.01
# An output that differs from its usual value in fewer evaluations than this is rare.
FEW_DIFFERENT = 100
FEW_READINGS = (
    "an input is known from so few readings that its spread has no size that samples could show: shares are "
    "of the margin's place among the cars, not of its spread"
)


@dataclass(frozen=True)
class Estimate:
    """A value with the lower and upper end of its interval; not clipped to what is possible."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Index:
    """How much of an output's variance one input, or one group of correlated inputs, answers for.

    Attributes
    ----------
    name, members:
        The input or group, and the inputs in it.
    first:
        First-order index: share of the variance that would go were this input known.
    total:
        Total index: share that involves this input, alone or together with others.
    tied_with:
        Those whose total cannot be told from this one's.
    rank:
        One more than the number of inputs whose total is higher beyond doubt: tied inputs share a rank.
    known_alone:
        For each member of a correlated group the share that would go were it known, with all it tells about
        the others (``explorer.estimators.given_data``); largest first.
    """

    name: str
    members: tuple[str, ...]
    first: Estimate
    total: Estimate
    tied_with: tuple[str, ...]
    rank: int
    known_alone: tuple[tuple[str, Estimate], ...] = ()


@dataclass(frozen=True)
class Pair:
    """Share of the variance that two inputs answer for only together (second-order index)."""

    names: tuple[str, str]
    value: Estimate


@dataclass(frozen=True)
class Sensitivity:
    """Ranking of the inputs of one output.

    Attributes
    ----------
    output:
        Its name.
    indices:
        Leading input first.
    pairs:
        Second-order indices, largest first; empty unless asked for.
    samples, replicates, left_out:
        Base rows used in all, in how many independent replicates, and rows removed over all blocks because
        one of their evaluations was not a finite number.
    variance:
        Of the output.
    settled:
        True when more samples would not change the order of the leading inputs.
    samples_needed:
        About how many base rows in all would settle it; what there is, where it is settled.
    note:
        What a reader must know; empty when nothing is out of the ordinary.
    by_rank:
        Whether shares are of the spread of the output's place among the cars, not of its own: an input known
        from few readings has tails so heavy that its variance, or the error of that, does not exist.
    unanswered, behind_no_answer:
        Share of the cars without an answer, and what drives whether there is one, leading input first.
    """

    output: str
    indices: tuple[Index, ...]
    pairs: tuple[Pair, ...]
    samples: int
    replicates: int
    left_out: int
    variance: float
    settled: bool
    note: str
    samples_needed: int = 0
    by_rank: bool = False
    unanswered: float = 0.0
    behind_no_answer: tuple[Index, ...] = ()

    @property
    def varies(self) -> bool:
        """Whether there is anything to rank: an output that never varied has no leading input."""
        return bool(self.indices) and self.variance > 0

    @property
    def pairs_that_matter(self) -> tuple[Pair, ...]:
        """Pairs whose share is above zero beyond doubt, and worth naming."""
        return tuple(one for one in self.pairs if one.value.low > 0 and one.value.value >= WORTH_NAMING)


def indices_of_output(
    parts: Parts,
    output: str,
    groups: Mapping[str, tuple[str, ...]],
    *,
    confidence: float = CONFIDENCE,
    by_rank: bool = False,
    answered: Parts | None = None,
    further: Parts | None = None,
    leading: Sequence[str] = (),
) -> Sensitivity:
    """Estimate the first-order and total indices of one output from the parts of its replicates.

    Parameters
    ----------
    parts:
        Of this output alone (``Parts.of``), two or more replicates ``joined``.
    output, groups:
        Its name; its inputs or groups in the order of the parts, with the members of each.
    confidence:
        Of the intervals.
    by_rank:
        Whether the parts are those of ``ranks``.
    answered:
        Parts of whether there is an answer, from ``answers``, where some cars have none.
    further, leading:
        More replicates, in which only these were changed.

    Raises
    ------
    SampleError
        When there is one replicate only.
    """
    firsts, totals = _both(parts, confidence)
    every = parts.only(())
    if further is not None:
        places = [list(groups).index(name) for name in leading]
        more = joined([parts.only(places), further])
        firsts, totals = (
            few.refined(many, places)
            for few, many in zip((firsts, totals), _both(more, confidence), strict=True)
        )
        every = joined([every, further.only(())])
    rows, growth = int(every.rows.sum()), _growth_to_settle(totals)
    return Sensitivity(
        output=output,
        indices=_ranked(firsts, totals, groups),
        pairs=_pairs(parts, confidence, list(groups)),
        samples=rows,
        replicates=len(every.rows),
        left_out=int(every.left_out.sum()),
        variance=float(every.variance.mean()),
        settled=growth == 1,
        note=_note(every, growth == 1, by_rank),
        samples_needed=math.ceil(rows * growth),
        by_rank=by_rank,
        unanswered=_unanswered(every),
        behind_no_answer=_leading(answered, confidence, groups),
    )


def _unanswered(parts: Parts) -> float:
    return float(parts.unanswered.sum() / max(2 * (parts.rows.sum() + parts.left_out.sum()), 1))


def _leading(
    answered: Parts | None, confidence: float, groups: Mapping[str, tuple[str, ...]]
) -> tuple[Index, ...]:
    """Rank what drives whether there is an answer; only what does so beyond doubt."""
    if answered is None:
        return ()
    firsts, totals = _both(answered, confidence)
    return tuple(index for index in _ranked(firsts, totals, groups) if index.total.low > 0)


@dataclass(frozen=True)
class Scattered:
    """Some indices of one output, and how far they can be off.

    Attributes
    ----------
    values, halves:
        The indices and the half-widths of their intervals, shape (indices,).
    apart, apart_halves:
        Differences of any two and the half-widths of their intervals, both from the same rows, shape
        (indices, indices).
    """

    values: Array
    halves: Array
    apart: Array
    apart_halves: Array

    def estimates(self) -> list[Estimate]:
        """List the indices with their intervals."""
        return [
            Estimate(float(value), float(value - half), float(value + half))
            for value, half in zip(self.values, self.halves, strict=True)
        ]

    def refined(self, better: Scattered, places: Sequence[int]) -> Scattered:
        """Put what is known better of some in its places; any two are held together in rows of both."""
        found = Scattered(*(getattr(self, one.name).copy() for one in fields(Scattered)))
        found.values[places], found.halves[places] = better.values, better.halves
        square = np.ix_(places, places)
        found.apart[square], found.apart_halves[square] = better.apart, better.apart_halves
        return found


def _both(parts: Parts, confidence: float) -> tuple[Scattered, Scattered]:
    """Estimate first-order and total indices."""
    return (
        _scattered(parts.first, parts.scale, confidence),
        _scattered(parts.total, parts.scale, confidence),
    )


def _scattered(top: Array, bottom: Array, confidence: float) -> Scattered:
    """Ratios of means over replicates; errors follow from the scatter of their residuals."""
    replicates = len(top)
    if replicates < 2:
        raise SampleError("one replicate has no spread", found="1 replicate", allowed="2 or more")
    factor = float(stdtrit(replicates - 1, (1 + confidence) / 2)) / math.sqrt(replicates)
    values = _divided(top.mean(axis=0), bottom.mean(axis=0))
    residuals = _divided(top - values * bottom, bottom.mean(axis=0))
    between = residuals[:, :, None] - residuals[:, None, :]
    return Scattered(
        values,
        factor * np.std(residuals, axis=0, ddof=1),
        values[:, None] - values,
        factor * np.std(between, axis=0, ddof=1),
    )


def _divided(top: Array, bottom: Array) -> Array:
    """Quotient, zero where an output does not vary."""
    bottom = np.broadcast_to(bottom, top.shape)
    return np.divide(top, bottom, out=np.zeros_like(top), where=bottom > 0)


def _ranked(firsts: Scattered, totals: Scattered, groups: Mapping[str, tuple[str, ...]]) -> tuple[Index, ...]:
    """Order the inputs by total index, with ties where the difference of two lies within its error."""
    names = list(groups)
    first, total = firsts.estimates(), totals.estimates()
    order = np.argsort(-totals.values, kind="stable").tolist()
    higher: Mask = totals.apart > totals.apart_halves
    tied = ~(higher | higher.T)
    return tuple(
        Index(
            name=names[i],
            members=groups[names[i]],
            first=first[i],
            total=total[i],
            tied_with=tuple(names[j] for j in order if j != i and tied[i, j]),
            rank=1 + int(np.count_nonzero(higher[:, i])),
        )
        for i in order
    )


def _growth_to_settle(totals: Scattered) -> float:
    """By what the rows must grow to tell neighbours among the leading inputs apart, or show them alike.

    One where that is done.  Half-widths shrink with the root of the rows; the differences stay what they are.
    """
    order = np.argsort(-totals.values, kind="stable").tolist()
    neighbours = [(i, j) for i, j in itertools.pairwise(order) if totals.values[i] >= LEADING_SHARE]
    difference, half = totals.apart, totals.apart_halves
    growth = 1.0
    for pair in neighbours:
        # Whichever comes first: the interval leaves zero behind, or fits into what counts as equal.
        room = max(float(difference[pair]), ALIKE - float(difference[pair]))
        if not (difference[pair] > half[pair] or difference[pair] + half[pair] <= ALIKE):
            growth = max(growth, float(half[pair] / room) ** 2 * (1 + 1e-9))
    return growth


def _pairs(parts: Parts, confidence: float, names: Sequence[str]) -> tuple[Pair, ...]:
    """Second-order indices, the largest first."""
    if not parts.together.shape[1]:
        return ()
    found = _scattered(parts.together, parts.variance[:, None], confidence)
    estimates = zip(itertools.combinations(names, 2), found.estimates(), strict=True)
    return tuple(sorted((Pair(*one) for one in estimates), key=lambda pair: -pair.value.value))


def _note(parts: Parts, settled: bool, by_rank: bool) -> str:
    """Everything out of the ordinary about one output, in plain sentences."""
    rows, left_out, different = (int(part.sum()) for part in (parts.rows, parts.left_out, parts.different))
    said = [FEW_READINGS] if by_rank else []
    if not rows:
        said.append("no evaluation is a finite number: nothing can be ranked")
    elif not parts.variance.sum() > 0:
        said.append("does not vary: no input matters within the given uncertainty")
    elif different < FEW_DIFFERENT:
        said.append(
            f"what is ranked differs from its usual value in only {different} evaluations: draw more rows"
        )
    if rows and left_out > MANY_LEFT_OUT * (rows + left_out):
        share = left_out / (rows + left_out)
        said.append(
            f"{chance(_unanswered(parts))} of the cars have no answer, which takes {chance(share)} of the "
            "rows (each is a set of cars): the ranking is of the rest only"
        )
    elif rows and left_out:
        said.append(f"{left_out} rows without an answer were left out")
    if not settled:
        said.append("the order of the leading inputs is not certain")
    return "; ".join(said)
