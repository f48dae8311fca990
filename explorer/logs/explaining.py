"""What would explain a logged run that the study does not: which input, moved how far, at what odds."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from scipy.special import ndtr, ndtri

from explorer.graph.arrays import Array
from explorer.graph.graph import Graph
from explorer.logs.validation import Validation, validate_curves
from explorer.results.logged_runs import FURTHEST, Explanation
from explorer.study.study import Input

# Inputs whose move is tried on the whole run; those that follow explain less.
MOST_TRIED = 4
# Moves tried, in spreads; the middle one is none.
SPREADS = np.linspace(-FURTHEST, FURTHEST, 65)


def explanations(
    found: Validation,
    at: Array,
    curves: Array,
    drawn: Mapping[str, Array],
    inputs: Mapping[str, Input],
    predict: Callable[[Mapping[str, Array]], Array],
    graph: Graph,
) -> tuple[Explanation, ...]:
    """Return the inputs that would explain a run alone, the likeliest first.

    One input is moved while the others stay at their nominal values; the move is the one that brings the
    nominal curve nearest to the run, each row weighted by the band's own width there.  Then the curves, their
    scatter by that input taken off and moved as far, judge the run as they judged it before.

    Parameters
    ----------
    found:
        How the run lies in the band, in the units of the curves.
    at, curves:
        Shapes (points,) and (samples, points).
    drawn:
        Input -> its values in the samples, shape (samples,) [SI].
    inputs:
        The same inputs.
    predict:
        From values of the inputs, shape (rows,), to curves, shape (rows, points).
    graph:
        Knows the units of the inputs.

    Returns
    -------
    tuple of Explanation
        Empty where none does within four spreads.
    """
    answered = np.isfinite(curves).all(axis=1)
    curves, half = curves[answered], (found.band.upper - found.band.lower) / 2
    # Where all curves are one, as at the start of a straight, a row tells nothing.
    width = np.maximum(np.hypot(half, found.noise), 1e-3 * half.max())
    off = (found.logged - found.band.median) / width
    tried: list[tuple[float, float, str, Array]] = []
    for key, moves in _moved(inputs, predict).items():
        left = np.array([np.sum((off - np.interp(found.band.at, at, move) / width) ** 2) for move in moves])
        if np.isfinite(left).any() and np.ptp(left[np.isfinite(left)]) > 0:
            best = int(np.nanargmin(left))
            tried.append((float(left[best]), float(SPREADS[best]), key, moves[best]))
    explained = []
    for _, spreads, key, move in sorted(tried, key=lambda one: one[0])[:MOST_TRIED]:
        given = inputs[key].distribution
        score = ndtri(np.clip(given.cdf(drawn[key][answered]), 1e-12, 1 - 1e-12))
        held = curves - np.outer(score, _slope(score, curves))
        if spreads and _explains(found, at, held + move):
            moved_to = float(given.quantile(np.array([ndtr(spreads)]))[0])
            odds = float(2 * ndtr(-abs(spreads)))
            explained.append(
                Explanation(
                    key,
                    graph[inputs[key].quantity].unit,
                    inputs[key].display_unit,
                    float(given.nominal),
                    moved_to,
                    spreads,
                    odds,
                )
            )
    return tuple(sorted(explained, key=lambda one: -one.odds))


def _moved(inputs: Mapping[str, Input], predict: Callable[[Mapping[str, Array]], Array]) -> dict[str, Array]:
    """Return by how much the nominal curve moves with each input, shape (moves, points)."""
    rows = len(SPREADS)
    nominal = {key: np.full(len(inputs) * rows, given.distribution.nominal) for key, given in inputs.items()}
    for place, (key, given) in enumerate(inputs.items()):
        nominal[key][place * rows : (place + 1) * rows] = given.distribution.quantile(ndtr(SPREADS))
    curves = predict(nominal).reshape(len(inputs), rows, -1)
    return {key: own - own[rows // 2] for key, own in zip(inputs, curves, strict=True)}


def _explains(found: Validation, at: Array, curves: Array) -> bool:
    return validate_curves(
        at,
        curves,
        found.band.at,
        found.logged,
        quantity=found.band.quantity,
        along=found.band.along,
        noise=found.noise,
    ).explains


def _slope(score: Array, curves: Array) -> Array:
    """Slope of each point of the curves in a score, by least squares over the samples."""
    centred = score - score.mean()
    spread = float(centred @ centred)
    return np.asarray(centred @ (curves - curves.mean(axis=0))) / max(spread, 1e-300)
