"""Limits: whatever the kind, a range of the values that hold it, of a quantity in a condition.

Analyses read a limit's output, its ends and its margin, and every form prints its words.  So a new kind of
limit is a class here, listed in ``KINDS``, with its keys in ``LimitEntry`` (``explorer.study.schema``);
nothing else need know of it.  The range is what JCGM 106:2012 calls a tolerance interval.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from explorer.errors import StudyError, with_key
from explorer.graph.arrays import Array
from explorer.graph.units import parse, parse_spread, with_spread
from explorer.graph.words import Number, Words

if TYPE_CHECKING:
    from explorer.study.schema import LimitEntry


@dataclass(frozen=True)
class Output:
    """A quantity in a condition, or its difference from another condition."""

    quantity: str
    condition: str
    minus: str | None = None

    @property
    def is_difference(self) -> bool:
        """Whether it is a difference, for which the zero of a temperature scale does not count."""
        return self.minus is not None

    @property
    def pairs(self) -> tuple[tuple[str, str], ...]:
        """The (quantity, condition) pairs behind it."""
        return tuple((self.quantity, where) for where in (self.condition, self.minus) if where is not None)

    @property
    def column(self) -> str:
        """Name of its column among the kept samples."""
        return f"{self.quantity} | " + " - ".join(where for _, where in self.pairs)

    def value(self, values: Mapping[tuple[str, str], Array]) -> Array:
        """Pick or subtract."""
        first, *less = (values[pair] for pair in self.pairs)
        return first - less[0] if less else first


class Asked(ABC):
    """What a limit asks, as one kind of limit says it; its fields are the keys of the study file.

    Attributes
    ----------
    distances:
        Fields that are distances, not values.
    """

    distances: ClassVar[frozenset[str]] = frozenset()

    @property
    @abstractmethod
    def ends(self) -> tuple[float, float]:
        """Lowest and highest value that holds it, infinite where it is open."""

    @property
    @abstractmethod
    def words(self) -> Words:
        """What is asked, its numbers set apart so that each reader has them in the units of their own."""


@dataclass(frozen=True)
class Bounds(Asked):
    """At least, at most, or both."""

    at_least: float = -math.inf
    at_most: float = math.inf

    @property
    def ends(self) -> tuple[float, float]:
        """The bounds."""
        return self.at_least, self.at_most

    @property
    def words(self) -> Words:
        """One bound or two."""
        low, high = Number(self.at_least), Number(self.at_most)
        if math.isinf(self.at_most):
            return "at least ", low
        return ("at most ", high) if math.isinf(self.at_least) else ("between ", low, " and ", high)


@dataclass(frozen=True)
class Tolerance(Asked):
    """A target, and how far off it a value may lie on either side."""

    target: float
    tolerance: float
    distances = frozenset({"tolerance"})

    @property
    def ends(self) -> tuple[float, float]:
        """As far below the target as above it."""
        return self.target - self.tolerance, self.target + self.tolerance

    @property
    def words(self) -> Words:
        """Target and tolerance, as on a drawing."""
        return Number(self.target), " ± ", Number(self.tolerance, distance=True)


KINDS: list[type[Asked]] = [Bounds, Tolerance]


@dataclass(frozen=True)
class Limit:
    """A requirement on an output, in SI units: in what share of the cars its values must hold.

    With ``sure`` it is the share of the runs of one car, and how sure that must be over all possible cars.
    """

    name: str
    output: Output
    asked: Asked
    probability: float
    safety: bool
    why: str
    display_unit: str
    sure: float | None = None

    @property
    def low(self) -> float:
        """Lowest value that holds it; minus infinity where there is none."""
        return self.asked.ends[0]

    @property
    def high(self) -> float:
        """Highest value that holds it; infinity where there is none."""
        return self.asked.ends[1]

    def margin(self, found: Array) -> Array:
        """Distance of values of its output to the nearer end, positive inside."""
        low, high = self.asked.ends
        return np.minimum(found - low, high - found)

    @property
    def threshold(self) -> float:
        """Share that has to hold it: of cars in their runs, or of cars that do so often enough, surely."""
        return self.probability if self.sure is None else self.sure

    def margin_in(self, values: Mapping[tuple[str, str], Array]) -> Array:
        """Return the margin from the (quantity, condition) pairs behind its output."""
        return self.margin(self.output.value(values))


def read_asked(entry: LimitEntry, si_unit: str, key: str) -> tuple[Asked, str]:
    """Read what a limit asks, and the unit that its first number is given in.

    Raises
    ------
    StudyError
        When it asks nothing, or in two ways at once, or a number has no proper unit, or no value can hold.
    """
    if pair := with_spread(entry.target, si_unit) if entry.tolerance is None else None:
        entry = entry.model_copy(update={"target": pair[0], "tolerance": pair[1]})
    given = {kind: [name for name in _keys(kind) if getattr(entry, name) is not None] for kind in KINDS}
    asking = [kind for kind, names in given.items() if names]
    if len(asking) != 1:
        raise StudyError(
            "a limit asks in one way" if asking else "a limit has a bound",
            key=key,
            found=", ".join(name for kind in asking for name in given[kind]) or None,
            allowed="at_least, at_most, or both; or a target with a tolerance",
            remedy="take out what is not meant"
            if asking
            else "write at_least = ... or at_most = ... below its name",
        )
    kind, names = asking[0], given[asking[0]]
    lacking = [name for name in _keys(kind) if name not in names and not hasattr(kind, name)]
    if lacking:
        raise StudyError(f"{names[0]} stands without {lacking[0]}", key=key, remedy=f"give {lacking[0]} too")
    read = {name: _number(entry, name, name in kind.distances, si_unit, key) for name in names}
    asked = kind(**{name: value for name, (value, _) in read.items()})
    low, high = asked.ends
    if low >= high:
        raise StudyError(
            "no value holds this limit: its lower end is not below its upper one",
            key=key,
            found=", ".join(f"{name} = {getattr(entry, name)}" for name in names),
            remedy="swap them, or check their units",
        )
    return asked, read[names[0]][1]


def _keys(kind: type[Asked]) -> tuple[str, ...]:
    return tuple(kind.__annotations__)


def _number(entry: LimitEntry, name: str, distance: bool, si_unit: str, key: str) -> tuple[float, str]:
    with with_key(f"{key}.{name}"):
        how = parse_spread if distance or entry.minus is not None else parse
        return how(getattr(entry, name), entry.unit, si_unit)
