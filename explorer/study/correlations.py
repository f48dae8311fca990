"""Correlations between inputs: as a study gives them, whether they can all hold at once, and as a matrix."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from explorer.errors import CorrelationError, Faults, StudyError, did_you_mean
from explorer.graph.arrays import Array
from explorer.study.inputs import Input
from explorer.study.schema import StudyFile


@dataclass(frozen=True)
class Correlation:
    """Correlation of the normal scores of two inputs."""

    first: str
    second: str
    value: float
    source: str | None = None


def read_correlations(
    entries: StudyFile, inputs: Mapping[str, Input], unread: Collection[str], faults: Faults
) -> tuple[Correlation, ...]:
    """Read the correlations of a study between its uncertain inputs; mistakes are noted as faults.

    Parameters
    ----------
    unread:
        Names of inputs that could not be read, of which a fault tells already.
    """
    before = len(faults.found)
    for position, entry in enumerate(entries.correlations, 1):
        for name in entry.between:
            given = inputs.get(name)
            if name not in unread and (given is None or given.exact):
                lacking = did_you_mean(name, inputs, "give it under [inputs] first")
                faults.found.append(
                    StudyError(
                        "a correlation is between two uncertain inputs of this study",
                        key=f"correlations[{position}].between",
                        found=name,
                        remedy=lacking if given is None else "give it a spread first",
                    )
                )
    found = tuple(Correlation(*entry.between, entry.value, entry.source) for entry in entries.correlations)
    if found and len(faults.found) == before:
        with faults.noted():
            names = tuple(dict.fromkeys(name for c in found for name in (c.first, c.second)))
            check_correlation(names, {(c.first, c.second): c.value for c in found})
    return found


def correlated_groups(correlations: Iterable[Correlation]) -> tuple[tuple[str, ...], ...]:
    """Collect inputs that are linked, directly or through others, in the order they are named."""
    groups: list[list[str]] = []
    for one in correlations:
        touching = [group for group in groups if one.first in group or one.second in group]
        merged = list(dict.fromkeys([*(name for group in touching for name in group), one.first, one.second]))
        groups = [group for group in groups if group not in touching] + [merged]
    return tuple(tuple(group) for group in groups)


def correlation_matrix(names: Sequence[str], pairs: Mapping[tuple[str, str], float]) -> Array:
    """Arrange the correlations of pairs in a matrix; pairs not mentioned are independent."""
    place = {name: position for position, name in enumerate(names)}
    matrix = np.eye(len(names))
    for (first, second), value in pairs.items():
        matrix[place[first], place[second]] = matrix[place[second], place[first]] = value
    return matrix


def check_correlation(names: Sequence[str], pairs: Mapping[tuple[str, str], float]) -> Array:
    """Return the correlation matrix after checking that all correlations can hold at once.

    Raises
    ------
    CorrelationError
        When a value is not between -1 and 1, a pair is given twice or of an input with itself, or the matrix
        is not positive definite; then the pair that disagrees most with the others is named.
    """
    seen: set[frozenset[str]] = set()
    for (first, second), value in pairs.items():
        pair = f"{first} and {second}"
        if first == second:
            raise CorrelationError("an input is given a correlation with itself", found=pair)
        if not -1 < value < 1:
            raise CorrelationError(
                f"the correlation of {pair} is not between -1 and 1",
                found=value,
                allowed="above -1 and below 1",
                remedy="for inputs that always move together, compute one from the other",
            )
        if frozenset((first, second)) in seen:
            raise CorrelationError(f"the correlation of {pair} is given twice", found=value)
        seen.add(frozenset((first, second)))
    matrix = correlation_matrix(names, pairs)
    _require_positive_definite(names, pairs, matrix)
    return matrix


def _require_positive_definite(
    names: Sequence[str], pairs: Mapping[tuple[str, str], float], matrix: Array
) -> None:
    smallest = np.linalg.eigvalsh(matrix)[0]
    if smallest > 1e-10:
        return
    first, second, remedy = _most_at_odds(names, pairs, matrix)
    together = math.floor(100 / (1 - smallest)) / 100
    raise CorrelationError(
        f"the correlations cannot all hold at once; {first} and {second} disagree most with the others",
        found=", ".join(f"{a} and {b}: {value:g}" for (a, b), value in pairs.items()),
        allowed="a positive definite correlation matrix",
        remedy=f"{remedy}weaken all of them: {together:g} times the values given can hold",
    )


def _most_at_odds(
    names: Sequence[str], pairs: Mapping[tuple[str, str], float], matrix: Array
) -> tuple[str, str, str]:
    """Find the pair furthest outside what all others leave to it, and say that range.

    Where no pair alone can be put right, it is the one that takes most from the smallest eigenvalue.
    """
    place = {name: position for position, name in enumerate(names)}
    left = {(a, b): _left_to(matrix, place[a], place[b]) for a, b in pairs}
    beyond = {pair: max(room[0] - pairs[pair], pairs[pair] - room[1]) for pair, room in left.items() if room}
    if beyond:
        worst = max(beyond, key=lambda pair: beyond[pair])
        low, high = left[worst] or (-1.0, 1.0)
        return *worst, f"with the others as they are it lies between {low:.2f} and {high:.2f}; or "
    direction = np.linalg.eigh(matrix)[1][:, 0]
    worst = min(pairs, key=lambda pair: pairs[pair] * direction[place[pair[0]]] * direction[place[pair[1]]])
    return *worst, ""


def _left_to(matrix: Array, i: int, j: int) -> tuple[float, float] | None:
    """Return the range that the other correlations leave to one, or None when they leave nothing.

    The two inputs given all others have a 2 x 2 covariance, the Schur complement, which is positive definite.
    """
    pair = [i, j]
    others = [k for k in range(len(matrix)) if k not in pair]
    rest, between = matrix[np.ix_(others, others)], matrix[np.ix_(others, pair)]
    if others and np.linalg.eigvalsh(rest)[0] <= 0:
        return None
    explained = between.T @ np.linalg.solve(rest, between) if others else np.zeros((2, 2))
    left = 1 - np.diag(explained)
    if np.any(left <= 0):
        return None
    middle, half = float(explained[0, 1]), float(np.sqrt(left[0] * left[1]))
    return middle - half, middle + half
