"""Numbers as they are printed: rounded by their uncertainty, in each of the systems of units.

An amount carries its text in all systems, so that the reader of the page can switch and the printed form
takes one.  Rounding follows JCGM 100:2008, 7.2.6: two significant digits of the uncertainty.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

from explorer.graph.units import from_si, known_unit
from explorer.graph.written import (
    MINUS,
    NO_ANSWER,
    SPACE,
    System,
    display_unit,
    number,
    pretty,
    rounded,
    some_of,
)
from reports.options import SYSTEMS

# Between the thousands of a number.
THIN_SPACE = "\N{NARROW NO-BREAK SPACE}"
# Lets no line break where it stands, and has no width.
_JOINER = "\N{WORD JOINER}"
# Units written against their number.
_CLOSE = ("°",)


class Piece:
    """A piece of a report; each form draws it by its kind."""

    @property
    def kind(self) -> str:
        """What it is, in one word."""
        return type(self).__name__.lower()


@dataclass(frozen=True)
class Amount(Piece):
    """A text that depends on the system of units: one for each of ``SYSTEMS``."""

    texts: tuple[str, ...]

    def text(self, system: System) -> str:
        """Return the text in one system."""
        return self.texts[SYSTEMS.index(system)]

    @property
    def same(self) -> bool:
        """True when all systems read alike."""
        return len(set(self.texts)) == 1


class InUnits(Protocol):
    """Whatever has an SI unit and the unit that the builder uses for it, as most records have."""

    @property
    def unit(self) -> str:
        """In SI."""

    @property
    def display_unit(self) -> str:
        """As the builder writes it."""


class Units(NamedTuple):
    """An SI unit and the builder's, where no record has them."""

    unit: str
    display_unit: str


METRES, NEWTONS = Units("m", "m"), Units("N", "N")


@dataclass(frozen=True)
class Scale:
    """A unit shown, and the way to it from SI."""

    unit: str
    difference: bool = False

    def value(self, si: float) -> float:
        """Convert a value, or a difference of two."""
        if self.difference:
            return float(si / known_unit(self.unit).factor)
        return float(from_si(si, self.unit))

    @property
    def symbol(self) -> str:
        """The unit as printed."""
        return pretty(self.unit)

    def titled(self, title: str) -> str:
        """Return a title with the unit in brackets, as on an axis."""
        return f"{title} [{self.symbol}]" if self.symbol else title


def scale(of: InUnits, system: System, *, magnitude: float = 0.0, difference: bool = False) -> Scale:
    """Choose the unit for a quantity in a system of units."""
    return Scale(display_unit(of.unit, system, of.display_unit, magnitude=magnitude), difference)


def amount(
    value: float | None,
    of: InUnits,
    *,
    spread: float | None = None,
    difference: bool = False,
    plus: bool = False,
    digits: int = 4,
    zeros: bool = True,
) -> Amount:
    """Write one value with its unit.

    Parameters
    ----------
    value:
        In SI; None or not finite is written as "no answer".
    of:
        What it is a value of, for the units.
    spread:
        Standard uncertainty in SI, by which the value is rounded.
    difference:
        True for a spread or a margin: the zero of a temperature scale then does not count.
    plus:
        True to write the sign of a positive value too.
    digits:
        Significant digits where there is no spread.
    zeros:
        False to leave out zeros at the end: they promise something only of what was found, not of what is
        chosen.
    """
    if value is None or not math.isfinite(value):
        return Amount((NO_ANSWER,) * len(SYSTEMS))
    return Amount(
        tuple(
            _with_unit(_written(value, shown, spread, plus, digits, zeros), shown.symbol)
            for shown in _scales(value, of, difference)
        )
    )


def range_amount(
    low: float | None,
    high: float | None,
    of: InUnits,
    *,
    spread: float | None = None,
    difference: bool = False,
) -> Amount:
    """Write a range with its unit once: "41.2 to 55.8 N"."""
    if low is None or high is None or not (math.isfinite(low) and math.isfinite(high)):
        return Amount((NO_ANSWER,) * len(SYSTEMS))
    digits = spread if spread is not None else (high - low) / 4
    return Amount(
        tuple(
            _with_unit(f"{_written(low, shown, digits)} to {_written(high, shown, digits)}", shown.symbol)
            for shown in _scales(max(abs(low), abs(high)), of, difference)
        )
    )


def speed_amount(value: float, given: str, *, whole: bool = False) -> Amount:
    """Write a speed to a tenth of a metre in a second, or whole."""
    return amount(value, Units("m/s", given), spread=20.0 if whole else 2.0)


def margin_amount(value: float, spread: float, of: InUnits) -> Amount:
    """Write a margin with its standard deviation and its unit once: "+3.4 ± 2.2 m/s"."""
    return uncertain_amount(value, spread, of, difference=True, plus=True)


def uncertain_amount(
    value: float, spread: float, of: InUnits, *, difference: bool = False, plus: bool = False
) -> Amount:
    """Write a value with its standard uncertainty and its unit once: "4.600 ± 0.030 kg"."""
    if not (math.isfinite(value) and math.isfinite(spread)):
        return Amount((NO_ANSWER,) * len(SYSTEMS))
    texts = []
    for shown in _scales(value, of, difference):
        half = Scale(shown.unit, difference=True)
        text = f"{_written(value, shown, spread, plus)} ± {_written(spread, half, spread)}"
        texts.append(_with_unit(text.replace(" ", SPACE), shown.symbol))
    return Amount(tuple(texts))


def share(probability: float, low: float = 0.0, high: float = 0.0) -> str:
    """Write a share of cars in per cent, to the place its interval reaches; to one where none is known."""
    if not math.isfinite(probability):
        return NO_ANSWER
    return f"{_percent(probability, _places(probability, (high - low) / 2))}{SPACE}%"


def share_range(low: float, high: float) -> str:
    """Write the interval of a probability in per cent."""
    half = (high - low) / 2
    if not math.isfinite(half):
        return NO_ANSWER
    # Both ends to the same place.
    places = min(_places(low, half), _places(high, half))
    return f"{_percent(low, places)} to {_percent(high, places)}{SPACE}%"


def left_between(low: float, high: float) -> str:
    """Say what a run leaves open of a share, apart from the share that is required of it."""
    return f"known to lie between {share_range(low, high).replace(' to ', ' and ')}"


def count(value: int) -> str:
    """Write a whole number with its thousands set apart."""
    return f"{value:,}".replace(",", THIN_SPACE)


def about(value: float) -> str:
    """Write a count in two figures."""
    return count(int(float(f"{value:.2g}")))


def counted(value: int, one: str) -> str:
    """Write a number with its noun: "1 car", "2 cars"."""
    return f"{count(value)} {one if value == 1 else one + 's'}"


def times_in_100(probability: float) -> str:
    """Say a probability as a count of cases: "17 times in 100"."""
    if 0.005 <= probability < 0.995:
        count = round(100 * probability)
        return "once in 100" if count == 1 else f"{count} times in 100"
    return "always" if probability == 1 else "almost always" if probability > 0.5 else "less than once in 100"


def every(value: int) -> str:
    """Begin a sentence about all of a few: "Both", "All 3"."""
    return "Both" if value == 2 else f"All {value}"


def uncertain(value: float, error: float) -> str:
    """Write a pure number with its uncertainty: "6.04 ± 0.67"."""
    return f"{rounded(value, error)} ± {rounded(error, error)}" if error > 0 else f"{value:.3g}"


def hours(value: float) -> str:
    """Say a length of time as a builder would."""
    spoken = {0.25: "a quarter of an hour", 0.5: "half an hour", 1.0: "one hour", 1.5: "an hour and a half"}
    if value in spoken:
        return spoken[value]
    if value < 1:
        return f"{60 * value:.0f} minutes"
    return f"{value:g} hours" if value == round(value, 1) else f"{value:.1f} hours"


def unread_words(unread: Sequence[str], most: int = 8) -> str:
    """Name inputs that a limit hangs on and no measurement reads, if there are any."""
    return f"no way to measure is listed for: {some_of(unread, most)}" if unread else ""


def _places(value: float, half_width: float) -> int:
    near, half = 100 * min(abs(value), abs(1 - value)), 100 * half_width
    # One decimal, as everywhere; fewer where the interval is wide, more near the ends and where it is narrow.
    # Three decimals tell one car in a hundred thousand; finer is never asked of a builder.
    if value in (0.0, 1.0):
        return 3
    return 0 if half >= 5 else 1 if near >= 1 and not 0 < half < 0.05 else 2 if near >= 0.1 else 3


def _percent(value: float, places: int) -> str:
    if value in (0.0, 1.0):
        return f"{100 * value:.0f}"
    text = _signed(f"{100 * value:.{places}f}")
    # What is not certain is not written as certain.
    if value < 1 and text.startswith("100"):
        return f"{100 * value:.5g}" if 100 * value < 99.9995 else "99.999"
    return text


def _scales(value: float, of: InUnits, difference: bool) -> tuple[Scale, ...]:
    return tuple(scale(of, system, magnitude=value, difference=difference) for system in SYSTEMS)


def _written(
    value: float,
    shown: Scale,
    spread: float | None,
    plus: bool = False,
    digits: int = 4,
    zeros: bool = True,
) -> str:
    converted = shown.value(value)
    known = spread is not None and math.isfinite(spread) and spread > 0
    if spread is not None and known:
        text = rounded(converted, abs(spread / known_unit(shown.unit).factor))
    else:
        text = number(converted, digits)
    # Zeros behind the point say nothing where no uncertainty stands behind them.
    if not (known and zeros) and "." in text and "e" not in text:
        text = text.rstrip("0").rstrip(".")
    return _signed(text, plus)


def _signed(text: str, plus: bool = False) -> str:
    if text.startswith("-"):
        return MINUS + text[1:]
    return f"+{text}" if plus and text.strip("0.") else text


def _with_unit(text: str, symbol: str) -> str:
    if not symbol:
        return text
    return text + symbol if symbol in _CLOSE else f"{text}{SPACE}{symbol}"


def kept_together(text: str) -> str:
    """Keep a number in one line with the word or unit behind it."""
    return re.sub(r"(?<=\d) (?=[^\W\d]|%|°)", SPACE, text)


def unparted(text: str) -> str:
    """Keep numbers with their units also where a line might be broken behind a slash."""
    return re.sub(rf"(\d{SPACE}[\w·]+)/", rf"\1/{_JOINER}", kept_together(text))
