"""The way of a car whose splitter feels the ground, from rest up in the pressure of the air, no support met.

With the gap held at some size, moments about the splitter give the lean, since the downforce there has no
lever.  What is then left of the vertical forces, times what holds the lean, is a polynomial: quadratic in the
pressure and, with the power law of the splitter put in as a number, a straight line in the gap:

    spare(gap, pressure) = downforce of splitter and air - springs,        positive: the gap closes

So the pressure at which a gap is balanced is known at once, and the gap at which that pressure is most is the
one at which the splitter snaps down: up to there the car keeps the widest gap that balances, from there on
the one in the stall, until no load is spare at the stall any more.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask, picked
from explorer.model.aero.ground_effect import GroundEffect
from explorer.model.attitude.supports import Support

#: Steps to the gap at which the pressure that balances it is most.
STEPS_TO_SNAP = 6
#: A step of Halley's method below this share of a gap is the last: the next has three times its digits.
CLOSE = 1e-5
#: Steps of Halley's method for most cars, and for those about to snap.
FEW, MANY = 2, 12


class Spare(NamedTuple):
    """Load spare over the gap at one pressure: ``still + per_gap gap + most (force + force_per_gap gap)``."""

    splitter: GroundEffect
    still: Array
    per_gap: Array
    force: Array
    force_per_gap: Array

    def halley(self, gap: Array) -> tuple[Array, Array, Array]:
        """Return a better gap wider than the stall, the slope of the load spare before it, and the step."""
        gain, more = self.splitter.gain, self.force_per_gap
        most = self.splitter.most(gap)
        turn, force = gain * most / gap, self.force + more * gap
        spare = self.still + self.per_gap * gap + force * most
        slope = self.per_gap + more * most - force * turn
        curved = turn * (force * (gain + 1) / gap - 2 * more)
        step = spare / (slope - spare * curved / (2 * slope))
        return gap - step, slope, step

    def tightest(self, gap: Array, most: Array) -> Array:
        """Return a better gap of least load spare; ``most`` is the power law at the one before."""
        gain = self.splitter.gain
        turned = most * (gain * self.force / gap - (1 - gain) * self.force_per_gap) / self.per_gap
        return gap * np.maximum(turned, 0) ** (1 / (1 + gain))

    def about(self) -> Array:
        """Return the gap by the fraction in it that agrees with the power law in two slopes at the reference.

        With it, all is a quadratic equation.
        """
        gain, reference = self.splitter.gain, self.splitter.reference
        more, bend = self.force_per_gap * reference, (gain + 1) / 2
        per = self.per_gap * reference + more
        at, square = self.still + self.force + per, per * bend - gain * more
        first = at * bend + per - gain * (self.force + more)
        root = np.sqrt(np.maximum(first * first - 4 * square * at, 0))
        return reference * np.maximum(1 + (root - first) / (2 * square), 0.1)

    def wide(self, gap: Array, wanted: Mask, steps: int) -> tuple[Array, Mask]:
        """Return the stable gap wider than the stall near another, and where it is wanted and known."""
        for _ in range(FEW):
            gap, slope, step = self.halley(gap)
        known = wanted & (np.abs(step) <= CLOSE * gap) & (slope > 0) & (gap > self.splitter.smallest)
        more = wanted & ~known
        if steps > FEW and np.any(more):
            gap[more], known[more] = picked(self, more).wide(gap[more], wanted[more], steps - FEW)
        return gap, known

    def stalled(self, most: Array) -> tuple[Array, Mask]:
        """Return the gap at or below the stall, and where there is one: a quadratic equation.

        Below the road nothing is gained any more, and the equation is linear.
        """
        per_gap = most / self.splitter.smallest
        square, first = self.force_per_gap * per_gap, self.per_gap + self.force * per_gap
        inside = first * first - 4 * square * self.still
        gap = -2 * self.still / (first + np.sqrt(np.maximum(inside, 0)))
        if np.any(self.still > 0):
            gap = np.where(self.still < 0, gap, -self.still / self.per_gap)
        return gap, (inside > 0) & (first > 0) & (self.per_gap > 0)


class GapLine(NamedTuple):
    """Load spare at a gap, times what holds the lean, in powers of pressure and gap; no support met.

    Attributes
    ----------
    splitter:
        What the splitter gains by its gap.
    transfer:
        Load moved from the front to the rear.
    still, level, curved:
        What is spare at the gap at rest, in rising powers of the pressure, without the splitter.
    per_drop, per_drop_and_pressure:
        What one metre less of gap takes.
    force, force_per_pressure, force_per_drop:
        What the splitter adds at its reference gap, over the pressure, at rest and a metre down.
    turn, held, held_per_pressure, moment:
        Moment of one metre of drop; moment one metre of lean takes, by springs and by air; moment of the air.
    """

    splitter: GroundEffect
    transfer: Array
    still: Array
    level: Array
    curved: Array
    per_drop: Array
    per_drop_and_pressure: Array
    force: Array
    force_per_pressure: Array
    force_per_drop: Array
    turn: Array
    held: Array
    held_per_pressure: Array
    moment: Array
    lift_loss: Array

    @classmethod
    def of(
        cls,
        splitter: GroundEffect,
        areas: tuple[Array, Array],
        losses: tuple[Array, Array],
        rates: tuple[Array, Array],
        transfer: Array,
    ) -> GapLine:
        """Eliminate the lean; areas and what a metre of lean takes from them, front first."""
        place, area, loss = splitter.place, splitter.area, splitter.loss
        ahead, behind = place * rates[0], (1 - place) * rates[1]
        turn, held = ahead - behind, place * ahead + (1 - place) * behind
        held_more = (1 - place) * losses[1] - place * losses[0]
        moment = (1 - place) * areas[1] - place * areas[0]
        level, lost, rate = areas[0] + areas[1], losses[0] + losses[1], rates[0] + rates[1]
        force, force_more, force_drop = area * held, area * held_more - loss * moment, -loss * turn
        line = cls(
            splitter,
            np.zeros(()),
            np.zeros(()),
            level * held + turn * moment - force,
            level * held_more - lost * moment - force_more,
            rate * held - turn * turn,
            rate * held_more + lost * turn + force_drop,
            force,
            force_more,
            force_drop,
            turn,
            held,
            held_more,
            moment,
            lost,
        )
        return line.under(transfer)

    def under(self, transfer: Array) -> GapLine:
        """Return the same with a load moved from the front to the rear."""
        more = transfer - self.transfer
        if not np.any(more):
            return self
        loss = self.splitter.loss * more
        return self._replace(
            transfer=transfer,
            still=self.still + self.turn * more,
            level=self.level - self.lift_loss * more + loss,
            force=self.force - loss,
        )

    def at(self, pressure: Array) -> Spare:
        """Return the load spare over the gap at a pressure."""
        per_drop = self.per_drop + pressure * self.per_drop_and_pressure
        force_per_drop, rest = pressure * self.force_per_drop, self.splitter.at_rest
        return Spare(
            self.splitter,
            self.still + pressure * (self.level + pressure * self.curved) - per_drop * rest,
            per_drop,
            pressure * (self.force + pressure * self.force_per_pressure) + force_per_drop * rest,
            -force_per_drop,
        )

    def powers(self, gap: Array, most: Array) -> tuple[Array, Array, Array]:
        """Return what is spare at a gap, in rising powers of the pressure; ``most`` is the power law."""
        drop = self.splitter.at_rest - gap
        more = (
            self.level - self.per_drop_and_pressure * drop + most * (self.force + self.force_per_drop * drop)
        )
        return self.still - self.per_drop * drop, more, self.curved + most * self.force_per_pressure

    def lean(self, gap: Array, pressure: Array) -> tuple[Array, Array]:
        """Return the lean at a gap, and what holds it."""
        hold = self.held + pressure * self.held_per_pressure
        moment = self.transfer + pressure * self.moment + self.turn * (self.splitter.at_rest - gap)
        return moment / hold, hold

    def touches(self, support: Support, gap: Array) -> Array:
        """Return the pressure up to which a support is not met when the car is held at a gap."""
        drop, arm = self.splitter.at_rest - gap, support.share - self.splitter.place
        clear = support.side * drop - support.reach
        still = clear * self.held + support.side * arm * (self.transfer + self.turn * drop)
        more = clear * self.held_per_pressure + support.side * arm * self.moment
        return np.where(still < 0, np.where(more > 0, -still / more, np.inf), 0.0)


class Way(NamedTuple):
    """What a car comes to from rest as the pressure of the air rises, no support met.

    Attributes
    ----------
    line:
        Its load spare.
    gap, most:
        The gap at which it snaps down, and the power law there.
    at_stall:
        The power law at the stall.
    snaps, reopens:
        Pressures up to which it keeps off the ground, and from which on it comes up again.
    sure:
        Whether the first is known.
    """

    line: GapLine
    gap: Array
    most: Array
    at_stall: Array
    snaps: Array
    reopens: Array
    sure: Mask

    @classmethod
    def unknown(cls, splitter: GroundEffect) -> Way:
        """Return one that nobody asks, of a splitter without the effect."""
        none: tuple[Any, ...] = (np.zeros(()),)
        return cls(GapLine(splitter, *none * (len(GapLine._fields) - 1)), *none * (len(cls._fields) - 1))

    @classmethod
    def of(cls, line: GapLine) -> Way:
        """Close in on the gap that is balanced at the most pressure.

        Up to the pressure that any gap needs at least the car keeps off that gap: what is found is safe.  The
        next gap tried is that of least load spare at that pressure, by the power law.
        """
        splitter = line.splitter
        stall, widest = splitter.smallest, splitter.at_rest - line.still / line.per_drop
        at_stall = splitter.most(stall)
        snaps, reopens = _turns(*line.powers(stall, at_stall))
        best, most_there, off = stall, at_stall, np.full(np.shape(widest), np.inf)
        gap = np.sqrt(stall * np.maximum(widest, stall))
        for _ in range(STEPS_TO_SNAP):
            most = splitter.most(gap)
            pressure, _ = _turns(*line.powers(gap, most))
            tried = np.clip(
                line.at(pressure).tightest(gap, most), stall, np.maximum((gap + widest) / 2, stall)
            )
            better = pressure >= snaps
            best, most_there, snaps, off = (
                np.where(better, new, old)
                for new, old in ((gap, best), (most, most_there), (pressure, snaps), (tried - gap, off))
            )
            gap = tried
        sure = (snaps == np.inf) | (np.abs(off) <= CLOSE * best)
        return cls(line, best, most_there, at_stall, snaps, reopens, sure)

    def under(self, splitter: GroundEffect, transfer: Array, pressure: Array) -> Way:
        """Return the way, as far as it is told by one pressure, at another gap at rest and load moved."""
        line = self.line
        if np.all(splitter.at_rest == line.splitter.at_rest) and np.all(transfer == line.transfer):
            return self
        line = line._replace(splitter=splitter).under(transfer)
        snaps, _ = _turns(*line.powers(self.gap, self.most))
        beyond = pressure >= snaps
        way = self._replace(line=line, snaps=snaps, reopens=np.full(pressure.shape, np.inf))
        if np.any(beyond):
            rest = Way.of(picked(line, beyond))
            way = Way(line, *(_put(old, new, beyond) for old, new in zip(way[1:], rest[1:], strict=True)))
        return way

    def free(self, supports: tuple[Support, ...]) -> Array:
        """Return the pressure up to which the car keeps off the gap where it snaps and any support there."""
        free = self.snaps
        for support in supports:
            free = np.minimum(free, self.line.touches(support, self.gap))
        return free

    def balance(self, pressure: Array) -> tuple[Array, Array, Mask]:
        """Return the gap and the lean at a pressure, and where they are known."""
        spare = self.line.at(pressure)
        wide = (pressure < self.snaps) | (pressure > self.reopens)
        gap, known = spare.wide(spare.about(), wide, MANY)
        if not np.all(wide):
            stalled, good = spare.stalled(self.at_stall)
            good &= stalled <= self.line.splitter.smallest
            gap, known = np.where(wide, gap, stalled), np.where(wide, known, good & self.sure)
        lean, hold = self.line.lean(gap, pressure)
        return gap, lean, known & (hold > 0)


def _turns(still: Array, level: Array, curved: Array) -> tuple[Array, Array]:
    """Return the pressures at which a load that is below zero without air comes to zero, and falls again."""
    inside = level * level - 4 * curved * still
    rise = level + np.sqrt(np.maximum(inside, 0))
    comes = (inside >= 0) & (rise > 0)
    first = np.where(still < 0, np.where(comes, -2 * still / rise, np.inf), 0.0)
    return first, np.where(comes & (curved < 0), -rise / (2 * curved), np.inf)


def _put(old: Any, new: Any, where: Mask) -> Any:
    """Return values with those at some places changed."""
    whole = np.broadcast_to(old, where.shape).copy()
    whole[where] = new
    return whole
