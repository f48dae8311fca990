"""The load spare at a gap under a splitter, the lean eliminated, over the pressure of the air.

With the gap held at some size, moments about the splitter give the lean, since the downforce there has no
lever.  What is then left of the vertical forces, times what holds the lean, is a polynomial: quadratic in the
pressure and, with the power law of the splitter put in as a number, a straight line in the gap:

    spare(gap, pressure) = downforce of splitter and air - springs,        positive: the gap closes

So the pressure at which a gap is balanced is known at once.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask, picked
from explorer.model.aero.ground_effect import GroundEffect
from explorer.model.attitude.supports import Support

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

    def there(self, gap: Array, most: Array) -> tuple[Array, Array]:
        """Return the load spare at a gap, and its slope; ``most`` is the power law there."""
        force = self.force + self.force_per_gap * gap
        slope = self.per_gap + most * (self.force_per_gap - self.splitter.gain * force / gap)
        return self.still + self.per_gap * gap + force * most, slope

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


class SprungCar(NamedTuple):
    """A car by what carries it, about the splitter: forces, moments, and what a metre of drop or lean takes.

    Attributes
    ----------
    splitter:
        What the splitter gains by its gap.
    load, moment:
        Without air: force down, and moment that lowers the rear.
    area, moment_area:
        The same of the air, over the pressure.
    rate, turn, held:
        Force one metre of drop takes; moment it adds; moment one metre of lean takes.
    loss, held_area:
        Force and moment one metre of lean takes by the air, over the pressure.
    """

    splitter: GroundEffect
    load: Array
    moment: Array
    area: Array
    moment_area: Array
    rate: Array
    turn: Array
    held: Array
    loss: Array
    held_area: Array

    @classmethod
    def of(
        cls,
        splitter: GroundEffect,
        areas: tuple[Array, Array],
        losses: tuple[Array, Array],
        rates: tuple[Array, Array],
        transfer: Array,
    ) -> SprungCar:
        """Take together both axles, front first: areas, what a metre of lean takes from them, and springs."""
        place = splitter.place
        ahead, behind = place * rates[0], (1 - place) * rates[1]
        return cls(
            splitter,
            np.zeros(()),
            transfer,
            areas[0] + areas[1],
            (1 - place) * areas[1] - place * areas[0],
            rates[0] + rates[1],
            ahead - behind,
            place * ahead + (1 - place) * behind,
            losses[0] + losses[1],
            (1 - place) * losses[1] - place * losses[0],
        )

    def on(self, support: Support) -> SprungCar:
        """Return the car standing on a support, which counts as a spring."""
        arm, rate = support.share - self.splitter.place, support.rate
        load = rate * support.side * support.reach
        return self._replace(
            load=self.load + load,
            moment=self.moment + load * arm,
            rate=self.rate + rate,
            turn=self.turn - rate * arm,
            held=self.held + rate * arm * arm,
        )

    def lean(self, gap: Array, pressure: Array) -> tuple[Array, Array]:
        """Return the lean at a gap, and what holds it."""
        hold = self.held + pressure * self.held_area
        moment = self.moment + pressure * self.moment_area + self.turn * (self.splitter.at_rest - gap)
        return moment / hold, hold

    def meets(self, supports: tuple[Support, ...], gap: Array, lean: Array) -> Mask:
        """Tell which supports the car meets at a gap and a lean, one row each."""
        front = self.splitter.at_rest - gap - self.splitter.place * lean
        return np.stack([support.past(front, lean) > 0 for support in supports])

    def touches(self, support: Support, gap: Array) -> Array:
        """Return the pressure up to which a support is not met when the car is held at a gap."""
        drop, arm = self.splitter.at_rest - gap, support.share - self.splitter.place
        clear = support.side * drop - support.reach
        still = clear * self.held + support.side * arm * (self.moment + self.turn * drop)
        more = clear * self.held_area + support.side * arm * self.moment_area
        return np.where(still < 0, np.where(more > 0, -still / more, np.inf), 0.0)

    def harmless(self, support: Support, gap: Array, most: Array, sense: float = 1.0) -> Array:
        """Return the pressure up to which a support is not met at a gap held, or holds the car up there.

        With a ``sense`` of -1, or turns it towards the ground.
        """
        arm, side = support.share - self.splitter.place, sense * support.side
        still = side * (self.held + arm * self.turn)
        more = side * (self.held_area - arm * (self.loss + self.splitter.loss * (most - 1)))
        holds = np.where(still > 0, np.where(more < 0, -still / more, np.inf), 0.0)
        return np.maximum(self.touches(support, gap), holds)


class GapLine(NamedTuple):
    """Load spare at a gap, times what holds the lean, in powers of pressure and gap; no more support met.

    Attributes
    ----------
    body:
        The car.
    still, level, curved:
        What is spare at the gap at rest, in rising powers of the pressure, without the splitter.
    per_drop, per_drop_and_pressure:
        What one metre less of gap takes.
    force, force_per_pressure, force_per_drop:
        What the splitter adds at its reference gap, over the pressure, at rest and a metre down.
    """

    body: SprungCar
    still: Array
    level: Array
    curved: Array
    per_drop: Array
    per_drop_and_pressure: Array
    force: Array
    force_per_pressure: Array
    force_per_drop: Array

    @property
    def splitter(self) -> GroundEffect:
        """What the splitter gains by its gap."""
        return self.body.splitter

    @classmethod
    def of(cls, body: SprungCar) -> GapLine:
        """Eliminate the lean."""
        area, loss, turn = body.splitter.area, body.splitter.loss, body.turn
        force = area * body.held - loss * body.moment
        more, per_drop = area * body.held_area - loss * body.moment_area, -loss * turn
        level = body.area * body.held + body.load * body.held_area + turn * body.moment_area
        return cls(
            body,
            body.load * body.held + turn * body.moment,
            level - body.loss * body.moment - force,
            body.area * body.held_area - body.loss * body.moment_area - more,
            body.rate * body.held - turn * turn,
            body.rate * body.held_area + body.loss * turn + per_drop,
            force,
            more,
            per_drop,
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

    def stands(self, gap: Array, most: Array, begins: Array) -> Array:
        """Return the pressure up to which it keeps off a gap, on the side on which it is at another."""
        still, level, curved = self.powers(gap, most)
        inside = level * level - 4 * curved * still
        far = -(level + np.copysign(np.sqrt(np.maximum(inside, 0)), level)) / 2
        low, high = np.sort((far / curved, still / far), axis=0)
        ends = np.where(low > begins, low, np.where(high > begins, high, np.inf))
        return np.where(inside > 0, ends, np.inf)


def turns(still: Array, level: Array, curved: Array) -> tuple[Array, Array]:
    """Return the pressures at which a load that is below zero without air comes to zero, and falls again."""
    inside = level * level - 4 * curved * still
    rise = level + np.sqrt(np.maximum(inside, 0))
    comes = (inside >= 0) & (rise > 0)
    first = np.where(still < 0, np.where(comes, -2 * still / rise, np.inf), 0.0)
    return first, np.where(comes & (curved < 0), -rise / (2 * curved), np.inf)
