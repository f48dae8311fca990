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
from explorer.model.attitude.supports import Car

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

    def turns(self, widest: Array, deepest: float) -> list[Array]:
        """Return gaps from the widest down, between which the load spare, supports included, does not turn.

        They are those at which a support is met or left, and that of least load spare of each piece between
        them.  Proven in the power law where no downforce of the splitter goes with the lean, and where each
        support is met once at most and left once on the way; else as exact as ``tightest`` is.
        """
        near, here, found = self.near, widest, []
        lean = self.lean_held(widest)
        front = near.splitter.at_rest - widest - near.splitter.place * lean
        met = [support.past(front, lean) > 0 for support in near.car.supports]
        for _ in range(2 * len(met) + 1):
            piece, ends = Line.of(near, met), [np.full(np.shape(widest), deepest)]
            for one, (at_zero, per_gap) in zip(met, piece.beyond, strict=True):
                changes = np.where(one, per_gap > 0, per_gap < 0)
                ends.append(np.where(changes, -at_zero / np.where(changes, per_gap, 1.0), deepest))
            end = np.clip(np.maximum.reduce(ends), deepest, here)
            found += [np.clip(piece.tightest(widest), end, here), end]
            if not np.any(end > deepest):
                break
            met = [one ^ ((end > deepest) & (each >= end)) for one, each in zip(met, ends[1:], strict=True)]
            here = end
        return found

    def met(self, gap: Array) -> Mask:
        """Tell where a support is met at a gap."""
        met: Mask = np.zeros(np.shape(gap), dtype=bool)
        for at_zero, per_gap in self.beyond:
            met |= at_zero + per_gap * gap > 0
        return met

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
