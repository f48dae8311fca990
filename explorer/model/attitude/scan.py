"""Looking for every balance along one coordinate, and which of several a car comes to.

The coordinate is a gap or a ride height, everything else eliminated, and what is looked at is the load spare
there: positive where it carries the car down.  A balance is a zero; it is stable where the load spare rises
with the coordinate, because then the car is carried back.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Placed, picked
from explorer.model.numeric import narrowed

#: Steps in which the pressure of the air rises from nothing for a car that has several balances.
STEPS = 16


class Bracket(NamedTuple):
    """Two places around a balance: the car is pushed up from the lower one, goes down from the upper one."""

    lower: Array
    upper: Array


class Scan(NamedTuple):
    """Places in rising order, one row each, and the load spare there; ``left`` tells it anywhere."""

    left: Callable[[Array], Array]
    places: Array
    spare: Array

    def stable(self) -> Array:
        """Count the stable balances."""
        count: Array = np.sum((self.spare[:-1] <= 0) & (self.spare[1:] > 0), axis=0)
        return count

    def first(self) -> Bracket:
        """Return two places around the lowest stable balance."""
        lower = np.argmax((self.spare[:-1] <= 0) & (self.spare[1:] > 0), axis=0)
        samples = np.arange(lower.size)
        return Bracket(self.places[lower, samples], self.places[lower + 1, samples])

    def bracket(self, place: Array) -> Bracket:
        """Return two places around the balance that a car comes to from a place, the way it is carried."""
        closing = self.left(place) > 0
        rows = np.arange(len(self.places))[:, np.newaxis]
        down = np.max(np.where((self.places < place) & (self.spare <= 0), rows, 0), axis=0)
        up = np.argmin(np.where((self.places > place) & (self.spare > 0), self.places, np.inf), axis=0)
        lower, samples = np.where(closing, down, np.maximum(up - 1, 0)), np.arange(place.size)
        lower = np.minimum(lower, len(self.places) - 2)
        low, high = self.places[lower, samples], self.places[lower + 1, samples]
        return Bracket(
            np.where(closing, low, np.maximum(low, place)), np.where(closing, np.minimum(high, place), high)
        )

    def balances(self, tolerance: float) -> tuple[Array, Array]:
        """Return the stable balances and those between them, in rising order; infinite where fewer."""
        closes = self.spare > 0
        row, sample = np.nonzero(closes[:-1] != closes[1:])
        left = picked(self.left, Placed(self.places.shape[1], sample))
        low, high = ((self.places[at, sample], self.spare[at, sample]) for at in (row, row + 1))
        found, _ = narrowed(left, *low, *high, tolerance)
        stable, unstable = np.full((2, *closes[1:].shape), np.inf)
        held = closes[row + 1, sample]
        stable[row[held], sample[held]], unstable[row[~held], sample[~held]] = found[held], found[~held]
        return np.sort(stable, axis=0), np.sort(unstable, axis=0)

    def root(self, bracket: Bracket, tolerance: float) -> Array:
        """Close in on the balance between two places, which may be one already."""
        low, high = bracket
        return narrowed(self.left, low, self.left(low), high, self.left(high), tolerance)[0]
