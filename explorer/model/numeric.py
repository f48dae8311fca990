"""Roots of curves, for all samples at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeVar

import numpy as np

from explorer.graph.arrays import Array, Mask, Repeated, Rows, Which, anywhere, everywhere, picked

# Places through the servo's travel: what is asked there is smooth between them, but for kinks.
TRAVEL_SHARES = np.linspace(0.0, 1.0, 9)
#: What a curve tells.
Told = TypeVar("Told")
#: Samples from which on it pays to ask a curve for some of them alone.
MANY = 256
#: Values an array may hold when several places are looked at in one call; so few samples could be taken for a
#: table's rows.
AT_ONCE, TABLE = 8192, 64
#: A curve that still changes by this share over so narrow a share of its place does not pass, it jumps.
JUMP, NARROW = 1e-3, 1e-7
#: Times a search goes twice as far for a curve to change its sign.
DOUBLINGS = 6


@dataclass(frozen=True)
class CurveOf:
    """A function of curves and values that can be had for fewer samples, as they can.

    ``function`` takes the parts first and its own arguments after them.
    """

    function: Callable[..., Any]
    parts: tuple[Any, ...]

    def __call__(self, *arguments: Any) -> Any:
        """Evaluate it."""
        return self.function(*self.parts, *arguments)

    def of_samples(self, where: Which) -> CurveOf:
        """Return the same function for some of the samples."""
        return CurveOf(self.function, picked(self.parts, where))


def pays(curve: Callable[..., Any], open_samples: Mask) -> bool:
    """Tell whether a search goes on quicker with its open samples alone; what each gets is the same."""
    if not hasattr(curve, "of_samples") or open_samples.ndim != 1 or open_samples.size < MANY:
        return False
    return bool(2 * np.count_nonzero(open_samples) < open_samples.size)


def places_at_once(curve: Callable[..., Any], shape: tuple[int, ...]) -> int:
    """Return at how many places it pays to look in one call: calls cost more than short arrays do."""
    if len(shape) != 1 or shape[0] < TABLE or not by_sample(curve):
        return 1
    return max(1, AT_ONCE // shape[0])


def by_sample(group: Any) -> bool:
    """Tell whether all curves that belong together can be had for some of the samples."""
    if isinstance(group, tuple):
        return all(map(by_sample, group))
    if isinstance(group, CurveOf):
        return by_sample(group.parts)
    return hasattr(group, "of_samples") or not callable(group)


def looks(
    curve: Callable[..., Any], places: Sequence[tuple[Array | float, ...]], shape: tuple[int, ...]
) -> list[Any]:
    """Evaluate an elementwise curve at several places, as many at once as it pays.

    Parameters
    ----------
    curve:
        Function to an array or a named tuple of arrays.
    places:
        Arguments of each look.
    shape:
        Of the samples.
    """
    most, found = places_at_once(curve, shape), []
    for begin in range(0, len(places), most):
        some = places[begin : begin + most]
        if len(some) == 1:
            found.append(curve(*some[0]))
            continue
        arguments = [
            np.concatenate([np.broadcast_to(one, shape) for one in each]) for each in zip(*some, strict=True)
        ]
        value = picked(curve, Repeated(shape[0], len(some)))(*arguments)
        found += [_look(value, (len(some), *shape), number) for number in range(len(some))]
    return found


def _look(value: Any, shape: tuple[int, ...], number: int) -> Any:
    if isinstance(value, tuple):
        return type(value)(*(_look(one, shape, number) for one in value))
    return np.reshape(value, shape)[number] if np.ndim(value) else value


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
    lower, value_lower = np.broadcast_to(lowest, shape), np.broadcast_to(value, shape)
    upper, value_upper, started = lower, value_lower, value_lower > 0
    fallen, rows, fewer = ~started, None, curve
    places = [lowest + (highest - lowest) * (step / steps) for step in range(1, steps + 1)]
    while places and not everywhere(fallen):
        if pays(curve, ~fallen if rows is None else ~fallen[rows]):
            rows, fewer = np.flatnonzero(~fallen), picked(curve, ~fallen)
        size = shape if rows is None else rows.shape
        some = places[: places_at_once(fewer, size)]
        places = places[len(some) :]
        asked = some if rows is None else [np.broadcast_to(place, shape)[rows] for place in some]
        for place, found in zip(some, looks(fewer, [(one,) for one in asked], size), strict=True):
            if rows is None:
                value = _fallen_if_missing(found)
            else:
                value = np.zeros(shape)
                value[rows] = _fallen_if_missing(found)
            now = ~fallen & (value <= 0)
            upper, value_upper = np.where(now, place, upper), np.where(now, value, value_upper)
            fallen = fallen | now
            lower, value_lower = np.where(fallen, lower, place), np.where(fallen, value_lower, value)
    crossing = fallen & started
    upper, value_upper = np.where(crossing, upper, lower), np.where(crossing, value_upper, 0.0)
    root, value_above = narrowed(curve, lower, value_lower, upper, value_upper, relative_tolerance)
    return Fall(root, started, crossing, crossing & np.isneginf(value_above))


def narrowed(
    curve: Callable[[Array], Array],
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
    with np.errstate(invalid="ignore"):
        steep = JUMP * np.abs(value_upper - value_lower)
    half = np.full(np.shape(upper), 0.5)
    return _closed_in(curve, upper, value_upper, lower, value_lower, steep, half, relative_tolerance, 60)


def _closed_in(
    curve: Callable[[Array], Array],
    near: Array,
    value_near: Array,
    far: Array,
    value_far: Array,
    steep: Array,
    share: Array,
    relative_tolerance: float,
    rounds: int,
) -> tuple[Array, Array]:
    """Go on from two places and the share of the way to the far one at which to look next."""
    root, value_above = near.copy(), value_near.copy()
    done = (near == far) | (value_near == 0)
    with np.errstate(all="ignore"):
        # Halving alone would need sixty from the widest interval; interpolation needs about seven.
        for left in range(rounds, 0, -1):
            if everywhere(done):
                break
            if pays(curve, ~done):
                state = (curve, near, value_near, far, value_far, steep, share, relative_tolerance, left)
                root[~done], value_above[~done] = _closed_in(*picked(state, ~done))
                return root, value_above
            place = near + share * (far - near)
            value = _fallen_if_missing(curve(place))
            same = (value > 0) == (value_near > 0)
            third, value_third = np.where(same, near, far), np.where(same, value_near, value_far)
            far, value_far = np.where(same, far, near), np.where(same, value_far, value_near)
            near, value_near = place, value
            width = np.abs(far - near)
            tolerance = relative_tolerance * np.abs(near)
            jumps = (width <= NARROW * np.abs(near)) & (np.abs(value_far - value_near) > steep)
            now = ~done & ((value_near == 0) | (width <= 2 * tolerance) | jumps)
            root = np.where(now, np.where(np.abs(value_far) < np.abs(value_near), far, near), root)
            value_above = np.where(now, np.minimum(value_near, value_far), value_above)
            done = done | now
            span, rise = (near - far) / (third - far), (value_near - value_far) / (value_third - value_far)
            safe = (rise**2 < span) & ((1 - rise) ** 2 < 1 - span)
            interpolated = value_near / (value_far - value_near) * value_third / (value_far - value_third) + (
                third - near
            ) / (far - near) * value_near / (value_third - value_near) * value_far / (value_third - value_far)
            least = tolerance / width
            share = np.where(safe, np.clip(interpolated, least, 1 - least), 0.5)
    return np.where(done, root, np.nan), value_above


class Met(NamedTuple):
    """A root, NaN where none was met, and what else the curve told at the first guess and there."""

    root: Array
    at_first: tuple[Array, ...]
    at_root: tuple[Array, ...]


def balanced(
    curve: Callable[[Array], tuple[Array, ...]],
    first: Array,
    second: Array | None = None,
    relative_tolerance: float = 1e-10,
    steps: int = 12,
) -> Met:
    """Find a root near two guesses by the secant method: at once for a straight line.

    A converged sample keeps its value, whatever its neighbours need.  One that the method does not come to is
    enclosed and closed in on: a curve that jumps past zero has its root in the jump.

    Parameters
    ----------
    curve:
        Elementwise function of one place per sample; what comes after its value is told along.
    first, second:
        Two guesses; without a second it is the first plus the value there, for curves that come near to
        falling by one for every one.
    relative_tolerance:
        Of the root, or of one where that is larger.
    steps:
        After so many a sample whose steps did not become small has no root.
    """
    value, *at_first = curve(first)
    guess = first + value if second is None else second
    shape = np.broadcast_shapes(np.shape(value), np.shape(first), np.shape(guess))
    first, value, guess = (np.broadcast_to(each, shape) for each in (first, value, guess))
    found = _met(curve, first, value, guess, relative_tolerance, steps)
    lost = np.isnan(found[0]) & np.isfinite(value)
    if anywhere(lost):
        alone = hasattr(curve, "of_samples") and lost.ndim == 1
        here = (curve, first, value, relative_tolerance)
        rest = _enclosed(*(picked(here, lost) if alone else here))
        found += [np.full(shape, np.nan) for _ in rest[len(found) :]]
        for whole, new in zip(found, rest, strict=True):
            whole[lost] = new if alone else np.broadcast_to(new, shape)[lost]
    root, *at_root = found
    return Met(root, tuple(at_first), tuple(at_root))


def _enclosed(
    curve: Callable[[Array], tuple[Array, ...]], first: Array, value: Array, relative_tolerance: float
) -> list[Array]:
    """Go from a place the way its value points, twice as far each time, until the curve changes its sign."""
    far = first + value
    for left in range(DOUBLINGS, -1, -1):
        beyond = curve(far)[0]
        short = np.isfinite(beyond) & ((beyond > 0) == (value > 0))
        if not left or not anywhere(short):
            break
        far = np.where(short, 2 * far - first, far)
    crossed = np.isfinite(beyond) & ((beyond > 0) != (value > 0))
    far, beyond = np.where(crossed, far, first), np.where(crossed, beyond, value)
    root, above = narrowed(lambda at: curve(at)[0], first, value, far, beyond, relative_tolerance)
    root = np.where(crossed & np.isfinite(above), root, np.nan)
    return [root, *curve(root)[1:]]


def _met(
    curve: Callable[[Array], tuple[Array, ...]],
    before: Array,
    value_before: Array,
    at: Array,
    relative_tolerance: float,
    steps: int,
) -> list[Array]:
    """Go on from two places; return the root and what is told there."""
    found: Mask = np.zeros(np.shape(at), dtype=bool)
    step, answer = np.zeros(found.shape), [np.full(found.shape, np.nan)]
    for left in range(steps, 0, -1):
        open_samples = ~(found | np.isnan(step))
        if not anywhere(open_samples):
            break
        if pays(curve, open_samples):
            state = picked((curve, before, value_before, at, relative_tolerance, left), open_samples)
            for whole, rest in zip(answer, _met(*state), strict=True):
                whole[open_samples] = rest
            break
        value, *told = curve(at)
        run = np.where(value == value_before, 1.0, value - value_before)
        step = np.where(found | (value == 0), 0.0, -value * (at - before) / run)
        before, value_before, at = at, value, at + step
        now = ~found & (np.abs(step) <= relative_tolerance * (1 + np.abs(at)))
        answer += [np.full(found.shape, np.nan) for _ in told[len(answer) - 1 :]]
        if anywhere(now):
            answer = [np.where(now, new, old) for new, old in zip((at, *told), answer, strict=True)]
            found = found | now
    return answer


def secant(curve: Callable[[Array], Array], first: Array, second: Array) -> Array:
    """Return the root of a curve that tells nothing besides its value, as ``balanced`` does."""
    return balanced(lambda at: (curve(at),), first, second).root


def at_row(table: Array, row: Rows) -> Array:
    """Return a table's values at one row per sample; rows and samples broadcast against each other.

    Parameters
    ----------
    table:
        Shape (rows, samples).
    row:
        Shape (samples,).
    """
    if row.ndim == 1 and table.shape[1:] == row.shape:
        flat: Array = table.reshape(-1)[row * row.size + np.arange(row.size)]
        return flat
    shape = np.broadcast_shapes(row.shape, table.shape[1:])
    fewer = (1,) * (len(shape) + 1 - table.ndim)
    wide = np.broadcast_to(table.reshape(len(table), *fewer, *table.shape[1:]), (len(table), *shape))
    picked: Array = np.take_along_axis(wide, np.broadcast_to(row, shape)[np.newaxis], axis=0)[0]
    return picked


def over_travel(curve: Callable[[Array], Told], closed: Array | float, travel: Array | float) -> list[Told]:
    """Return a curve's values at nine places from one end of the travel to the other."""
    return [curve(closed + share * travel) for share in TRAVEL_SHARES]


def least(values: Sequence[Array]) -> Array:
    """Return the least of a smooth curve, from its values at three or more places as far apart each.

    It is the lowest value, or that of the parabola through it and its neighbours (at an end, the next two)
    where that turns beside it: exact for a parabola.  Where the curve has a kink it may be too low, by at
    most an eighth of what those three values span.  NaN at any place is kept.
    """
    lowest, around = np.minimum(values[0], values[1]), list(values[:3])
    for middle in range(2, len(values) - 1):
        here = values[middle] if middle + 2 < len(values) else np.minimum(values[middle], values[-1])
        better = here < lowest
        near = values[middle - 1 : middle + 2]
        around = [np.where(better, new, old) for new, old in zip(near, around, strict=True)]
        lowest = np.minimum(lowest, here)
    before, at, after = around
    slope, bend = (after - before) / 2, before - 2 * at + after
    beside = (np.abs(slope) <= bend) & (bend > 0)
    turn: Array = at - slope * slope / (2 * np.where(beside, bend, np.inf))
    return np.minimum(np.minimum(lowest, values[-1]), turn)


def most(values: Sequence[Array]) -> Array:
    """Return the largest of a smooth curve, as ``least`` does."""
    return -least([-value for value in values])


def shape_of(group: Any) -> tuple[int, ...]:
    """Return the shape that an array, or all arrays in a tuple, have when broadcast against each other."""
    if isinstance(group, tuple):
        return np.broadcast_shapes(*(shape_of(field) for field in group))
    return np.shape(group)


def reserve_factor(strength: Array, load: Array, cap: Array) -> Array:
    """Return strength over load, at most the cap, which also stands where there is no load; NaN stays NaN."""
    return np.where(cap * load <= strength, cap, strength / np.where(load == 0, 1.0, load))


def _fallen_if_missing(value: Array) -> Array:
    # Of the two, fmax takes the one that is a number.
    return np.fmax(value, -np.inf)
