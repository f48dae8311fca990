"""Roots of curves, for all samples at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple, Protocol, TypeVar

import numpy as np
import numpy.typing as npt

from explorer.graph.quantity import Array

Mask = npt.NDArray[np.bool_]


class Rounds(Protocol):
    """What a search carries from round to round: a named tuple that tells which samples are done.

    A sample that is done keeps its result, whatever its neighbours need.
    """

    @property
    def done(self) -> Mask:
        """Samples that need no further round."""

    def __iter__(self) -> Iterator[Any]:
        """Go through the fields."""


Carried = TypeVar("Carried", bound=Rounds)


def repeated(change: Callable[[int, Carried], Carried], carried: Carried, limit: int) -> Carried:
    """Change what is carried until all samples are done, at most so many times.

    Parameters
    ----------
    change:
        Function of the number of changes before, and of what they made.

    """
    for field in carried:
        if hasattr(field, "repeated"):
            # Stand-ins for samples, which a compiler hands in, note the loop instead of running it.
            noted: Carried = field.repeated(change, carried, limit)
            return noted
    for number in range(limit):
        if np.all(carried.done):
            break
        carried = change(number, carried)
    return carried


@dataclass(frozen=True)
class Fall:
    """Where a curve first falls from above zero to zero or below.

    Attributes
    ----------
    position:
        Where it falls; the upper end where it never does, the lower end where it is never above zero there.
    started:
        The curve is above zero at the lower end.
    found:
        It falls before the upper end.
    broken:
        It does not pass through zero but stops having a value (NaN) there.

    """

    position: Array
    started: Mask
    found: Mask
    broken: Mask


class _Walk(NamedTuple):
    """The last place at which a curve is above zero, and the first at which it is not."""

    lower: Array
    value_lower: Array
    upper: Array
    value_upper: Array
    done: Mask


def first_fall(
    curve: Callable[[Array | float], Array],
    lowest: Array | float,
    highest: Array | float,
    steps: int,
    relative_tolerance: float = 1e-10,
) -> Fall:
    """Find the lowest place where a curve falls to zero, per sample.

    The curve is walked from the lower end in equal steps until every sample has fallen; the step it falls in
    is then narrowed by ``narrowed``.  A value that is not a number counts as fallen.

    Parameters
    ----------
    curve:
        Elementwise function of one position per sample.
    lowest, highest:
        Ends of the search, broadcast against the samples.
    steps:
        Steps of the walk: two crossings within one step are not seen.
    relative_tolerance:
        Of the position found.

    """
    value = _fallen_if_missing(curve(lowest))
    shape = np.broadcast_shapes(np.shape(value), np.shape(lowest), np.shape(highest))
    lower, value = np.broadcast_to(lowest, shape), np.broadcast_to(value, shape)
    started = value > 0

    def onwards(number: int, walk: _Walk) -> _Walk:
        place = lowest + (highest - lowest) * ((number + 1) / steps)
        value = _fallen_if_missing(curve(place))
        fell = ~walk.done & (value <= 0)
        done = walk.done | fell
        return _Walk(
            lower=np.where(done, walk.lower, place),
            value_lower=np.where(done, walk.value_lower, value),
            upper=np.where(fell, place, walk.upper),
            value_upper=np.where(fell, value, walk.value_upper),
            done=done,
        )

    walk = repeated(onwards, _Walk(lower, value, lower, value, ~started), steps)
    crossing = walk.done & started
    upper, value_upper = np.where(crossing, walk.upper, walk.lower), np.where(crossing, walk.value_upper, 0.0)
    root, value_above = narrowed(curve, walk.lower, walk.value_lower, upper, value_upper, relative_tolerance)
    return Fall(root, started, crossing, crossing & np.isneginf(value_above))


class _Bracket(NamedTuple):
    """Two places around a root, the newer one near; the share of the way between them to try next."""

    near: Array
    value_near: Array
    far: Array
    value_far: Array
    share: Array
    root: Array
    value_above: Array
    done: Mask


def narrowed(
    curve: Callable[[Array | float], Array],
    lower: Array,
    value_lower: Array,
    upper: Array,
    value_upper: Array,
    relative_tolerance: float,
) -> tuple[Array, Array]:
    """Close in on a root between two places where the curve has opposite signs.

    Chandrupatla's method (Advances in Engineering Software 28, 1997): inverse quadratic interpolation where
    it is safe, halving elsewhere.  A sample that has converged keeps its value, whatever its neighbours need.

    Returns
    -------
    root:
        The place, per sample, to the relative tolerance.
    value_above:
        The curve at the end of the last interval where it is not above zero: minus infinity where the curve
        has no value there.

    """

    def closer(_: int, at: _Bracket) -> _Bracket:
        near = at.near + at.share * (at.far - at.near)
        value_near = _fallen_if_missing(curve(near))
        same = (value_near > 0) == (at.value_near > 0)
        third, value_third = np.where(same, at.near, at.far), np.where(same, at.value_near, at.value_far)
        far, value_far = np.where(same, at.far, at.near), np.where(same, at.value_far, at.value_near)
        width = np.abs(far - near)
        tolerance = relative_tolerance * np.abs(near)
        now = ~at.done & ((value_near == 0) | (width <= 2 * tolerance))
        root = np.where(now, np.where(np.abs(value_far) < np.abs(value_near), far, near), at.root)
        value_above = np.where(now, np.minimum(value_near, value_far), at.value_above)
        span, rise = (near - far) / (third - far), (value_near - value_far) / (value_third - value_far)
        safe = (rise**2 < span) & ((1 - rise) ** 2 < 1 - span)
        interpolated = value_near / (value_far - value_near) * value_third / (value_far - value_third) + (
            third - near
        ) / (far - near) * value_near / (value_third - value_near) * value_far / (value_third - value_far)
        least = tolerance / width
        share = np.where(safe, np.minimum(np.maximum(interpolated, least), 1 - least), 0.5)
        return _Bracket(near, value_near, far, value_far, share, root, value_above, at.done | now)

    done = (upper == lower) | (value_upper == 0)
    half = np.full(np.shape(done), 0.5)
    start = _Bracket(upper, value_upper, lower, value_lower, half, upper, value_upper, done)
    with np.errstate(all="ignore"):
        # Halving alone would need this many from the widest interval; interpolation needs about seven.
        found = repeated(closer, start, 60)
    return np.where(found.done, found.root, np.nan), found.value_above


class _Chord(NamedTuple):
    """Two places on a curve; samples are done when found, or when they have no value any more."""

    before: Array
    value_before: Array
    at: Array
    found: Mask
    done: Mask


def secant(
    curve: Callable[[Array], Array],
    first: Array,
    second: Array,
    relative_tolerance: float = 1e-10,
    steps: int = 50,
) -> Array:
    """Find a root near two guesses by the secant method: at once for a straight line.

    Returns
    -------
    The root per sample, NaN where the steps did not become small; a converged sample keeps its value.

    """
    before, at = np.broadcast_arrays(first, second)
    value_before = curve(before)

    def closer(_: int, chord: _Chord) -> _Chord:
        value = curve(chord.at)
        run = np.where(value == chord.value_before, 1.0, value - chord.value_before)
        step = np.where(chord.found | (value == 0), 0.0, -value * (chord.at - chord.before) / run)
        at = chord.at + step
        found = chord.found | (np.abs(step) <= relative_tolerance * (1 + np.abs(at)))
        return _Chord(chord.at, value, at, found, found | np.isnan(step))

    nothing: Mask = np.zeros(np.shape(value_before), dtype=bool)
    chord = repeated(closer, _Chord(before, value_before, at, nothing, nothing), steps)
    return np.where(chord.found, chord.at, np.nan)


def reserve_factor(strength: Array, load: Array, cap: Array) -> Array:
    """Return strength over load, at most the cap, which also stands where there is no load; NaN stays NaN."""
    return np.where(cap * load <= strength, cap, strength / np.where(load == 0, 1.0, load))


def _fallen_if_missing(value: Array) -> Array:
    # Of the two, fmax takes the one that is a number.
    return np.fmax(value, -np.inf)
