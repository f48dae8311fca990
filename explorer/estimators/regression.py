"""What is to be expected of an outcome once some readings are known: regression on the run's own samples.

Every sample is a car together with the readings it would have given, so the regression of an outcome on the
readings is the expectation a builder would hold after taking them (Strong, Oakley & Brennan, Medical Decision
Making 34 (2014) 311, for readings without noise; Strong et al. 35 (2015) 570, for readings with noise).

Each reading is brought to normal scores by its rank; the regression is a cubic spline in each and products of
low order between them, by least squares.  Every prediction comes from a fit to other samples than the one
predicted (cross-fitting), so that what a reading seems to explain is never the noise it was fitted to.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, ndtr, ndtri

from explorer.graph.arrays import Array, Mask

FOLDS = 5
# Rows whose basis is held at once: bounds the memory, whatever the number of samples.
ROWS_AT_ONCE = 8192
# Bins of the index a probability is fitted to, how many standard deviations they reach either way, and the
# quantiles its spline bends at.
BINS = 256
REACH = 6.0
# Intervals on each side of the grid of two indices.
SIDE = 32
KNOTS = (0.05, 0.23, 0.41, 0.59, 0.77, 0.95)
MOST_STEPS = 50
# Beyond so many standard deviations a probability is as good as certain.
STEEPEST = 8.0
HOLD = 1e-3
CLOSE = 1e-4
# With more readings than this, products of them are kept to the plain ones.
MOST_FOR_CURVED_PRODUCTS = 5
# Keeps the normal equations solvable when a reading has few distinct values.
RIDGE = 1e-9


def normal_scores(values: Array) -> Array:
    """Bring values to a standard normal distribution by rank; equal values share their middle rank.

    Source: Blom's scores, "Statistical Estimates and Transformed Beta-Variables" (1958): (r - 3/8)/(n + 1/4).
    """
    _, place, count = np.unique(values, return_inverse=True, return_counts=True)
    rank = np.cumsum(count) - (count - 1) / 2
    return np.asarray(ndtri((rank[place] - 0.375) / (values.size + 0.25)))


def cross_fitted(scores: Array, outcomes: Array) -> Array:
    """Predict each sample's outcomes from its readings, by a fit to other samples.

    Parameters
    ----------
    scores:
        Normal scores of the readings, shape (readings, samples).
    outcomes:
        Shape (outcomes, samples).  A sample whose outcome is not a finite number does not enter that
        outcome's fit, and is predicted all the same.

    Returns
    -------
    Array
        Expected outcomes, of the shape of ``outcomes``.
    """
    answered = np.isfinite(outcomes)
    predicted = np.empty_like(outcomes)
    # Outcomes that lack the same samples share one fit.
    groups: dict[bytes, list[int]] = {}
    for k, marks in enumerate(answered):
        groups.setdefault(marks.tobytes(), []).append(k)
    for members in groups.values():
        predicted[members] = _cross_fitted(scores, outcomes[members], answered[members[0]])
    return predicted


def index_of_conforming(
    expected: Array, likely: Array, conforms: Array, *, parts: int = FOLDS, own: bool = False
) -> Array:
    """Join what readings say of the margin with what they say of conforming, into one index of conforming.

    The expected margin alone hides a margin that is the smaller of two: once one of them is large, only the
    other counts.  A probit regression on natural splines of both, and their product, sees it.

    Parameters
    ----------
    expected, likely:
        What the readings let one expect of the margin, and of zero-or-one conforming, shape (samples,).
    conforms, parts, own:
        As in ``probability_given``.
    """
    first, second = (_scores_by_fold(each) for each in (expected, likely))
    cell = _cell(first) * SIDE + _cell(second)
    counts, conforming = _counted(cell, conforms, parts, SIDE * SIDE)
    held = counts.any(axis=0)
    counts, conforming, total = counts[:, held], conforming[:, held], counts[:, held].sum(axis=0)
    centres = [np.bincount(cell, score, minlength=SIDE * SIDE)[held] / total for score in (first, second)]
    at_centres, at_samples = _joint_columns(*centres), _joint_columns(first, second)
    every = _probit_fit(at_centres, total, conforming.sum(axis=0), np.zeros(at_centres.shape[1]))
    index = np.empty_like(expected)
    for part, rows in enumerate(_fitted_rows(parts, own)):
        weights = _probit_fit(at_centres, counts[rows].sum(axis=0), conforming[rows].sum(axis=0), every)
        index[part::parts] = at_samples[part::parts] @ weights
    return np.clip(index, -STEEPEST, STEEPEST)


def _scores_by_fold(predicted: Array) -> Array:
    """Rank each fold's predictions among themselves: folds differ by their fits, which tells nothing."""
    scores = np.empty_like(predicted)
    for fold in range(FOLDS):
        scores[fold::FOLDS] = normal_scores(predicted[fold::FOLDS])
    return scores


def _cell(score: Array) -> npt.NDArray[np.int64]:
    """Find the interval that a normal score lies in, of SIDE equal ones."""
    return np.clip((score / REACH + 1) * (SIDE / 2), 0, SIDE - 1).astype(np.int64)


def _joint_columns(first: Array, second: Array) -> Array:
    """Columns of a natural spline in each of two normal scores, and their product."""
    bends = np.asarray(ndtri(KNOTS))
    curves = [_natural_spline(first, bends), _natural_spline(second, bends)[:, 1:]]
    return np.concatenate([*curves, (first * second)[:, None]], axis=1)


def _fitted_rows(parts: int, own: bool) -> list[list[int]]:
    """Parts of the samples that each part is predicted from: all others, or itself alone."""
    return [[part] if own else [other for other in range(parts) if other != part] for part in range(parts)]


def probability_given(index: Array, conforms: Array, *, parts: int = FOLDS, own: bool = False) -> Array:
    """Probability that each sample conforms, given an index of its readings.

    A probit regression on a natural cubic spline of the index: exact for normal margins, free to bend for
    others.  Whatever the index leaves unsaid about the readings makes them look less telling than they are,
    never more.

    Parameters
    ----------
    index:
        Shape (samples,): the margin to be expected from the readings, or ``index_of_conforming``.
    conforms:
        Zero or one, shape (samples,).
    parts, own:
        The samples are dealt into so many parts; each is predicted by the fit to all others, or, with
        ``own``, by the fit to itself, so that the scatter between parts shows how far a fit can be off.
    """
    spread = float(np.std(index))
    place = np.clip((index - np.mean(index)) / (spread if spread > 0 else 1.0), -REACH, REACH)
    bins = np.minimum(((place + REACH) * (BINS / (2 * REACH))).astype(np.int64), BINS - 1)
    counts, shares = _counted(bins, conforms, parts, BINS)
    held = counts.any(axis=0)
    counts, shares = counts[:, held], shares[:, held]
    levels = np.bincount(bins, place, minlength=BINS)[held] / counts.sum(axis=0)
    below = np.cumsum(counts.sum(axis=0)) / index.size
    columns = _natural_spline(levels, np.unique(np.interp(KNOTS, below, levels)))
    every = _probit_fit(columns, counts.sum(axis=0), shares.sum(axis=0), np.zeros(columns.shape[1]))
    probability = np.empty_like(index)
    for part, rows in enumerate(_fitted_rows(parts, own)):
        weights = _probit_fit(columns, counts[rows].sum(axis=0), shares[rows].sum(axis=0), every)
        probability[part::parts] = np.interp(place[part::parts], levels, ndtr(columns @ weights))
    return probability


def _counted(cell: npt.NDArray[np.int64], conforms: Array, parts: int, cells: int) -> tuple[Array, Array]:
    """Count samples and conforming samples by cell, apart for each part: shapes (parts, cells)."""
    place = cell + cells * (np.arange(cell.size) % parts)
    counts = np.bincount(place, minlength=parts * cells).reshape(parts, cells).astype(float)
    conforming = np.bincount(place, conforms, minlength=parts * cells).reshape(parts, cells)
    return counts, np.asarray(conforming, float)


def _natural_spline(place: Array, knots: Array) -> Array:
    """Columns of a cubic spline that is straight beyond its outer knots.

    Source: Hastie, Tibshirani & Friedman, The Elements of Statistical Learning, equations 5.4 and 5.5.
    """
    columns = [np.ones_like(place), place]
    if knots.size >= 3:
        beyond = np.maximum(place[:, None] - knots, 0)
        cubes = beyond * beyond * beyond  # a power takes ten times as long
        bends = (cubes[:, :-1] - cubes[:, -1:]) / (knots[-1] - knots[:-1])
        columns += list((bends[:, :-1] - bends[:, -1:]).T)
    return np.stack(columns, axis=1)


def _probit_fit(columns: Array, counts: Array, conforming: Array, start: Array) -> Array:
    """Fit a probit regression by Fisher scoring, held lightly to zero so that a sheer step has a fit too.

    Source: McCullagh & Nelder, Generalized Linear Models, section 2.5; steps are halved until they climb.
    """

    def likelihood(weights: Array) -> float:
        place = columns @ weights
        fit = conforming @ log_ndtr(place) + (counts - conforming) @ log_ndtr(-place)
        return float(fit - HOLD / 2 * (weights @ weights))

    weights, reached = start, likelihood(start)
    for _ in range(MOST_STEPS):
        place = np.clip(columns @ weights, -STEEPEST, STEEPEST)
        chance, density = ndtr(place), np.exp(-(place**2) / 2) / np.sqrt(2 * np.pi)
        pull = density / (chance * ndtr(-place))
        information = (columns * (counts * density * pull)[:, None]).T @ columns
        slope = columns.T @ (pull * (conforming - counts * chance)) - HOLD * weights
        step = np.linalg.solve(information + HOLD * np.eye(len(weights)), slope)
        while (climbed := likelihood(weights + step)) < reached and np.abs(columns @ step).max() > CLOSE:
            step = step / 2
        if climbed <= reached:
            break
        weights, reached = weights + step, climbed
        if np.abs(columns @ step).max() < CLOSE:
            break
    return weights


def _cross_fitted(scores: Array, outcomes: Array, answered: Mask) -> Array:
    """Fit by normal equations, each fold predicted from the sums over the others."""
    samples = outcomes.shape[1]
    basis = _basis_of(scores)
    predicted = np.empty_like(outcomes)
    centre = (
        outcomes[:, answered].mean(axis=1, keepdims=True) if answered.any() else np.zeros((len(outcomes), 1))
    )
    terms = basis(scores[:, :1]).shape[1]
    grams, products = np.zeros((FOLDS, terms, terms)), np.zeros((FOLDS, terms, len(outcomes)))
    for fold in range(FOLDS):
        for rows in _runs(fold, samples):
            columns = basis(scores[:, rows]) * answered[rows, None]
            grams[fold] += columns.T @ columns
            products[fold] += columns.T @ np.where(answered[rows], outcomes[:, rows] - centre, 0.0).T
    for fold in range(FOLDS):
        gram, product = grams.sum(axis=0) - grams[fold], products.sum(axis=0) - products[fold]
        ridge = RIDGE * max(float(np.trace(gram)), 1.0) / terms
        weights = np.linalg.solve(gram + ridge * np.eye(terms), product)
        for rows in _runs(fold, samples):
            predicted[:, rows] = centre + (basis(scores[:, rows]) @ weights).T
    return predicted


def _runs(fold: int, samples: int) -> list[slice]:
    """Rows of one fold, every FOLDS-th, in runs that fit the memory."""
    step = ROWS_AT_ONCE * FOLDS
    return [slice(start, min(start + step, samples), FOLDS) for start in range(fold, samples, step)]


def _basis_of(scores: Array) -> Callable[[Array], Array]:
    """Choose the basis for some readings; it turns scores (readings, rows) into columns (rows, terms)."""
    samples = scores.shape[1]
    intervals = int(np.clip(samples**0.2, 3, 12))
    knots: dict[int, Array] = {}
    for j, one in enumerate(scores):
        low, *inner, high = np.quantile(one, np.linspace(0, 1, intervals + 1))
        between = sorted({knot for knot in inner if low < knot < high})
        # A reading that never varies explains nothing: no columns.
        if low < high:
            knots[j] = np.array([low] * 4 + between + [high] * 4)
    significant = list(knots)
    from scipy.interpolate import BSpline  # takes its time to load, and is needed nowhere else

    def basis(rows: Array) -> Array:
        columns = [np.ones((rows.shape[1], 1))]
        for j, knot in knots.items():
            # The pieces of a spline add up to one, which the first column already says.
            columns.append(BSpline.design_matrix(rows[j], knot, 3).toarray()[:, 1:])
        curved = (rows**2 - 1) / np.sqrt(2)
        for i, j in itertools.combinations(significant, 2):
            terms = [rows[i] * rows[j]]
            if len(significant) <= MOST_FOR_CURVED_PRODUCTS:
                terms += [curved[i] * rows[j], rows[i] * curved[j], curved[i] * curved[j]]
            columns.append(np.stack(terms, axis=1))
        if 3 <= len(significant) <= MOST_FOR_CURVED_PRODUCTS:
            triples = [rows[i] * rows[j] * rows[k] for i, j, k in itertools.combinations(significant, 3)]
            columns.append(np.stack(triples, axis=1))
        return np.concatenate(columns, axis=1)

    return basis
