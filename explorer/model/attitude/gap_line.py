"""The load spare at a gap under the splitter, the lean eliminated.

With the gap held at some size, moments about the splitter give the lean, since the downforce there has no
lever; what is then left of the vertical forces is a function of the gap alone:

    spare(gap) = downforce of splitter and air - springs and supports,        positive: the gap closes

As long as no support is met it is the power law of the splitter between straight lines in the gap.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask, picked
from explorer.model.aero.ground_effect import GroundEffect
from explorer.model.attitude.scan import Bracket
from explorer.model.attitude.supports import Car, Support
from explorer.model.numeric import CurveOf, narrowed, shape_of

#: Share of a gap to which it is closed in on.
TOLERANCE = 1e-12
#: Share of a gap below which a step of Halley's method is the last: the next has three times its digits.
CLOSE = 1e-5
#: Steps to the gap of least load spare.
LEANING_STEPS = 3


class NearGround(NamedTuple):
    """A car whose splitter feels the ground."""

    car: Car
    splitter: GroundEffect
    pressure: Array

    def at_share(self, share: Array | float) -> NearGround:
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

    def still_gap(self) -> Array:
        """Return the gap of the car without any air, on its springs alone."""
        car, place = self.car, self.splitter.place
        return self.splitter.at_rest + car.transfer * ((1 - place) / car.front_rate - place / car.rear_rate)

    def widest_gap(self) -> Array:
        """Return the gap of the car without any downforce of the splitter."""
        bare = self.without_splitter()
        front, rear = bare.balanced()
        return self.splitter.gap(front, rear - front)

    def gained(self, gap: Array, lean: Array) -> Array:
        """Return the downforce that the splitter gains at a gap and a lean."""
        return self.pressure * (self.splitter.area - self.splitter.loss * lean) * self.splitter.gained(gap)


class Line(NamedTuple):
    """What a gap makes of a car, straight in the gap as long as no support is met."""

    near: NearGround
    stiffness: Array
    by_lean: Array
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
            stiffness,
            by_lean,
            (lean, per_gap),
            (pushed - both * splitter.at_rest + by_lean * lean, both + by_lean * per_gap),
            (
                near.pressure * (splitter.area - splitter.loss * lean),
                -near.pressure * splitter.loss * per_gap,
            ),
            beyond,
        )

    def sides(self) -> tuple[Array, Mask, Mask]:
        """Return the gap of least load spare, and whether a balance lies above it and one in the stall."""
        tightest = self.tightest()
        opens: Mask = self.straight(tightest) < 0
        snaps: Mask = self.straight(self.near.splitter.smallest + 0 * tightest) > 0
        return tightest, opens, snaps

    def wide(self, gap: Array, steps: int) -> tuple[Array, Mask]:
        """Return the stable gap wider than the stall, and where it is known, by Halley's method.

        It triples the digits a step.
        """
        for _ in range(steps):
            gap, slope, step = self.halley(gap)
        return gap, (np.abs(step) <= CLOSE * gap) & (slope > 0) & (gap > self.near.splitter.smallest)

    def about(self) -> Array:
        """Return the gap by the fraction in it that agrees with the power law in two slopes at the reference.

        With it, all is a quadratic equation.
        """
        gain, reference = self.near.splitter.gain, self.near.splitter.reference
        per, more = self.spare[1] * reference, self.force[1] * reference
        at, bend = self.spare[0] + per, (gain + 1) / 2
        square, first = per * bend - gain * more, at * bend + per - gain * (self.force[0] + more)
        root = np.sqrt(np.maximum(first * first - 4 * square * at, 0))
        return reference * np.maximum(1 + (root - first) / (2 * square), 0.1)

    def near_the_snap(self, tightest: Array) -> Array:
        """Return the gap by the parabola through the least load spare, at which wide and narrow gaps meet."""
        splitter = self.near.splitter
        turn = splitter.gain * (splitter.reference / tightest) ** splitter.gain / tightest
        bend = turn * ((1 + splitter.gain) * (self.force[0] / tightest + self.force[1]) - 2 * self.force[1])
        return tightest + np.sqrt(np.maximum(-2 * self.straight(tightest) / bend, 0))

    def stalled(self) -> tuple[Array, Mask]:
        """Return the gap at or below the stall, and where there is one: a quadratic equation.

        Below the road nothing is gained any more, and the equation is linear.
        """
        splitter = self.near.splitter
        per_gap = (splitter.reference / splitter.smallest) ** splitter.gain / splitter.smallest
        at_road, below = self.spare[0] - self.force[0], self.spare[1] - self.force[1]
        square, first = self.force[1] * per_gap, below + self.force[0] * per_gap
        inside = first * first - 4 * square * at_road
        root = np.sqrt(np.maximum(inside, 0))
        gap = np.where(at_road < 0, -2 * at_road / (first + root), -at_road / below)
        return gap, (inside > 0) & (first > 0) & (below > 0)

    def halley(self, gap: Array) -> tuple[Array, Array, Array]:
        """Return a better gap wider than the stall, the slope of the load spare before it, and the step."""
        gain, reference = self.near.splitter.gain, self.near.splitter.reference
        most = (reference / gap) ** gain
        turn = gain * most / gap
        force = self.force[0] + self.force[1] * gap
        spare = self.spare[0] + self.spare[1] * gap + force * (most - 1)
        slope = self.spare[1] + self.force[1] * (most - 1) - force * turn
        curved = turn * (force * (gain + 1) / gap - 2 * self.force[1])
        step = spare / (slope - spare * curved / (2 * slope))
        return gap - step, slope, step

    def straight(self, gap: Array) -> Array:
        """Return the load spare at a gap with no support met; positive: the gap closes."""
        force = self.force[0] + self.force[1] * gap
        return self.spare[0] + self.spare[1] * gap + force * self.near.splitter.gained(gap)

    def tightest(self, widest: Array | float = 1.0) -> Array:
        """Return the gap, no smaller than at the stall, at which least load is spare with no support met.

        Wider than that the springs win over the ground as the gap opens; a balance there is stable.
        """
        splitter = self.near.splitter
        # Exact but for what the gap does to the lean; steps of Newton's method see to that.
        rise = splitter.gain * self.force[0] / np.maximum(self.spare[1], 1e-9)
        gap = (np.maximum(rise, 0) * splitter.reference**splitter.gain) ** (1 / (1 + splitter.gain))
        for _ in range(LEANING_STEPS):
            gap = np.clip(gap, splitter.smallest, widest)
            most = (splitter.reference / gap) ** splitter.gain
            bare = self.spare[1] - self.force[1]
            turn = splitter.gain * most / gap
            slope = bare + most * self.force[1] - turn * (self.force[0] + self.force[1] * gap)
            bend = turn * ((1 + splitter.gain) * (self.force[0] / gap + self.force[1]) - 2 * self.force[1])
            gap = gap - np.where(bend > 0, slope / np.where(bend > 0, bend, 1.0), 0.0)
        return np.clip(gap, splitter.smallest, widest)

    def barred(self, gap: Array, lowest: float = 0.0) -> Mask:
        """Tell where a car is pushed up at a gap at every share of the pressure from the lowest to the whole.

        With no support met, the load spare there times what holds the lean is quadratic in the share.  How
        far the car is past a support, times what holds the lean, is a straight line: a support met at neither
        end is met nowhere between, and where one is met the chord lies above.  The push is that over the sum
        of what holds the lean and what the support adds, which is least at an end; what a push adds to the
        load spare is a straight line over another, most at an end.  So the sum taken here is no less than the
        true one.  A support that only holds the car up is left out; where two are met nothing is said.
        """
        car, splitter, gained = self.near.car, self.near.splitter, self.near.splitter.gained(gap)
        drop, pressure, transfer = splitter.at_rest - gap, self.near.pressure, car.transfer
        ahead, behind = splitter.place * car.front_rate, (1 - splitter.place) * car.rear_rate
        turn, held = ahead - behind, splitter.place * ahead + (1 - splitter.place) * behind
        held_more, turned = self.stiffness - held, transfer + turn * drop
        turned_more = (1 - splitter.place) * car.rear - splitter.place * car.front - transfer
        pushed = car.front + car.rear + pressure * splitter.area * gained
        lost = car.front_loss + car.rear_loss + pressure * splitter.loss * gained
        sprung = (car.front_rate + car.rear_rate) * drop
        still = turn * turned - sprung * held
        more = pushed * held - sprung * held_more + turn * turned_more - lost * turned
        bend = pushed * held_more - lost * turned_more
        count = np.zeros(gap.shape)
        first = held + lowest * held_more
        for support, (at_zero, per_gap) in zip(car.supports, self.beyond, strict=True):
            arm, past = support.share - splitter.place, (at_zero + per_gap * gap) * self.stiffness
            before = (support.side * drop - support.reach) * first
            before = before + support.side * arm * (turned + lowest * turned_more)
            if np.any(past > 0) or np.any(before > 0):
                softest = np.minimum(first, self.stiffness) + support.rate * arm * arm
                pull = np.maximum(self.pull(support, gap), -support.side * (1 + arm * turn / held))
                pull = np.maximum(pull, 0) * support.rate / softest
                slope = pull * (np.maximum(past, 0) - np.maximum(before, 0)) / (1 - lowest)
                start = pull * np.maximum(before, 0) - slope * lowest
                still, bend = still + start * held, bend + slope * held_more
                more = more + start * held_more + slope * held
                count += (past > 0) | (before > 0)
        flat = -more / np.where(bend < 0, 2 * bend, -np.inf)
        most = np.clip(flat, lowest, 1)
        barred: Mask = (still + lowest * (more + lowest * bend) < 0) & (still + more + bend < 0)
        barred &= (still + most * (more + most * bend) < 0) & (count < 2) & (self.stiffness > 0)
        return barred

    def pull(self, support: Support, gap: Array) -> Array:
        """Return what a load on a support adds to the load spare at a gap; below zero it holds the car up."""
        splitter = self.near.splitter
        by_lean = self.by_lean - self.near.pressure * splitter.loss * splitter.gained(gap)
        return -support.side * (1 + (support.share - splitter.place) * by_lean / self.stiffness)

    def held_up(self, gap: Array) -> Mask:
        """Tell where a support may hold the car up at a gap or a wider one."""
        held: Mask = np.zeros(shape_of(self.near), dtype=bool)
        for support, (at_zero, per_gap) in zip(self.near.car.supports, self.beyond, strict=True):
            held |= (self.pull(support, gap) < 0) & ((at_zero + per_gap * gap > 0) | (per_gap > 0))
        return held

    def met(self, gap: Array) -> Mask:
        """Tell where a support is met at a gap."""
        met: Mask = np.zeros(np.shape(gap), dtype=bool)
        for at_zero, per_gap in self.beyond:
            met |= at_zero + per_gap * gap > 0
        return met

    def root(self, bracket: Bracket, tolerance: float = TOLERANCE) -> Array:
        """Close in on the gap between two at which no load is spare; the two may be one already."""
        low, high = bracket
        return narrowed(CurveOf(Line.left, (self,)), low, self.left(low), high, self.left(high), tolerance)[0]

    def left(self, gap: Array) -> Array:
        """Return the load spare at a gap, supports included."""
        spare, met = self.straight(gap), self.met(gap)
        if np.any(met):
            near, where = picked(self.near, met), gap[met]
            front, lean = _leaning(near, where, self.lean_at(gap)[met])
            by_axle = near.car.spare(front, front + lean)
            spare[met] = by_axle[0] + by_axle[1] + near.gained(where, lean)
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
