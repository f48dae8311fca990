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

from explorer.errors import SampleError
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
