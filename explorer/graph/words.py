"""Words that hold numbers: kept in SI, and written out where the units of the reader are known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from explorer.graph.units import from_si, spread_from_si
from explorer.graph.written import display_unit, plain, rounded, with_unit

#: Where nothing says how far a number can be trusted, it is written with so many figures.
FIGURES = 4


@dataclass(frozen=True)
class Number:
    """A number within words, in SI.

    A ``distance`` has no use for the zero of a temperature scale; ``spread`` is the standard uncertainty that
    the number is rounded by.  ``unit`` and ``display_unit`` are its own, where it is not of the quantity that
    the words are about.
    """

    value: float
    distance: bool = False
    spread: float | None = None
    unit: str = ""
    display_unit: str = ""


Words: TypeAlias = tuple[str | Number, ...]
#: A sentence that stands by itself: its numbers have units of their own.
Sentence: TypeAlias = str | Words


def told(text: str, *numbers: Number) -> Words:
    """Return a sentence with a number in place of each ``{}``."""
    first, *rest = text.split("{}")
    return (first, *(part for pair in zip(numbers, rest, strict=True) for part in pair))


def in_unit(words: Sentence, unit: str = "") -> str:
    """Write words with their numbers in one unit, or in the builder's where they have their own."""
    if isinstance(words, str):
        return words
    return "".join(part if isinstance(part, str) else _written(part, unit) for part in words)


def _written(number: Number, unit: str) -> str:
    if number.unit:
        unit = display_unit(number.unit, "as given", number.display_unit, magnitude=number.value)
    value = float((spread_from_si if number.distance else from_si)(number.value, unit))
    if number.spread is None:
        return with_unit(plain(value, FIGURES) if number.unit else plain(value), unit)
    return with_unit(rounded(value, float(spread_from_si(number.spread, unit))), unit)
