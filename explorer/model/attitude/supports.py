"""What holds a car besides its springs, and the attitude at which it all balances straight-line air forces.

A support is a stiff spring that pushes one way only: the stop of an axle, or a point under the car that
stands on the road.  Between two supports everything is a straight line in the travels of both axles, so the
balance is that of two equations; which supports are met is found by trying: solve, look, solve again.

Travels go down from rest; the lean is how much farther the rear has gone down than the front.
"""

from __future__ import annotations

from typing import Annotated, NamedTuple, TypeAlias

import numpy as np

from explorer.graph.arrays import Array, Mask, picked
from explorer.graph.quantity import Part
from explorer.model.numeric import shape_of

#: Rounds of solving and looking again; two or three are usual.
ROUNDS = 30

# What every balance of the car says beside its own answer.
FrontContactLoad: TypeAlias = Annotated[
    Array,
    Part("N", "What the road takes off the front axle by carrying the body, where that stands on it."),
]
RearContactLoad: TypeAlias = Annotated[
    Array,
    Part("N", "What the road takes off the rear axle by carrying the body, where that stands on it."),
]
StableAttitudes: TypeAlias = Annotated[
    Array,
    Part(
        "1",
        """How many attitudes the car can keep at this speed.

        Of several it takes the one it comes to from rest as the speed rises, the load moved by
        acceleration and slope held; a bump may carry it to another.
        """,
    ),
]


class Support(NamedTuple):
    """A stiff spring with one side.

    Attributes
    ----------
    share:
        Its place behind the front axle, over the wheelbase.
    side:
        1 where it is met going down, -1 going up.
    reach:
        Travel from rest at which it is met, on that side.
    rate:
        Load per travel beyond.
    """

    share: Array | float
    side: float
    reach: Array | float
    rate: Array | float

    def past(self, front: Array, lean: Array) -> Array:
        """Return how far the car is past it at a front travel and a lean; negative where it is not met."""
        travel = front + self.share * lean
        return travel - self.reach if self.side > 0 else -travel - self.reach

    def beyond(self, front: Array, rear: Array) -> Array:
        """Return how far the car is beyond it at two travels; 0 where it is not met."""
        return np.maximum(self.past(front, rear - front), 0)


def carried(supports: tuple[Support, ...], front: Array, rear: Array) -> tuple[Array, Array]:
    """Return what supports take off each axle at two travels."""
    ahead = behind = np.zeros(np.shape(front))
    for support in supports:
        push = support.side * support.rate * support.beyond(front, rear)
        ahead, behind = ahead + push * (1 - support.share), behind + push * support.share
    return ahead, behind


class Balance(NamedTuple):
    """An attitude: lean, downforce the splitter gains by its gap, loads on the road.

    ``front_contact`` and ``rear_contact`` are what points on the road take off each axle.
    """

    lean: Array
    force: Array
    front_contact: Array
    rear_contact: Array


class Car(NamedTuple):
    """A car at speed: loads on its axles that are straight lines in both travels, and its supports.

    Attributes
    ----------
    front, rear:
        Load the air and the acceleration add to each axle at the attitude of rest.
    front_rate, rear_rate:
        Load per travel of the springs.
    front_loss, rear_loss:
        Load the air takes from each axle per metre of lean.
    transfer:
        Load in the first two that acceleration and slope move from the front to the rear.
    stops, points:
        Its supports: those of the suspension, and those that stand on the road.
    """

    front: Array
    rear: Array
    front_rate: Array
    rear_rate: Array
    front_loss: Array
    rear_loss: Array
    transfer: Array
    stops: tuple[Support, ...]
    points: tuple[Support, ...]

    @property
    def supports(self) -> tuple[Support, ...]:
        """All supports."""
        return self.stops + self.points

    def spare(self, front: Array, rear: Array) -> tuple[Array, Array]:
        """Return the load on each axle that nothing carries at two travels; positive: it goes on down."""
        lean = rear - front
        front_spare = self.front - self.front_rate * front - self.front_loss * lean
        rear_spare = self.rear - self.rear_rate * rear - self.rear_loss * lean
        ahead, behind = carried(self.supports, front, rear)
        return front_spare - ahead, rear_spare - behind

    def on_springs(self) -> tuple[Array, Array, Mask]:
        """Solve for both travels with no support met; tell where that balance is stable."""
        return self._replace(stops=(), points=()).between([])

    def between(self, met: list[Mask]) -> tuple[Array, Array, Mask]:
        """Solve for both travels with certain supports met; tell where that balance is stable."""
        a, b = self.front_rate - self.front_loss, self.front_loss
        c, d = -self.rear_loss, self.rear_rate + self.rear_loss
        front, rear = self.front, self.rear
        for support, one in zip(self.supports, met, strict=True):
            rate, ahead, behind = support.rate * one, 1 - support.share, support.share
            a, b = a + rate * ahead * ahead, b + rate * ahead * behind
            c, d = c + rate * ahead * behind, d + rate * behind * behind
            held = rate * support.side * support.reach
            front, rear = front + held * ahead, rear + held * behind
        determinant = a * d - b * c
        stable = (determinant > 0) & (a + d > 0)
        return (front * d - b * rear) / determinant, (a * rear - c * front) / determinant, stable

    def at_share(self, share: Array | float) -> Car:
        """Return the car at a share of the pressure of the air."""
        return self._replace(
            front=share * (self.front + self.transfer) - self.transfer,
            rear=share * (self.rear - self.transfer) + self.transfer,
            front_loss=share * self.front_loss,
            rear_loss=share * self.rear_loss,
        )

    def way(self) -> Array:
        """Return in which direction a car goes that its springs do not hold: 1 rear down, -1 nose down.

        It is the one in which it leaned when, with rising pressure, they let go.
        """
        softening = self.front_loss / self.front_rate - self.rear_loss / self.rear_rate
        then = self.at_share(1 / np.where(softening > 1, softening, 1.0))
        return np.copysign(1.0, then.rear / then.rear_rate - then.front / then.front_rate)

    def balanced(self, sense: float = 1.0) -> tuple[Array, Array]:
        """Return both travels at the balance; NaN where no attitude is held.

        A car that its springs do not hold goes on the way it leaned, or against it with a ``sense`` of -1,
        until a support holds it.
        """
        front, rear, held = self.on_springs()
        if not np.all(held):
            lean = np.where(held, rear - front, sense * self.way())
            front = np.where(held, front, (self.front - self.front_loss * lean) / self.front_rate)
            rear = np.where(held, rear, (self.rear - self.rear_loss * lean) / self.rear_rate)
        met = [support.beyond(front, rear) > 0 for support in self.supports]
        touching = np.any([np.zeros(shape_of(self), bool), *met], axis=0)
        # Where none is met all is said: the springs hold the car, or nothing does.
        front, rear = np.where(held & ~touching, (front, rear), np.nan)
        if np.any(touching):
            found = picked(self, touching).tried([one[touching] for one in met])
            front[touching], rear[touching] = found
        return front, rear

    def balance(self) -> Balance:
        """Return the attitude it comes to, NaN where none is held."""
        front, rear = self.balanced()
        return Balance(rear - front, np.zeros(np.shape(front)), *carried(self.points, front, rear))

    def stable(self) -> Array:
        """Count the attitudes it can keep."""
        front, rear = self.balanced()
        stable = np.isfinite(front) + np.zeros(shape_of(self))
        tips = np.logical_not(self.on_springs()[2]) & (stable >= 0)
        # Only a car that its springs do not hold may go either way.
        if np.any(tips):
            other_front, other_rear = picked(self, tips).balanced(-1.0)
            lean, other = (rear - front)[tips], other_rear - other_front
            stable[tips] += np.isfinite(other) & (np.isnan(lean) | (np.abs(other - lean) > 1e-9))
        return stable

    def tried(self, met: list[Mask]) -> tuple[Array, Array]:
        """Return both travels at the balance, solving and looking again from supports that may be met."""
        done = np.zeros(shape_of(self), bool)
        front = rear = np.full(done.shape, np.nan)
        for _ in range(ROUNDS):
            if np.all(done):
                break
            new_front, new_rear, held = self.between(met)
            now = [support.beyond(new_front, new_rear) > 0 for support in self.supports]
            same = held & ~done & np.all([a == b for a, b in zip(met, now, strict=True)], axis=0)
            front, rear = np.where(same, new_front, front), np.where(same, new_rear, rear)
            done, met = done | same, now
        return front, rear
