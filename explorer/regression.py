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
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.interpolate import BSpline
from scipy.optimize import isotonic_regression
from scipy.special import ndtri

from explorer.quantity import Array

Marks: TypeAlias = npt.NDArray[np.bool_]

FOLDS = 5
# Rows whose basis is held at once: bounds the memory, whatever the number of samples.
ROWS_AT_ONCE = 8192
# Levels of the index between which a probability is interpolated, and samples behind each at the least.
LEVELS = 300
FEWEST_IN_RUN = 20
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


def probability_given(index: Array, conforms: Array) -> Array:
    """Probability that each sample conforms, given an index that it rises with, by a fit to other samples.

    Parameters
    ----------
    index:
        Shape (samples,); the margin to be expected from the readings serves best.
    conforms:
        Nought or one, shape (samples,).

    Returns
    -------
    Array
        Shape (samples,).  Whatever the index leaves unsaid about the readings makes them look less telling
        than they are, never more.
    """
    probability = np.empty_like(index)
    for fold in range(FOLDS):
        held = np.zeros(index.size, bool)
        held[fold::FOLDS] = True
        probability[held] = _rising(index[~held], conforms[~held])(index[held])
    return probability


def _rising(index: Array, conforms: Array) -> Callable[[Array], Array]:
    """Rising curve through the shares of conforming samples in runs of equal count (isotonic regression)."""
    order = np.argsort(index, kind="stable")
    runs = min(LEVELS, max(1, index.size // FEWEST_IN_RUN))
    edges = np.linspace(0, index.size, runs + 1).astype(int)
    counts = np.diff(edges).astype(float)
    levels = np.add.reduceat(index[order], edges[:-1]) / counts
    shares = isotonic_regression(np.add.reduceat(conforms[order], edges[:-1]) / counts, weights=counts).x
    return lambda values: np.asarray(np.interp(values, levels, shares))


def _cross_fitted(scores: Array, outcomes: Array, answered: Marks) -> Array:
    """Fit by normal equations, each fold predicted from the sums over the others."""
    samples = outcomes.shape[1]
    basis = _basis_of(scores)
    predicted = np.empty_like(outcomes)
    centre = (
        outcomes[:, answered].mean(axis=1, keepdims=True) if answered.any() else np.zeros((len(outcomes), 1))
    )
    grams, products = [], []
    for fold in range(FOLDS):
        gram, product = 0.0, 0.0
        for rows in _runs(fold, samples):
            columns = basis(scores[:, rows]) * answered[rows, None]
            gram = gram + columns.T @ columns
            product = product + columns.T @ np.where(answered[rows], outcomes[:, rows] - centre, 0.0).T
        grams.append(gram)
        products.append(product)
    for fold in range(FOLDS):
        gram, product = sum(grams) - grams[fold], sum(products) - products[fold]
        ridge = RIDGE * max(float(np.trace(gram)), 1.0) / len(gram)
        weights = np.linalg.solve(gram + ridge * np.eye(len(gram)), product)
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
    knots = []
    for one in scores:
        low, *inner, high = np.quantile(one, np.linspace(0, 1, intervals + 1))
        between = sorted({knot for knot in inner if low < knot < high})
        # A reading that never varies explains nothing: no columns.
        knots.append(np.array([low] * 4 + between + [high] * 4) if low < high else None)
    telling = [j for j, knot in enumerate(knots) if knot is not None]

    def basis(rows: Array) -> Array:
        columns = [np.ones((rows.shape[1], 1))]
        for j in telling:
            # The pieces of a spline add up to one, which the first column already says.
            columns.append(BSpline.design_matrix(rows[j], knots[j], 3).toarray()[:, 1:])
        curved = (rows**2 - 1) / np.sqrt(2)
        for i, j in itertools.combinations(telling, 2):
            terms = [rows[i] * rows[j]]
            if len(telling) <= MOST_FOR_CURVED_PRODUCTS:
                terms += [curved[i] * rows[j], rows[i] * curved[j], curved[i] * curved[j]]
            columns.append(np.stack(terms, axis=1))
        if 3 <= len(telling) <= MOST_FOR_CURVED_PRODUCTS:
            triples = [rows[i] * rows[j] * rows[k] for i, j, k in itertools.combinations(telling, 3)]
            columns.append(np.stack(triples, axis=1))
        return np.concatenate(columns, axis=1)

    return basis
