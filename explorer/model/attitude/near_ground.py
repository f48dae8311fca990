"""The attitude of a car whose splitter makes more downforce as its gap closes.

With the gap held at some size, moments about the splitter give the lean, since the downforce there has no
lever; what is then left of the vertical forces is a function of the gap alone:

    spare(gap) = downforce of splitter and air - springs and supports,        positive: the gap closes

Its zeros are the balances.  They lie between the road and the gap of a car whose splitter makes no downforce
at all: there the ends have opposite signs, so there is one.  A balance is stable where spare rises with the
gap.  Of several, the car takes the one it comes to from rest as the pressure of the air rises: where a
balance ends it goes on, the way it is pulled, to the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask, picked
from explorer.model.aero.ground_effect import GroundEffect
from explorer.model.attitude.scan import STEPS, Bracket, Scan
from explorer.model.attitude.supports import Balance, Car, carried
from explorer.model.numeric import narrowed, shape_of

#: How far below the road the lowest place lies, in metres: no support lets the splitter sink so far.
DEEP = 0.02
#: Share of a gap to which it is closed in on, and rounds of halving that this takes at most.
TOLERANCE, ROUNDS = 1e-12, 60
#: Sets of supports tried to be met before the gap is closed in on without them.
TRIES = 6
#: A downforce, in newtons, that no model car makes.
NEVER = 1e6


class NearGround(NamedTuple):
    """A car whose splitter feels the ground."""

    car: Car
    splitter: GroundEffect
    pressure: Array

    def at_share(self, share: float) -> NearGround:
        """Return the car at a share of the pressure of the air."""
        return self._replace(car=self.car.at_share(share), pressure=share * self.pressure)

    def without_splitter(self) -> Car:
        """Return the car without any downforce of the splitter."""
        car, place = self.car, self.splitter.place
        force, loss = self.pressure * self.splitter.area, self.pressure * self.splitter.loss
        return car._replace(
            front=car.front - force * (1 - place),
            rear=car.rear - force * place,
            front_loss=car.front_loss - loss * (1 - place),
            rear_loss=car.rear_loss - loss * place,
        )

    def widest_gap(self) -> Array:
        """Return the gap of the car without any downforce of the splitter."""
        bare = self.without_splitter()
        front, rear = bare.balanced()
        return self.splitter.gap(front, rear - front)

    def snap_margin(self) -> Array:
        """Return how much downforce lacks before no balance wider than the stall is left, supports apart.

        ``NEVER`` where it is lost without a snap or never there; NaN where the rest of the car has diverged.
        """
        line, splitter = Line.of(self), self.splitter
        tightest = line.tightest()
        snaps = (tightest > splitter.smallest) & (splitter.at_rest > splitter.smallest)
        return np.where(
            self.without_splitter().on_springs()[2], np.where(snaps, -line.straight(tightest), NEVER), np.nan
        )

    def balance(self) -> Balance:
        """Return the attitude; NaN where there is none.  All fields have one axis or are numbers."""
        line, widest = Line.of(self), self.widest_gap()
        # A car that stands on its splitter has lost all of its downforce.
        standing = ~(widest > 0)
        lower = np.where(standing, widest, np.minimum(self.splitter.smallest, widest))
        upper, stable = widest.copy(), np.where(np.isnan(widest), 0.0, 1.0)
        # Down to the stall the downforce is convex in the gap: a car pushed up there has one balance.
        one = standing | ((line.straight(lower) < 0) & (line.left(lower) < 0) & (line.left(upper) > 0))
        if not np.all(one):
            (lower[~one], upper[~one]), stable[~one] = _followed(picked(self, ~one))
        gap = line.root(Bracket(lower, upper))
        lean = line.lean_held(gap)
        front = self.splitter.at_rest - gap - self.splitter.place * lean
        return Balance(lean, _gained(self, gap, lean), *carried(self.car.points, front, front + lean), stable)


class Line(NamedTuple):
    """What a gap makes of a car, straight in the gap as long as no support is met."""

    near: NearGround
    lean: tuple[Array, Array]
    spare: tuple[Array, Array]
    force: tuple[Array, Array]
    beyond: tuple[tuple[Array, Array], ...]

    @classmethod
    def of(cls, near: NearGround, met: Sequence[Mask] = ()) -> Line:
        """Eliminate the lean by the moments about the splitter; supports that are met count as springs."""
        car, splitter = near.car, near.splitter
        ahead, behind = splitter.place * car.front_rate, (1 - splitter.place) * car.rear_rate
        turn = ahead - behind
        stiffness = splitter.place * (ahead - car.front_loss) + (1 - splitter.place) * (
            behind + car.rear_loss
        )
        moment = (1 - splitter.place) * car.rear - splitter.place * car.front
        both, pushed = car.front_rate + car.rear_rate, car.front + car.rear
        losses = car.front_loss + car.rear_loss
        arms = [support.share - splitter.place for support in car.supports]
        for support, arm, one in zip(car.supports, arms, met, strict=False):
            rate, held = support.rate * one, support.rate * one * support.side * support.reach
            stiffness, turn, moment = stiffness + rate * arm * arm, turn - rate * arm, moment + held * arm
            both, pushed = both + rate, pushed + held
        per_gap = -turn / stiffness
        lean = moment / stiffness - splitter.at_rest * per_gap
        by_lean = turn - losses
        beyond = tuple(
            (
                support.side * (splitter.at_rest + arm * lean) - support.reach,
                support.side * (arm * per_gap - 1),
            )
            for support, arm in zip(car.supports, arms, strict=True)
        )
        return cls(
            near,
            (lean, per_gap),
            (pushed - both * splitter.at_rest + by_lean * lean, both + by_lean * per_gap),
            (
                near.pressure * (splitter.area - splitter.loss * lean),
                -near.pressure * splitter.loss * per_gap,
            ),
            beyond,
        )

    def straight(self, gap: Array) -> Array:
        """Return the load spare at a gap with no support met; positive: the gap closes."""
        force = self.force[0] + self.force[1] * gap
        return self.spare[0] + self.spare[1] * gap + force * self.near.splitter.gained(gap)

    def straight_and_slope(self, gap: Array) -> tuple[Array, Array]:
        """Return the load spare at a gap with no support met, and its change with the gap."""
        gained, slope = self.near.splitter.gained_and_slope(gap)
        force = self.force[0] + self.force[1] * gap
        spare = self.spare[0] + self.spare[1] * gap + force * gained
        return spare, self.spare[1] + self.force[1] * gained + force * slope

    def tightest(self, widest: Array | float = 1.0) -> Array:
        """Return the gap, no smaller than at the stall, at which least load is spare with no support met.

        Wider than that the springs win over the ground as the gap opens; a balance there is stable.
        """
        splitter = self.near.splitter
        # Exact but for what the gap does to the lean; two steps of Newton's method see to that.
        rise = splitter.gain * self.force[0] / np.maximum(self.spare[1], 1e-9)
        gap = (np.maximum(rise, 0) * splitter.reference**splitter.gain) ** (1 / (1 + splitter.gain))
        for _ in range(2):
            gap = np.clip(gap, splitter.smallest, widest)
            most = (splitter.reference / gap) ** splitter.gain
            bare = self.spare[1] - self.force[1]
            turn = splitter.gain * most / gap
            slope = bare + most * self.force[1] - turn * (self.force[0] + self.force[1] * gap)
            bend = turn * ((1 + splitter.gain) * (self.force[0] / gap + self.force[1]) - 2 * self.force[1])
            gap = gap - np.where(bend > 0, slope / np.where(bend > 0, bend, 1.0), 0.0)
        return np.clip(gap, splitter.smallest, widest)

    def met(self, gap: Array) -> Mask:
        """Tell where a support is met at a gap."""
        met: Mask = np.zeros(np.shape(gap), dtype=bool)
        for at_zero, per_gap in self.beyond:
            met |= at_zero + per_gap * gap > 0
        return met

    def root(self, bracket: Bracket) -> Array:
        """Close in on the gap between two at which no load is spare; the two may be one already."""
        gap = self.newton(bracket)
        held = self.met(gap) & (bracket.lower < bracket.upper)
        if np.any(held):
            gap[held] = _root_held(*picked((self.near, bracket, gap), held))
        return gap

    def newton(self, bracket: Bracket) -> Array:
        """Close in on the gap as if no support were met but those that count as springs.

        Newton's method, halving where it would leave the bracket: it ends at the bracket's end where there is
        no such gap.
        """
        (low, high), gap = bracket, bracket.upper.copy()
        done = low == high
        for _ in range(ROUNDS):
            if np.all(done):
                break
            spare, slope = self.straight_and_slope(gap)
            low, high = np.where(spare <= 0, gap, low), np.where(spare > 0, gap, high)
            following = gap - spare / np.where(slope == 0, 1.0, slope)
            inside = (following >= low) & (following <= high) & (slope != 0)
            following = np.where(inside, following, (low + high) / 2)
            gap, before = np.where(done, gap, following), gap
            done = done | (np.abs(gap - before) <= TOLERANCE * (np.abs(gap) + 1e-6))
        return gap

    def left(self, gap: Array) -> Array:
        """Return the load spare at a gap, supports included."""
        spare, met = self.straight(gap), self.met(gap)
        if np.any(met):
            near, where = picked(self.near, met), gap[met]
            front, lean = _leaning(near, where, self.lean_at(gap)[met])
            by_axle = near.car.spare(front, front + lean)
            spare[met] = by_axle[0] + by_axle[1] + _gained(near, where, lean)
        return spare

    def lean_at(self, gap: Array) -> Array:
        """Return the lean at a gap with no support met."""
        return self.lean[0] + self.lean[1] * gap

    def lean_held(self, gap: Array) -> Array:
        """Return the lean at a gap, supports included."""
        lean, met = self.lean_at(gap), self.met(gap)
        if np.any(met):
            lean[met] = _leaning(picked(self.near, met), gap[met], lean[met])[1]
        return lean


def _gained(near: NearGround, gap: Array, lean: Array) -> Array:
    """Return the downforce that a splitter gains at a gap and a lean."""
    area = near.splitter.area - near.splitter.loss * lean
    return near.pressure * area * near.splitter.gained(gap)


def _leaning(near: NearGround, gap: Array, straight: Array) -> tuple[Array, Array]:
    """Return front travel and lean at a gap with supports met, by moments about the splitter.

    The moment falls with the lean in straight pieces, which end where a support is met: between the two ends
    that enclose its zero it is one line.  ``straight`` is the lean without supports.
    """
    car, splitter = near.car, near.splitter
    drop = splitter.at_rest - gap
    arms = [support.share - splitter.place for support in car.supports]
    ends = [straight - 1, straight, straight + 1]
    for support, arm in zip(car.supports, arms, strict=True):
        lever = np.where(arm == 0, 1.0, arm)
        ends.append(np.where(arm == 0, straight, (support.side * support.reach - drop) / lever))
    leans = np.stack(np.broadcast_arrays(*ends))
    front = drop - splitter.place * leans
    by_front, by_rear = car.spare(front, front + leans)
    moments = (1 - splitter.place) * by_rear - splitter.place * by_front
    below = np.argmax(np.where(moments >= 0, leans, -np.inf), axis=0)[np.newaxis]
    above = np.argmin(np.where(moments < 0, leans, np.inf), axis=0)[np.newaxis]
    low, high = (np.take_along_axis(leans, at, 0)[0] for at in (below, above))
    left, over = (np.take_along_axis(moments, at, 0)[0] for at in (below, above))
    lean = low + (high - low) * left / (left - over)
    return drop - splitter.place * lean, lean


def _root_held(near: NearGround, bracket: Bracket, gap: Array) -> Array:
    """Close in on the gap with supports met: those that are met count as springs, found by trying."""
    supports, line = near.car.supports, Line.of(near)
    done: Mask = np.zeros(np.shape(gap), dtype=bool)
    met = [at_zero + per_gap * gap > 0 for at_zero, per_gap in line.beyond]
    for _ in range(TRIES):
        line = Line.of(near, met)
        found = line.newton(bracket)
        lean = line.lean_at(found)
        front = near.splitter.at_rest - found - near.splitter.place * lean
        now = [support.past(front, lean) > 0 for support in supports]
        within = (found > bracket.lower) & (found < bracket.upper)
        same = ~done & within & np.all([a == b for a, b in zip(met, now, strict=True)], axis=0)
        gap, done, met = np.where(same, found, gap), done | same, now
        if np.all(done):
            return gap
    line, (low, high) = Line.of(picked(near, ~done)), picked(bracket, ~done)
    gap[~done] = narrowed(line.left, low, line.left(low), high, line.left(high), TOLERANCE)[0]
    return gap


def _scan(near: NearGround) -> tuple[Line, Scan]:
    """Look at places on both sides of every gap at which the load spare turns."""
    line, widest = Line.of(near), np.maximum(near.widest_gap(), 1e-4)
    stall = np.minimum(near.splitter.smallest, widest)
    tightest = line.tightest(widest)
    road = np.zeros_like(widest)
    gaps = [road - DEEP, road, stall / 2, stall, np.sqrt(stall * tightest), tightest]
    gaps += [np.sqrt(tightest * widest), widest, 4 * widest + 0.2]
    places = np.stack(gaps)
    return line, Scan(line.left, places, line.left(places))


def _followed(near: NearGround) -> tuple[Bracket, Array]:
    """Return two places around the balance that is taken, and how many stable ones there are."""
    _, scan = _scan(near)
    stable = scan.stable()
    several = stable > 1
    if not np.any(several):
        return scan.first(), stable
    lost = several.copy()
    lost[several] = ~_kept_open(picked(near, several))
    # The widest of its balances is that of a car whose splitter never snapped to the ground.
    gap = scan.places[-1].copy()
    if np.any(lost):
        gap[lost] = _come_to(picked(near, lost))
    return scan.bracket(gap), stable


def _kept_open(near: NearGround) -> Mask:
    """Tell which cars had a balance wider than the stall at every lower pressure, with no support met."""
    kept = near.splitter.at_rest > near.splitter.smallest + np.zeros(shape_of(near))
    for step in range(1, STEPS):
        line = Line.of(near.at_share((step / STEPS) ** 2))
        tightest = line.tightest()
        kept = kept & (line.straight(tightest) < 0) & ~line.met(tightest)
    return kept


def _come_to(near: NearGround) -> Array:
    """Return the gap just before the full pressure of the air, come to from rest.

    Where there was one balance alone the car was there, whatever came before: the way is followed from the
    last such step.  Pressure goes with the square of the speed.
    """
    still = near.at_share(0.0).car
    front, rear = still.balanced()
    gap = near.splitter.gap(front, rear - front) + np.zeros(shape_of(near))
    several, way = np.ones(gap.shape, dtype=bool), []
    for step in range(STEPS - 1, 0, -1):
        now = picked(near, several).at_share((step / STEPS) ** 2)
        line, scan = _scan(now)
        one = scan.stable() == 1
        rows = np.flatnonzero(several)
        several[rows[one]] = False
        way.append((rows, one, line, scan))
        if np.all(one):
            break
    for rows, one, line, scan in reversed(way):
        bracket, first = scan.bracket(gap[rows]), scan.first()
        gap[rows] = line.root(Bracket(*(np.where(one, *pair) for pair in zip(first, bracket, strict=True))))
    return gap
