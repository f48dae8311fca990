"""Quantities of the nominal car along another, as kept in the summary; SI units throughout."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Curves:
    """Some quantities of the nominal car in one condition, at rising values of another.

    Not a number where a model has no answer.
    """

    condition: str
    along: str
    at: tuple[float, ...]
    values: dict[str, tuple[float, ...]]


@dataclass(frozen=True)
class RunOverStrip:
    """One run of the nominal car at full throttle, then braking, as distance and speed.

    ``braking`` begins at the place where the driver has to see that it is time to brake; ``starts`` and
    ``opened`` are where the flap starts to move and where it is open, None where it stays shut.
    """

    condition: str
    flap_used: bool
    distance: tuple[float, ...]
    speed: tuple[float, ...]
    braking_distance: tuple[float, ...]
    braking_speed: tuple[float, ...]
    starts: float | None
    opened: float | None
    length: float
