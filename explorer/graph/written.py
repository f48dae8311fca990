"""Numbers and units as they are written: to the digits that are known, in the system of the reader."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from typing import Literal

from explorer.graph.unit_grammar import with_stars
from explorer.graph.units import one_spelling

System = Literal["as given", "metric", "metric km/h", "imperial"]

NO_ANSWER = "no answer"
MINUS = "\N{MINUS SIGN}"
# Between a number and its unit, so that the two are never parted at the end of a line.
SPACE = "\N{NO-BREAK SPACE}"

_METRIC = {
    "m": "mm",
    "rad": "deg",
    "1/rad": "1/rad",
    "rad/s": "rpm",
    "rad/s/V": "rpm/V",
    "N/m": "N/mm",
    "K": "degC",
    "Pa": "Pa",
    "m**4": "mm**4",
    "ohm": "mohm",
    "A*s": "mAh",
}
_IMPERIAL = {
    **_METRIC,
    "m": "in",
    "m**2": "in**2",
    "m**3": "in**3",
    "m**4": "in**4",
    "kg": "lb",
    "m/s": "mph",
    "m/s**2": "ft/s**2",
    "N": "lbf",
    "N/m": "lbf/in",
    "N*m": "lbf*in",
    "N*s/m": "lbf*s/in",
    "Pa": "inHg",
    "K": "degF",
    "kg/m**3": "lb/ft**3",
    "W": "hp",
    "J": "ft*lbf",
}
_UNITS: dict[System, dict[str, str]] = {
    "as given": _METRIC,
    "metric": _METRIC,
    "metric km/h": {**_METRIC, "m/s": "km/h"},
    "imperial": _IMPERIAL,
}
# A length at least this long [m] is a stretch of track, not a part: shown in m or ft.
_STRETCH = 2.0
# From here on [m] it is shown so even where the builder writes mm: nobody reads tens of thousands of them.
_TRACK = 10.0


# An uncertainty below this share of its value is what is left of adding and taking away.
_OF_COMPUTING = 1e-13


def display_unit(
    si_unit: str, system: System, given: str | None = None, *, magnitude: float | None = None
) -> str:
    """Choose the unit to show a quantity in.

    Parameters
    ----------
    si_unit:
        SI unit of the quantity.
    system:
        "as given" keeps the builder's unit where there is one, otherwise metric; "metric km/h" is metric with
        speeds as on the road.
    given:
        Unit the builder used for it, if any.
    magnitude:
        A typical SI value: a length of 2 m or more is shown in m or ft rather than mm or in, one of 10 m
        or more also where the builder writes mm.
    """
    long = 0.0 if magnitude is None or one_spelling(si_unit) != "m" else abs(magnitude)
    if system == "as given" and given and not (given == "mm" and long >= _TRACK):
        return given
    if long >= _STRETCH:
        return "ft" if system == "imperial" else "m"
    return _UNITS[system].get(one_spelling(si_unit), si_unit)


_SUPERSCRIPTS = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")

_SYMBOLS = {
    "degC": "°C",
    "degF": "°F",
    "delta_degC": "°C",
    "delta_degF": "°F",
    "deg": "°",
    "degree": "°",
    "percent": "%",
    "ohm": "Ω",
    "mohm": "mΩ",
    "um": "µm",
    "g_0": "g₀",
    "1": "",
}


def pretty(unit: str) -> str:
    """Write a unit as it is printed: m², N/mm, N·m, °C, °; nothing for a pure number."""
    if unit.strip() in _SYMBOLS:
        return _SYMBOLS[unit.strip()]
    plain = re.sub(
        r"\s*\*\*\s*(-?\d+)", lambda power: power.group(1).translate(_SUPERSCRIPTS), with_stars(unit)
    )
    plain = re.sub(r"\s*/\s*", "/", plain)
    plain = re.sub(r"\s*\*\s*|\s+", "·", plain)
    return re.sub(r"[A-Za-z_]\w*", lambda word: _SYMBOLS.get(word.group(), word.group()), plain)


def rounded(value: float, uncertainty: float) -> str:
    """Write a value to the place its uncertainty reaches, at two significant digits.

    Source: JCGM 100:2008, 7.2.6.  Without a usable uncertainty, or with one no larger than the error of the
    computation, six significant digits are written.
    """
    place = _place(uncertainty)
    if place is None or not math.isfinite(value) or uncertainty < _OF_COMPUTING * abs(value):
        return number(value, digits=6)
    return _at_place(value, place)


def rounded_spread(uncertainty: float) -> str:
    """Write a standard uncertainty with two significant digits (JCGM 100:2008, 7.2.6)."""
    place = _place(uncertainty)
    return number(uncertainty, digits=2) if place is None else _at_place(uncertainty, place)


def number(value: float, digits: int = 4) -> str:
    """Write a number with this many significant digits, plainly where that stays short."""
    if not math.isfinite(value):
        return str(value)
    if value == 0:
        return "0"
    # Rounding may carry into the next decade: 9.9999 needs one decimal less.
    exponent = math.floor(math.log10(abs(float(f"{value:.{digits - 1}e}"))))
    if exponent < -5 or exponent > 9:
        return f"{value:.{digits - 1}e}"
    return _at_place(value, max(digits - 1 - exponent, 0)) if exponent < digits else f"{value:.0f}"


def plain(value: float, digits: int = 6) -> str:
    """Write a number with up to this many significant digits and no trailing zeros."""
    text = number(value, digits)
    return text.rstrip("0").rstrip(".") if "." in text and "e" not in text else text


def percent(value: float, digits: int = 5) -> str:
    """Write a share exactly known, such as a required probability, or one of anything but cars."""
    if not math.isfinite(value):
        return NO_ANSWER
    return f"{plain(100 * value, digits).replace('-', MINUS)}{SPACE}%"


def chance(probability: float) -> str:
    """Write a probability without an interval: no more figures than matter, and never zero for a little.

    An estimated share may lie a little below zero or above one by chance: the end is written.
    """
    if not math.isfinite(probability):
        return NO_ANSWER
    probability = min(max(0.0, probability), 1.0)
    if probability in (0.0, 1.0):
        return f"{100 * probability:.0f}{SPACE}%"
    if probability < 0.001:
        return f"less than 0.1{SPACE}%"
    if probability > 0.999:
        return f"more than 99.9{SPACE}%"
    digits = 1 if probability < 0.0095 or probability > 0.9905 else 0
    return f"{100 * probability:.{digits}f}{SPACE}%"


def with_unit(text: str, unit: str) -> str:
    """Put the printed unit behind a number: a space between, except before the degree sign of an angle."""
    symbol = pretty(unit)
    return f"{text}{symbol}" if symbol in ("", "°") else f"{text} {symbol}"


def _place(uncertainty: float) -> int | None:
    """Return the decimals that two significant digits of an uncertainty need; negative: left of the point."""
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return None
    # Rounding may carry into the next decade: 0.0996 has its second digit in the second decimal.
    return 1 - math.floor(math.log10(float(f"{uncertainty:.1e}")))


def _at_place(value: float, place: int) -> str:
    text = f"{round(value, place):.{max(place, 0)}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def about(count: float) -> str:
    """Write a count in two figures, with spaces between thousands."""
    return f"{float(f'{count:.2g}'):,.0f}".replace(",", " ")


def listed(words: Iterable[str]) -> str:
    """Write a list: "a, b and c"."""
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def some_of(words: Sequence[str], most: int) -> str:
    """Write the first of a list, and how many more there are: "a, b and 3 more"."""
    more = f" and {len(words) - most} more" if len(words) > most else ""
    return f"{', '.join(words[:most])}{more}"
