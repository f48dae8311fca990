"""The way of a car whose splitter feels the ground, from rest up in the pressure of the air.

The gap that is balanced at the most pressure is the one at which the splitter snaps down (``gap_spare``): up
to there the car keeps the widest gap that balances, from there on the one in the stall, until no load is
spare at the stall any more.  Supports may hold it up or turn it towards the ground: then pressures are known
up to which it keeps off a gap, and up to which it does not come up past one again, and a balance found by
trying which supports are met is its own where they leave no other.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask, picked
from explorer.model.aero.ground_effect import GroundEffect
from explorer.model.attitude.gap_spare import CLOSE, MANY, GapLine, Spare, SprungCar, turns
from explorer.model.attitude.supports import Support

#: Steps a round to the gap at which the pressure that balances it is most, and rounds.
STEPS_TO_SNAP, ROUNDS_TO_SNAP = 4, 4
#: Steps to one that a car on a support keeps off.
STEPS_STANDING = 6
#: A pressure, in pascals, that no model car meets.
NEVER = 1e5
#: Sets of supports tried to be met.
TRIES = 6


class Barrier(NamedTuple):
    """A gap, the power law there, the pressure up to which it is kept off, how far off a better one is."""

    gap: Array
    most: Array
    holds: Array
    off: Array

    @property
    def sure(self) -> Mask:
        """Whether there is no better one."""
        sure: Mask = (self.holds == np.inf) | (np.abs(self.off) <= CLOSE * self.gap)
        return sure

    def raised(self, line: GapLine, gap: Array, widest: Array, rounds: int) -> Barrier:
        """Return the best of this and those found from a gap on.

        Up to the pressure that any gap needs at least the car keeps off that gap: what is found is safe.  The
        next gap tried is that of least load spare at that pressure, by the power law.
        """
        best = self
        for _ in range(STEPS_TO_SNAP):
            most = line.splitter.most(gap)
            pressure, _ = turns(*line.powers(gap, most))
            tried = line.at(pressure).tightest(gap, most)
            tried = np.clip(tried, line.splitter.smallest, (gap + widest) / 2)
            better = pressure >= best.holds
            found = (gap, most, pressure, tried - gap)
            best = Barrier(*(np.where(better, new, old) for new, old in zip(found, best, strict=True)))
            gap = tried
        more = ~best.sure
        if rounds > 1 and np.any(more):
            few, *rest = picked((best, line, gap, widest), more)
            for whole, new in zip(best, few.raised(*rest, rounds - 1), strict=True):
                whole[more] = new
        return best


class Tried(NamedTuple):
    """Gap and lean of cars, where they are known, and where they are some balance, if not the car's."""

    gap: Array
    lean: Array
    known: Mask
    balanced: Mask


class KeptGap(NamedTuple):
    """A gap that a car on one support keeps off.

    Attributes
    ----------
    gap, snaps:
        The gap, and the pressure up to which it is kept off.
    below:
        From there on, the pressure up to which the car is below that gap; 0 where it is not known to be.
    only:
        Whether the support holds from there on down to the stall.
    """

    gap: Array
    snaps: Array
    below: Array
    only: Mask


class Way(NamedTuple):
    """What a car comes to from rest as the pressure of the air rises.

    Attributes
    ----------
    line:
        Its load spare with no support met.
    gap, most:
        The gap at which it snaps down, and the power law there.
    at_stall:
        The power law at the stall.
    snaps, reopens:
        Pressures up to which it keeps off the ground, and from which on it comes up again, by springs alone.
    sure:
        Whether the first is known.
    free, below:
        Pressures up to which a car on supports does not snap down, and does not come up again.
    standing:
        What it comes to on each of its supports alone.
    whole:
        Whether all this is known, or only that it keeps off the gap.
    """

    line: GapLine
    gap: Array
    most: Array
    at_stall: Array
    snaps: Array
    reopens: Array
    sure: Mask
    free: Array
    below: Array
    standing: tuple[KeptGap, ...] = ()
    whole: bool = True

    @classmethod
    def unknown(cls, splitter: GroundEffect) -> Way:
        """Return one that nobody asks, of a splitter without the effect."""
        none: tuple[Any, ...] = (np.zeros(()),)
        body = SprungCar(splitter, *none * (len(SprungCar._fields) - 1))
        return cls(GapLine(body, *none * (len(GapLine._fields) - 1)), *none * (len(cls._fields) - 3))

    @classmethod
    def of(cls, body: SprungCar, supports: tuple[Support, ...]) -> Way:
        """Look for the gap that is balanced at the most pressure, and for the part that supports have."""
        line, stall = GapLine.of(body), body.splitter.smallest
        at_stall = body.splitter.most(stall)
        snaps, reopens = turns(*line.powers(stall, at_stall))
        widest = np.maximum(body.splitter.at_rest - line.still / line.per_drop, stall)
        first = Barrier(stall, at_stall, snaps, np.full(np.shape(widest), np.inf))
        most = first.raised(line, np.sqrt(stall * widest), widest, ROUNDS_TO_SNAP)
        way = cls(line, *most[:2], at_stall, most.holds, reopens, most.sure, most.holds, reopens)
        return way.among(supports) if supports else way

    def among(self, supports: tuple[Support, ...]) -> Way:
        """Return it for a car with supports.

        At a gap held, how far the car is past a support, times what holds the lean, is a straight line in the
        pressure and in the gap.
        """
        body, gap, most = self.line.body, self.gap, self.most
        below = turns(*self.line.powers(gap, most))[1]
        return self._replace(
            free=np.minimum.reduce([self.snaps, *(body.harmless(one, gap, most) for one in supports)]),
            below=np.minimum.reduce([below, *(body.harmless(one, gap, most, -1.0) for one in supports)]),
        )

    def standing_up(self, supports: tuple[Support, ...]) -> Way:
        """Return it with what the car comes to on each of its supports alone."""
        standing = (self.standing_on(supports, index) for index in range(len(supports)))
        return self if self.standing else self._replace(standing=tuple(standing))

    def standing_on(self, supports: tuple[Support, ...], index: int) -> KeptGap:
        """Look for the gap that a car on one support keeps off up to the most pressure.

        Up to where it meets the support there, the springs alone keep it off, and from there on both.
        """
        body, splitter, stall = self.line.body, self.line.splitter, self.line.splitter.smallest
        support, others = supports[index], supports[:index] + supports[index + 1 :]
        none = np.zeros(np.shape(self.gap))
        if np.all(body.harmless(support, self.gap, self.most) >= NEVER):
            return KeptGap(self.gap, self.free, none, none > 0)
        line, gap, most = GapLine.of(body.on(support)), self.gap, self.most
        best, snaps, sure = gap, none, none > 0
        for _ in range(STEPS_STANDING):
            begins, (alone, risen) = body.touches(support, gap), turns(*self.line.powers(gap, most))
            held = line.stands(gap, most, begins)
            # Wider than at rest it has to rise past the gap first.
            rises = (alone == 0) & (risen <= np.minimum(begins, self.free))
            ends = np.where((begins <= alone) | rises, held, alone)
            for other in others:
                for one in (body, line.body):
                    ends = np.minimum(ends, one.harmless(other, gap, most))
            better = ends >= snaps
            tried = np.clip(line.at(ends).tightest(gap, most), stall, 2 * splitter.at_rest)
            tried = np.where(np.isfinite(ends), tried, gap)
            close = (ends == held) & (np.abs(tried - gap) <= CLOSE * gap)
            best, snaps, sure = (
                np.where(better, new, old) for new, old in ((gap, best), (ends, snaps), (close, sure))
            )
            gap, most = tried, splitter.most(tried)
        most = splitter.most(best)
        below = line.stands(best, most, snaps)
        for other in others:
            for one in (body, line.body):
                below = np.minimum(below, one.harmless(other, best, most, -1.0))
        only = sure & (body.touches(support, stall) <= snaps)
        return KeptGap(best, snaps, np.where(sure, below, 0.0), only)

    def under(self, splitter: GroundEffect, transfer: Array, supports: tuple[Support, ...]) -> Way:
        """Return it at another gap at rest and load moved, as far as the same gap tells."""
        body = self.line.body
        if np.all(splitter.at_rest == body.splitter.at_rest) and np.all(transfer == body.moment):
            return self
        body = body._replace(splitter=splitter, moment=transfer)
        line = GapLine.of(body)
        snaps, _ = turns(*line.powers(self.gap, self.most))
        harmless = (body.harmless(support, self.gap, self.most) for support in supports)
        free = np.minimum.reduce([snaps, *harmless])
        none = np.zeros(np.shape(snaps))
        return self._replace(
            line=line, snaps=snaps, reopens=none + np.inf, sure=none > 0, free=free, standing=(), whole=False
        )

    def balance(self, supports: tuple[Support, ...], pressure: Array) -> Tried:
        """Return the gap and the lean at a pressure."""
        body, wide = self.line.body, (pressure < self.snaps) | (pressure > self.reopens)
        gap, known = self.on(self.line.at(pressure), wide)
        known &= wide | self.sure
        lean, hold = body.lean(gap, pressure)
        known &= hold > 0
        if supports:
            known &= pressure < np.where(wide, self.free, self.below)
            known &= ~np.any(body.meets(supports, gap, lean), axis=0)
            if not np.all(wide):
                # Nor at the stall, and so nowhere between.
                stall = body.splitter.smallest
                known &= wide | ~np.any(body.meets(supports, stall, body.lean(stall, pressure)[0]), axis=0)
        found, rows = Tried(gap, lean, known, known.copy()), ~known
        if self.whole and supports and np.any(rows):
            state = picked((self, supports, pressure, gap, lean), rows)
            for field, new in zip(found, Way.held(*state), strict=True):
                field[rows] = new
        return found

    def on(self, spare: Spare, wide: Mask) -> tuple[Array, Mask]:
        """Return the gap wider than the stall or in it, and where it is known."""
        gap, known = spare.wide(spare.about(), wide, MANY)
        if not np.all(wide):
            stalled, good = spare.stalled(self.at_stall)
            good &= stalled <= spare.splitter.smallest
            gap, known = np.where(wide, gap, stalled), np.where(wide, known, good)
        return gap, known

    def held(self, supports: tuple[Support, ...], pressure: Array, gap: Array, lean: Array) -> Tried:
        """Return gap and lean of cars on supports, found by trying from a first gap and lean.

        It is known where the car is above a gap that it keeps off; where it is below one and has but one
        balance there, the load spare rising with the gap from the stall on; and where it snapped down
        standing on the same one support, or on none.
        """
        stall, met = self.line.splitter.smallest, self.line.body.meets(supports, gap, lean)
        below = np.where(self.sure, self.below, 0.0)
        kept = [(self.gap, self.free, self.snaps, below)]
        standing = self.standing_up(supports).standing
        kept += [(one.gap, one.snaps, one.snaps, one.below) for one in standing]
        open_still: Mask = np.any([pressure < up_to for _, up_to, _, _ in kept], axis=0)
        for _ in range(TRIES):
            body = self.line.body
            for support, one in zip(supports, met, strict=True):
                body = body.on(support._replace(rate=support.rate * one))
            spare = GapLine.of(body).at(pressure)
            at_stall, slope = spare.there(stall, self.at_stall)
            gap, known = self.on(spare, open_still | (at_stall < 0))
            lean, hold = body.lean(gap, pressure)
            tried, met = met, body.meets(supports, gap, lean)
            same = np.all(tried == met, axis=0)
            if np.all(same):
                break
        balanced = known & same & (hold > 0)
        known, falls, fell = balanced.copy(), np.zeros(gap.shape, bool), np.zeros(gap.shape, bool)
        for place, up_to, snaps, below in kept:
            above, under = pressure < up_to, (pressure >= snaps) & (pressure < below)
            known &= (~above | (gap > place)) & (~under | (gap < place))
            falls |= under
        # Nothing met, nor between there and the stall what would hold it up.
        fell |= (pressure >= self.snaps) & (pressure < kept[0][3]) & ~np.any(met, axis=0)
        for support in supports:
            fell &= pressure < self.line.body.harmless(support, stall, self.at_stall, -1.0)
        for one, here in zip(standing, met, strict=True):
            fell |= one.only & (pressure >= one.snaps) & here & (np.sum(met, axis=0) == 1)
        return Tried(gap, lean, known & (open_still | (falls & (slope > 0)) | fell), balanced)
