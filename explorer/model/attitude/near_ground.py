"""The attitude of a car whose splitter makes more downforce as its gap closes.

The balances are the gaps at which no load is spare (``gap_line``).  They lie between the road and the gap of
a car whose splitter makes no downforce at all: there the ends have opposite signs, so there is one.  A
balance is stable where the load spare rises with the gap.  Of several, the car takes the one it comes to
from rest as the pressure of the air rises: where a balance ends it goes on, the way it is pulled, to the
next.

Nearly all cars are known from their way (``gap_way``).  For the others, which stand on several supports,
every balance is looked for.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array, Placed, picked
from explorer.model.attitude.gap_line import Line, NearGround
from explorer.model.attitude.gap_way import Tried, Way
from explorer.model.attitude.scan import STEPS, Scan
from explorer.model.attitude.supports import Balance, carried
from explorer.model.numeric import CurveOf

#: How far below the road the lowest place lies, in metres: no support lets the splitter sink so far.
DEEP = 0.02
#: Shares of a gap to which it is closed in on, and on the way.
TOLERANCE, COARSE = 1e-12, 1e-5
#: A downforce, in newtons, that no model car makes.
NEVER = 1e6


def balance(near: NearGround, way: Way) -> Balance:
    """Return the attitude; NaN where there is none.  All fields have one axis or are numbers."""
    gap, lean = _found(near, way.under(near.splitter, near.car.transfer, near.car.supports))
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


def _found(near: NearGround, way: Way) -> tuple[Array, Array]:
    """Return gap and lean: of cars not known from part of their way from all of it, or from every balance."""
    tried = way.balance(near.car.supports, near.pressure)
    rest = ~tried.known
    if np.any(rest):
        near, way, few = picked((near, way, tried), rest)
        if way.whole:
            found = _followed(near, way, few)
        else:
            found = _found(near, Way.of(way.line.body, near.car.supports))
        tried.gap[rest], tried.lean[rest] = found
    return tried.gap, tried.lean


def _followed(near: NearGround, way: Way, tried: Tried) -> tuple[Array, Array]:
    """Return gap and lean of any car: every balance is looked for, and of several the way followed."""
    line = Line.of(near)
    scan = _scan(line)
    bracket, several = scan.first(), scan.stable() > 1
    if np.any(several):
        found = picked(scan, several).bracket(_come_to(*picked((near, way), several)))
        for all_of_them, these in zip(bracket, found, strict=True):
            all_of_them[several] = these
    # The balance that was tried, if it is the one.
    gap = tried.gap
    rest = ~(tried.balanced & (bracket.lower <= gap) & (gap <= bracket.upper))
    if np.any(rest):
        gap = gap.copy()
        few, within = picked((scan, bracket), rest)
        gap[rest] = few.root(within, TOLERANCE)
    return gap, line.lean_held(gap)


def _scan(line: Line) -> Scan:
    """Look at places between which the load spare does not turn, so that no pair of balances is missed.

    No balance is wider than the gap of a car without splitter.  In the stall the load spare is straight
    between supports, but for what the lean takes of the downforce: one more place is looked at there.
    """
    widest = np.maximum(line.near.widest_gap(), 1e-4)
    stall = np.minimum(line.near.splitter.smallest, widest)
    gaps = [0 * widest, stall / 2, stall, widest, 4 * widest + 0.2, *line.turns(widest, -DEEP)]
    places = np.sort(np.stack(gaps), axis=0)
    return Scan(CurveOf(Line.left, (line,)), places, line.left(places))


def _come_to(near: NearGround, way: Way) -> Array:
    """Return the gap just before the full pressure of the air, come to from rest.

    The way is followed in equal steps of the speed, whose square the pressure goes with, from the last at
    which the car is known.
    """
    supports, way = near.car.supports, way.standing_up(near.car.supports)
    # Without air it is on its springs, or on what holds them.
    front, rear = near.at_share(0.0).car.balanced()
    gap, last = near.splitter.gap(front, rear - front), np.zeros(near.pressure.shape)
    for further in STEPS / 2 ** np.arange(1, np.log2(STEPS) + 1):
        tried = way.balance(supports, ((last + further) / STEPS) ** 2 * near.pressure)
        gap, last = np.where(tried.known, tried.gap, gap), last + further * tried.known
    later = np.arange(STEPS)[:, np.newaxis] > last
    step_of, car = np.nonzero(later)
    many = picked(near, Placed(last.size, car)).at_share((step_of / STEPS) ** 2)
    stable, between = _scan(Line.of(many)).balances(COARSE)
    for step in range(int(np.min(last)) + 1, STEPS):
        here, cars = step_of == step, later[step]
        # Of the balances in rising order every other one is stable; it is carried away from those between.
        passed = np.count_nonzero(between[:, here] < gap[cars], axis=0)
        gap[cars] = np.take_along_axis(stable[:, here], passed[np.newaxis], 0)[0]
    return gap
