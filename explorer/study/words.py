"""Words that hold numbers: kept in SI, and written out where the units of the reader are known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from explorer.graph.units import from_si, plain, rounded, spread_from_si, with_unit


@dataclass(frozen=True)
class Number:
    """A number within words, in SI.

    A ``distance`` has no use for the zero of a temperature scale; ``spread`` is the standard uncertainty that
    the number is rounded by.
    """

    value: float
    distance: bool = False
    spread: float | None = None


Words: TypeAlias = tuple[str | Number, ...]


@dataclass(frozen=True)
class Override:
    """What a condition or a candidate sets in place of a common input."""

    quantity: str
    unit: str
    display_unit: str
    words: Words
    source: str | None


def in_unit(words: Words, unit: str) -> str:
    """Write words with their numbers in one unit."""
    return "".join(part if isinstance(part, str) else _written(part, unit) for part in words)


def _written(number: Number, unit: str) -> str:
    value = float((spread_from_si if number.distance else from_si)(number.value, unit))
    spread = None if number.spread is None else float(spread_from_si(number.spread, unit))
    return with_unit(plain(value) if spread is None else rounded(value, spread), unit)
