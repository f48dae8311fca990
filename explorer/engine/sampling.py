"""Designs in the unit cube: plain random streams, scrambled Sobol points, and the blocks of a Sobol analysis.

Every column is keyed by the name of its input, so that another input or condition in the study leaves it as
it is.  Numbers are multiples of 2**-52 plus half a step: never 0, never 1, and the same on every machine.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from functools import cache, lru_cache
from importlib.util import find_spec, module_from_spec, spec_from_file_location
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy import special

from explorer.errors import CorrelationError, SampleError
from explorer.graph.arrays import Array

Bits = npt.NDArray[np.uint64]

_DIGITS = 52
# Dimensions for which Joe and Kuo give direction numbers; points that still fit in memory.
_DIMENSIONS = 21_201
_LARGEST_POWER = 30
# The inverse normal of numbers closer to 0 or 1 than this is out of reach of double precision.
EDGE = 2.0**-53


def random_column(seed: int, name: str, chunk: int, size: int) -> Array:
    """Draw independent uniforms for one input in one chunk.

    The stream is Philox, keyed by seed and name; the chunk sits in the upper half of its counter, so chunks
    are drawn in any order and on any worker alike.
    Source: J. K. Salmon et al., Parallel random numbers: as easy as 1, 2, 3, SC 2011.

    Returns
    -------
    Array
        Shape (size,), in the open interval (0, 1).
    """
    return _open_unit(_stream("random", seed, name, chunk).random_raw(size) >> np.uint64(64 - _DIGITS))


def sobol_columns(seed: int, names: Iterable[str], replicate: int, power: int) -> dict[str, Array]:
    """Return scrambled Sobol columns of 2**power points for some inputs.

    The dimension of an input follows from its name, so another input in the study leaves its column as it is;
    but where two names point at the same one of 256 dimensions, one of the two gives way (with 25 inputs, one
    addition in twenty moves one other input).

    Parameters
    ----------
    seed, replicate:
        Replicates of one seed are independently scrambled, so their spread shows the error.
    names:
        Inputs of the design.
    power:
        Power of two of the number of points.

    Returns
    -------
    dict
        Name -> column in (0, 1), with one point in each interval of length 2**-power.

    Raises
    ------
    SampleError
        When there are too many points or names.

    Notes
    -----
    Scrambled by a random lower triangular matrix of binary digits and a digital shift; unbiased, with the net
    kept.  Source: J. Matousek, J. Complexity 14, 1998, 527-556; direction numbers of S. Joe and F. Y. Kuo,
    SIAM J. Sci. Comput. 30, 2008, 2635-2654.
    """
    places = _places(tuple(sorted(names)))
    _check_size(power, len(places))
    streams = [_stream("sobol", seed, name, replicate) for name in places]
    return dict(zip(places, _nets(streams, list(places.values()), power), strict=True))


def saltelli_columns(
    seed: int, names: Iterable[str], replicate: int, power: int
) -> tuple[dict[str, Array], dict[str, Array]]:
    """Return the two independent samples A and B of a Sobol analysis, as ``sobol_columns`` does one.

    Here dimensions are counted along ``names``, two to an input, because indices gain much from the first
    dimensions, which are the most even together: an input added after the others leaves them as they are.
    """
    names = tuple(names)
    _check_size(power, 2 * len(names))
    streams = [_stream(side, seed, name, replicate) for name in names for side in ("first", "second")]
    columns = _nets(streams, range(len(streams)), power)
    return dict(zip(names, columns[::2], strict=True)), dict(zip(names, columns[1::2], strict=True))


def correlated(uniforms: Mapping[str, Array], names: Sequence[str], matrix: Array) -> dict[str, Array]:
    """Turn independent uniforms into uniforms with a Gaussian copula.

    Parameters
    ----------
    uniforms:
        Independent columns; those of ``names`` are used.
    names, matrix:
        Correlated inputs, and the correlation matrix of their normal scores.  Between two normal inputs that
        is the ordinary (Pearson) correlation.

    Returns
    -------
    dict
        New columns of ``names``, each still uniform on its own; the first is unchanged.
    """
    lower = np.linalg.cholesky(matrix)
    scores = [special.ndtri(uniforms[name]) for name in names]
    result = {names[0]: np.asarray(uniforms[names[0]])}
    for row, name in enumerate(names[1:], start=1):
        # Summed term by term: a matrix product may round differently from one chunk length to another.
        total = lower[row, 0] * scores[0]
        for column in range(1, row + 1):
            total = total + lower[row, column] * scores[column]
        result[name] = np.clip(special.ndtr(total), EDGE, 1 - EDGE)
    return result


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


def _stream(purpose: str, seed: int, name: str, part: int) -> np.random.Philox:
    """Return the stream of one column: a key from purpose, seed and name, and a counter from the part."""
    digest = hashlib.sha256(f"{purpose}\0{seed}\0{name}".encode()).digest()
    return np.random.Philox(key=int.from_bytes(digest[:16], "little"), counter=[0, 0, part, 0])


def _open_unit(digits: Bits) -> Array:
    return (digits.astype(np.float64) + 0.5) * 2.0**-_DIGITS


def _check_size(power: int, dimensions: int) -> None:
    if not (0 <= power <= _LARGEST_POWER and dimensions <= _DIMENSIONS):
        raise SampleError(
            "the Sobol design is too large",
            found=f"2**{power} points in {dimensions} dimensions",
            allowed=f"up to 2**{_LARGEST_POWER} points and {_DIMENSIONS} dimensions",
        )


def _nets(streams: Sequence[np.random.Philox], dimensions: Sequence[int], power: int) -> Array:
    """Scramble one dimension a stream and list its points in natural order, by doubling: a row each."""
    noise = np.array([stream.random_raw(_DIGITS + 1) for stream in streams], np.uint64)
    noise = noise.reshape(len(streams), _DIGITS + 1)
    # Column j of a random lower triangular matrix: zeros above digit j, one in it, random below.
    ones = np.uint64(1) << np.arange(_DIGITS, dtype=np.uint64)[::-1]
    columns = ones | (noise[:, :-1] & (ones - np.uint64(1)))
    points = np.empty((len(streams), 2**power), np.uint64)
    points[:, 0] = noise[:, -1] >> np.uint64(64 - _DIGITS)
    for bit in range(power):
        numbers = np.array([_directions(dimension)[bit] for dimension in dimensions], np.uint64)
        chosen = np.where(numbers[:, None] & ones, columns, np.uint64(0))
        basis = np.bitwise_xor.reduce(chosen, axis=1)
        half = 2**bit
        np.bitwise_xor(points[:, :half], basis[:, None], out=points[:, half : 2 * half])
    return _open_unit(points)


@lru_cache(maxsize=256)
def _places(names: tuple[str, ...]) -> dict[str, int]:
    """Give every name a dimension of its own, from a hash of the name alone as far as that is free.

    Few dimensions are shared out, because low ones are more even together: among all 21 201 some pairs of
    columns are together no better than random.
    """
    available = min(max(256, 2 ** math.ceil(math.log2(2 * len(names) or 1))), _DIMENSIONS)
    places: dict[str, int] = {}
    taken: set[int] = set()
    for name in names:
        attempt = 0
        while (place := _hashed(f"{name}\0{attempt}") % available) in taken:
            attempt += 1
        taken.add(place)
        places[name] = place
    return places


def _hashed(text: str) -> int:
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "little")


@lru_cache(maxsize=4096)
def _directions(dimension: int) -> tuple[int, ...]:
    """Return the direction numbers of one dimension as integers of 52 binary digits.

    Source: recurrence (2) of S. Joe and F. Y. Kuo, ACM Trans. Math. Softw. 29, 2003, 49-57.
    """
    if dimension == 0:
        return tuple(1 << (_DIGITS - 1 - k) for k in range(_DIGITS))
    polynomial, *start = _joe_kuo(dimension)
    degree = len(start)
    numbers = [first << (_DIGITS - 1 - k) for k, first in enumerate(start)]
    for k in range(degree, _DIGITS):
        number = numbers[k - degree] ^ (numbers[k - degree] >> degree)
        for j in range(1, degree):
            if polynomial >> (degree - 1 - j) & 1:
                number ^= numbers[k - j]
        numbers.append(number)
    return tuple(numbers)


def _joe_kuo(dimension: int) -> tuple[int, ...]:
    """Return the polynomial and the first direction numbers of a dimension above the first."""
    return tuple(_table()[dimension - 1])


@cache
def _table() -> Sequence[Sequence[int]]:
    """Load SALib's table alone, compiled as installed: the package would bring pandas and pyarrow along."""
    package = find_spec("SALib")
    assert package is not None
    assert package.origin is not None
    spec = spec_from_file_location("directions", Path(package.origin).with_name("sample") / "directions.py")
    assert spec is not None
    assert spec.loader is not None
    table = module_from_spec(spec)
    spec.loader.exec_module(table)
    found: Sequence[Sequence[int]] = table.directions
    return found
