"""What the cars that miss a limit have in common, as kept in the summary; SI units throughout."""

from __future__ import annotations

from dataclasses import dataclass

from explorer.estimators.groups import Apart, Slice


@dataclass(frozen=True)
class InputApart:
    """One input among the cars that miss a limit, and among the rest."""

    key: str
    apart: Apart


@dataclass(frozen=True)
class FailingCars:
    """The cars of a run that miss one limit: how many of how many, and what is unlike the rest.

    ``inputs`` has those that clearly differ, the most different first; ``slices`` are along the first.
    """

    limit: str
    missing: int
    cars: int
    inputs: tuple[InputApart, ...]
    slices: tuple[Slice, ...]


@dataclass(frozen=True)
class MissedTogether:
    """Which limits the same cars miss: the count of cars for every pair, those of one on the diagonal."""

    limits: tuple[str, ...]
    counts: tuple[tuple[int, ...], ...]
    cars: int


@dataclass(frozen=True)
class InputMoved:
    """One input of a car that is not as in the median car: its normal score, and its share of the way."""

    key: str
    value: float
    median: float
    score: float
    share: float


@dataclass(frozen=True)
class NearestCar:
    """The likeliest car on the other side of a limit from the median car.

    ``median_meets`` tells on which side the median car is.  ``median`` and ``values`` are the quantities of
    both cars in the condition of the limit; ``distance`` is how far apart they are, in standard deviations.
    """

    limit: str
    condition: str
    median_meets: bool
    distance: float
    differences: tuple[InputMoved, ...]
    median: dict[str, float | None]
    values: dict[str, float | None]
