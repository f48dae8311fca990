"""What is known of an input, drawn as it is typed: how likely each value is, what is usual, what is odd."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from explorer.analyses.odd_combinations import number_of, odd_by_itself
from explorer.desk.editing import Place, at, plain
from explorer.desk.entry_forms import Fields, entry_of
from explorer.errors import SquatlineError
from explorer.study.distributions import Distribution
from explorer.study.inputs import Input, read_input
from explorer.study.study import Study
from reports.formatting import Amount, Units, amount
from reports.report import said

WIDTH, HEIGHT, BASE = 220.0, 44.0, 36.0
BARS = 44
# What is drawn of a distribution: all but one car in five hundred.
_DRAWN = (0.001, 0.999)


@dataclass(frozen=True)
class Shape:
    """An input as its form draws it: pixels, and words for those who do not see it.

    ``outline`` is a polygon, empty for one exact value; ``usual`` is where the usual range lies, from and to.
    """

    outline: str
    middle: float
    usual: tuple[float, float] | None
    words: tuple[str | Amount, ...]
    caution: tuple[object, ...] = ()


def shape_of(study: Study, text: str, place: Place, fields: Fields) -> Shape | None:
    """Draw an input as its form has it; None while that says no number, which sending it tells in words."""
    try:
        entry = entry_of(fields, at(text, place))
        condition = str(place[1]) if place[0] == "conditions" else None
        given = read_input(str(place[-1]), plain(entry), study.graph, study.folder, "", condition)
    except SquatlineError:
        return None
    return drawn(study, given)


def drawn(study: Study, given: Input) -> Shape:
    """Draw an input of a study."""
    quantity, known = study.graph[given.quantity], given.distribution
    low, middle, high = (float(known.quantile(np.array(p))) for p in (0.05, 0.5, 0.95))
    usual = None
    if quantity.usual is not None:
        ends = (quantity.usual.low, quantity.usual.high)
        usual = tuple(number_of(end, quantity.unit).value for end in ends)
    left, right = _room(known, usual)

    def across(value: float) -> float:
        return round(float(np.clip((value - left) / (right - left), 0.0, 1.0)) * WIDTH, 1)

    unit, shown = quantity.unit, given.display_unit
    of = Units(unit, shown)
    exact = amount(middle, of)
    spread = high - low
    words: tuple[str | Amount, ...] = ("exactly ", exact)
    if spread > 0:
        words = (
            "nine in ten cars from ",
            amount(low, of, spread=spread / 3),
            " to ",
            amount(high, of, spread=spread / 3),
        )
    odd = odd_by_itself(quantity, given)
    return Shape(
        _outline(known, left, right) if spread > 0 else "",
        across(middle),
        None if usual is None else (across(usual[0]), across(usual[1])),
        words,
        said(odd) if odd else (),
    )


def _room(known: Distribution, usual: Sequence[float] | None) -> tuple[float, float]:
    """Return the ends of the picture: the distribution, and what of the usual range is near it."""
    left, right = (float(known.quantile(np.array(p))) for p in _DRAWN)
    width = right - left or abs(left) * 0.2 or 1.0
    for end in usual or ():
        left, right = min(left, max(end, left - 3 * width)), max(right, min(end, right + 3 * width))
    margin = 0.06 * (right - left or width)
    return left - margin, right + margin


def _outline(known: Distribution, left: float, right: float) -> str:
    """Return the polygon of how many cars lie in each of equal steps."""
    edges = np.linspace(left, right, BARS + 1)
    share = np.diff(known.cdf(edges))
    heights = BASE - 32.0 * share / max(float(share.max()), 1e-12)
    steps = np.linspace(0.0, WIDTH, BARS + 1)
    points = [(0.0, BASE)]
    for one, (start, end) in zip(heights, itertools.pairwise(steps), strict=True):
        points += [(float(start), float(one)), (float(end), float(one))]
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in [*points, (WIDTH, BASE)])
