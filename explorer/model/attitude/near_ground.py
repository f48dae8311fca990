"""The attitude of a car whose splitter makes more downforce as its gap closes.

The balances are the gaps at which no load is spare (``gap_line``).  They lie between the road and the gap of
a car whose splitter makes no downforce at all: there the ends have opposite signs, so there is one.  A
balance is stable where the load spare rises with the gap.  Of several, the car takes the one it comes to
from rest as the pressure of the air rises: where a balance ends it goes on, the way it is pulled, to the
next.

Most cars are known from one equation in the gap: their splitter never came near the ground, or no gap wider
than the stall can hold it.  For the others every balance is looked for.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np

from explorer.graph.arrays import Array, Mask, picked
from explorer.model.attitude.gap_line import Line, NearGround
from explorer.model.attitude.gap_way import Way
from explorer.model.attitude.scan import STEPS, Scan
from explorer.model.attitude.supports import Balance, carried
from explorer.model.numeric import CurveOf, shape_of

#: How far below the road the lowest place lies, in metres: no support lets the splitter sink so far.
DEEP = 0.02
#: Steps of Halley's method for most cars, and for those that may be about to snap.
STEPS_OPEN, MORE_STEPS = 2, 6
#: Lower pressures looked at for a barrier before a car's way is followed, each a share of the last.
LOWER, SHARE = 3, 0.6
#: Share of its gap that a car may lose on the way and count as never come near the ground.
BARRIER = 0.9
#: Share of a gap to which it is known on the way.
COARSE = 1e-5
#: Sets of supports tried to be met before all balances are looked for.
TRIES = 6
#: A downforce, in newtons, that no model car makes.
NEVER = 1e6
#: Gap and lean of cars, and which of them are known.
Known: TypeAlias = tuple[Array, Array, Mask]


def balance(near: NearGround, way: Way) -> Balance:
    """Return the attitude; NaN where there is none.  All fields have one axis or are numbers."""
    way = way.under(near.splitter, near.car.transfer, near.pressure)
    gap, lean, known = way.balance(near.pressure)
    front = near.splitter.at_rest - gap - near.splitter.place * lean
    supports = near.car.supports
    if supports:
        known &= near.pressure < way.free(supports)
        for support in supports:
            known &= support.past(front, lean) <= 0
    if not np.all(known):
        line = Line.of(picked(near, ~known))
        found, leaning, good = _by_equation(line)
        if not np.all(good):
            found[~good], leaning[~good] = _followed(picked(line, ~good))
        gap[~known], lean[~known] = found, leaning
        front = near.splitter.at_rest - gap - near.splitter.place * lean
    return Balance(lean, near.gained(gap, lean), *carried(near.car.points, front, front + lean))


def stable(near: NearGround) -> Array:
    """Count the attitudes the car can keep."""
    return np.where(np.isnan(near.widest_gap()), 0.0, _scan(Line.of(near)).stable())


def snap_margin(near: NearGround) -> Array:
    """Return how much downforce lacks before no balance wider than the stall is left, supports apart.

    ``NEVER`` where it is lost without a snap or never there; NaN where the rest of the car has diverged.
    """
    line, splitter = Line.of(near), near.splitter
    tightest = line.tightest()
    snaps = (tightest > splitter.smallest) & (splitter.at_rest > splitter.smallest)
    held = near.without_splitter().on_springs()[2]
    return np.where(held, np.where(snaps, -line.straight(tightest), NEVER), np.nan)


def _by_equation(line: Line) -> Known:
    """Solve for the cars of which one equation is enough."""
    gap, lean, known = _kept_open(line, LOWER)
    if not np.all(known):
        rest = ~known
        gap[rest], lean[rest], known[rest] = _open_or_snapped(picked(line, rest))
    return gap, lean, known


def _kept_open(line: Line, lower: int) -> Known:
    """Solve for the cars whose splitter never came near the ground.

    A gap somewhat smaller than the one now and than that of a car without air is a barrier where the car is
    pushed up at every lower pressure.  A car that rises before it meets a point has one up to some lower
    pressure, and another from there on.
    """
    gap, lean, settled, _ = _with_supports(line, lambda line: line.wide(line.about(), STEPS_OPEN))
    stall = line.near.splitter.smallest
    kept: Mask = settled & line.barred(np.maximum(BARRIER * np.minimum(gap, line.near.still_gap()), stall))
    rest = settled & ~kept
    if lower and line.near.car.supports and np.any(rest):
        now = picked(line, rest)
        gap_then, _, kept_then = _kept_open(Line.of(now.near.at_share(SHARE)), lower - 1)
        barrier = np.maximum(BARRIER * np.minimum(gap[rest], gap_then), now.near.splitter.smallest)
        kept[rest] = kept_then & now.barred(barrier, SHARE)
    return gap, lean, kept


def _open_or_snapped(line: Line) -> Known:
    """Solve for the cars whose only balances are one wider than the stall and one in it.

    Where both are there the car is in the one that was the only one at the last lower pressure at which
    there was but one.
    """
    stall, supports = line.near.splitter.smallest, line.near.car.supports
    gap, lean, settled, met = _with_supports(line, Line.stalled)
    # Those that turn the car towards the ground take wider balances away; others may hold it there.
    met = [one & (line.pull(support, stall) > 0) for support, one in zip(supports, met, strict=True)]
    held = Line.of(line.near, met) if np.any(met) else line
    tightest, opens, snaps = held.sides()
    settled &= snaps & (gap <= stall) & ~held.held_up(stall) & (np.sum([0 * gap, *met], axis=0) < 2)
    if np.any(opens):
        alone = opens & ~np.any([opens & False, *met], axis=0) & ~line.held_up(stall)
        settled &= ~opens | alone
        comes_open, both = alone & ~snaps, alone & snaps
        if np.any(both):
            comes_open[both] = _comes_open(picked(line.near, both))
        if np.any(comes_open):
            few = picked(line, comes_open)
            found, good = few.wide(few.near_the_snap(tightest[comes_open]), MORE_STEPS)
            gap[comes_open], lean[comes_open] = found, few.lean_at(found)
            settled[comes_open] = good & ~few.met(found)
    return gap, lean, settled


def _comes_open(near: NearGround) -> Mask:
    """Tell which cars with two balances are in the wider one: all lower pressures at once."""
    shares = (np.arange(STEPS)[:, np.newaxis] / STEPS) ** 2
    _, opens, snaps = Line.of(near.at_share(shares)).sides()
    # Without air a car has but one.
    last = STEPS - 1 - np.argmax((opens != snaps)[::-1], axis=0)
    open_then: Mask = np.take_along_axis(opens, last[np.newaxis], 0)[0]
    return open_then


def _with_supports(
    line: Line, solve: Callable[[Line], tuple[Array, Mask]]
) -> tuple[Array, Array, Mask, list[Mask]]:
    """Solve with no support met, and where one is with those that are met as springs, found by trying.

    What they are comes last.
    """
    gap, settled = solve(line)
    lean = line.lean_at(gap)
    met = [at_zero + per_gap * gap > 0 for at_zero, per_gap in line.beyond]
    rows = np.flatnonzero(settled & np.any([settled & False, *met], axis=0))
    now = [one[rows] for one in met]
    for _ in range(TRIES if rows.size else 0):
        among = np.zeros(gap.shape, dtype=bool)
        among[rows] = True
        near, tried = picked(line.near, among), now
        held = Line.of(near, tried)
        found, good = solve(held)
        leaning = held.lean_at(found)
        front = near.splitter.at_rest - found - near.splitter.place * leaning
        now = [support.past(front, leaning) > 0 for support in near.car.supports]
        same = np.all([a == b for a, b in zip(tried, now, strict=True)], axis=0)
        gap[rows], lean[rows], settled[rows] = found, leaning, good & same
        for one, these in zip(met, now, strict=True):
            one[rows] = these
        if np.all(same):
            break
        rows, now = rows[~same], [one[~same] for one in now]
    return gap, lean, settled, met


def _followed(line: Line) -> tuple[Array, Array]:
    """Solve for any car, the slow way: every balance is looked for, and of several the way followed.

    Where there was one balance alone the car was there, whatever came before: the others' way is followed
    through ever lower pressures, in equal steps of the speed, back to the last such.
    """
    scan = _scan(line)
    bracket, several = scan.first(), scan.stable() > 1
    if np.any(several):
        found = picked(scan, several).bracket(_come_to(picked(line.near, several)))
        for all_of_them, these in zip(bracket, found, strict=True):
            all_of_them[several] = these
    gap = line.root(bracket)
    return gap, line.lean_held(gap)


def _scan(line: Line) -> Scan:
    """Look at places on both sides of every gap at which the load spare turns."""
    widest = np.maximum(line.near.widest_gap(), 1e-4)
    stall = np.minimum(line.near.splitter.smallest, widest)
    tightest = line.tightest(widest)
    road = np.zeros_like(widest)
    gaps = [road - DEEP, road, stall / 2, stall, np.sqrt(stall * tightest), tightest]
    gaps += [np.sqrt(tightest * widest), widest, 4 * widest + 0.2]
    if line.near.car.supports:
        # Supports that are met move the least load spare.
        met = [at_zero + per_gap * tightest > 0 for at_zero, per_gap in line.beyond]
        gaps.append(Line.of(line.near, met).tightest(widest))
    places = np.sort(np.stack(gaps), axis=0)
    return Scan(CurveOf(Line.left, (line,)), places, line.left(places))


def _come_to(near: NearGround) -> Array:
    """Return the gap just before the full pressure of the air, come to from rest.

    Where there was one balance alone the car was there, whatever came before: the way is followed from the
    last such step.  Pressure goes with the square of the speed.
    """
    still = near.at_share(0.0).car
    front, rear = still.balanced()
    gap = near.splitter.gap(front, rear - front) + np.zeros(shape_of(near))
    rows, way = np.arange(gap.size), []
    for step in range(STEPS - 1, 0, -1):
        line = Line.of(near.at_share((step / STEPS) ** 2))
        found, _, known = _by_equation(line)
        gap[rows[known]] = found[known]
        rows, near, line = rows[~known], picked(near, ~known), picked(line, ~known)
        if not rows.size:
            break
        way.append((rows, line, _scan(line)))
    for rows, line, scan in reversed(way):
        gap[rows] = line.root(scan.bracket(gap[rows]), COARSE)
    return gap
