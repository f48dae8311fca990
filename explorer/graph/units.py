"""Text with a unit to an SI number, and back.

Inside, every number is in coherent SI units, angles in radians.  The unit library is loaded for the
first unit that is none of the usual ones, and one registry serves the whole program.  Beyond dimensions the
angle is checked too, which the registry alone would let pass: 1 Hz is not 1 rad/s, and 5 deg is not 5 %.
"""

from __future__ import annotations

import math
import re
import sys
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, TypeVar

from explorer.errors import UnitError, nearest
from explorer.graph.arrays import Array
from explorer.graph.number_slips import slip_in
from explorer.graph.unit_grammar import WORDS, factors, with_stars
from explorer.graph.usual_units import composed

Number = TypeVar("Number", float, Array)

_SAID = re.compile(r"plus\W*(?:or\W*)?minus", re.IGNORECASE)
_PLUS_MINUS = re.compile(r"^(?:±|\+/?-)\s*")
_WITH_SPREAD = re.compile(
    r"\s*\(?(?P<value>[^()±]+?)\s*(?:±|\+/?-)\s*(?P<spread>[^()±+]+?)\s*(?:\)\s*(?P<unit>.*))?", re.DOTALL
)
_SPACES = str.maketrans({"\N{MINUS SIGN}": "-", **dict.fromkeys("\u00a0\u2009\u202f", " ")})
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")

# SI unit -> units a builder may write, most usual first: offered in messages, and to correct typing errors.
_EXAMPLES = {
    "1": ("%", "1"),
    "m": ("mm", "cm", "m", "in", "ft"),
    "m**2": ("m**2", "cm**2", "mm**2", "in**2"),
    "m**3": ("m**3", "cm**3", "l"),
    "m**4": ("mm**4", "m**4", "in**4"),
    "kg": ("kg", "g", "lb", "oz"),
    "s": ("s", "ms", "min", "h"),
    "Hz": ("Hz",),
    "rad": ("deg", "rad", "mrad"),
    "1/rad": ("1/rad", "1/deg"),
    "rad/s": ("rad/s", "deg/s", "rpm"),
    "m/s": ("m/s", "km/h", "mph", "ft/s"),
    "m/s**2": ("m/s**2", "g_0", "ft/s**2"),
    "N": ("N", "kgf", "gf", "lbf", "ozf"),
    "N/m": ("N/mm", "N/m", "kgf/mm", "lbf/in"),
    "N*m": ("N*m", "N*mm", "kgf*cm", "ozf*in", "lbf*in"),
    "m/rad": ("mm/deg", "m/rad"),
    "m**2/rad": ("m**2/rad", "cm**2/deg"),
    "N*m/rad": ("N*m/rad", "N*m/deg"),
    "N*s/m": ("N*s/m", "N*s/mm", "lbf*s/in"),
    "Pa": ("Pa", "hPa", "kPa", "mbar", "bar", "MPa", "GPa", "psi", "inHg"),
    "K": ("degC", "K", "degF"),
    "kg/m**3": ("kg/m**3", "g/cm**3"),
    "kg*m**2": ("kg*m**2", "g*cm**2"),
    "kg/m": ("kg/m", "g/m"),
    "J": ("J", "kJ", "Wh"),
    "W": ("W", "kW", "hp"),
    "V": ("V", "mV"),
    "A": ("A", "mA"),
    "ohm": ("ohm", "mohm"),
    "A*s": ("Ah", "mAh", "A*s"),
    "rad/s/V": ("rpm/V", "rad/s/V"),
    "N*m/A": ("N*m/A",),
    "1/m": ("1/m", "1/mm"),
    "1/s": ("1/s",),
    "1/K": ("1/K", "%/K"),
}

# What a workshop says, and what it can only mean where another kind of quantity is expected.
_MEANT = (
    ("kg", "kgf"),
    ("g", "gf"),
    ("lbs?", "lbf"),
    ("oz", "ozf"),
    ("g", "g_0"),
    ("C", "degC"),
    ("F", "degF"),
    ("\"|\u2033|\u201d|''", "in"),
)


@dataclass(frozen=True)
class _Unit:
    """A unit as one linear map to SI: value * factor + offset, with its dimension and power of angle."""

    factor: float
    offset: float
    dimension: tuple[tuple[str, float], ...]
    angle: float

    @property
    def kind(self) -> tuple[object, float]:
        """Equal for units that can be converted into each other."""
        return self.dimension, self.angle


def parse(text_or_number: object, unit: str | None, expected: str) -> tuple[float, str]:
    """Read one value of the study.

    Parameters
    ----------
    text_or_number:
        A number, or text such as "325 mm", "52 mph", "20 degC", "50 %", "1000 rpm/V".
    unit:
        Unit of a bare number; ignored when the text brings its own.
    expected:
        SI unit of the quantity ("1" for a pure number).

    Returns
    -------
    tuple
        The value in SI and the unit the builder used.

    Raises
    ------
    UnitError
        When there is no number, or its unit is missing, unknown or of another dimension.
    """
    value, used = split(text_or_number, unit, expected)
    return to_si(value, used, expected), used


def parse_spread(text_or_number: object, unit: str | None, expected: str) -> tuple[float, str]:
    """Read one spread (standard deviation, half width): as ``parse``, but a difference has no offset.

    A sign ± before it is what it means anyway.
    """
    if isinstance(text_or_number, str):
        text_or_number = _PLUS_MINUS.sub("", text_or_number.strip(), count=1)
    value, used = split(text_or_number, unit, expected)
    return spread_to_si(value, used, expected), used


def split(text_or_number: object, unit: str | None, expected: str) -> tuple[float, str]:
    """Split a value of the study into its number and the unit it is written in."""
    if isinstance(text_or_number, bool) or not isinstance(text_or_number, (int, float, str)):
        raise UnitError(
            "a value is a number or a text with a unit",
            found=repr(text_or_number),
            allowed=_as_written(expected),
            remedy=f'repeated readings are written {{ readings = {text_or_number}, unit = "..." }}'
            if isinstance(text_or_number, list)
            else "write the number, with its unit in quotes",
        )
    if isinstance(text_or_number, str):
        number, own = _number_and_unit(text_or_number, expected)
    else:
        # A whole number may be larger than any other kind can hold.
        finite = abs(text_or_number) <= sys.float_info.max
        number, own = float(text_or_number) if finite else math.inf, ""
    if not math.isfinite(number):
        raise UnitError("a value must be finite", found=text_or_number, allowed=_as_written(expected))
    used = own or unit or ("1" if expected == "1" else "")
    if not used:
        raise UnitError(
            "the unit is missing",
            found=text_or_number,
            allowed=allowed_units(expected),
            remedy=f'write the value with its unit, such as "{number:g} {written_in(expected)[0]}"',
        )
    return number, resolved(used, expected)


def with_spread(text: object, expected: str) -> tuple[str, str] | None:
    """Split "6.20 ± 0.04 kg" into a value and its spread, each with its unit; None where there is no ±.

    One unit stands for both, before the sign, behind the spread, or behind brackets around them: "+-",
    "+/-" and "plus minus" are read as ±, and "6.20 kg ± 1 %" is a share of the value.

    Raises
    ------
    UnitError
        When there is a ± but no number before or behind it.
    """
    if not isinstance(text, str):
        return None
    text = _SAID.sub("±", text.translate(_SPACES))
    if not (match := _WITH_SPREAD.fullmatch(text)):
        return None
    if re.search(r"\d,\d", text):
        raise UnitError(
            "a number cannot be read",
            found=repr(text),
            remedy=f'write decimal points: "{re.sub(r"(?<=[0-9]),(?=[0-9])", ".", text)}"',
        )
    if match["unit"] is not None:
        return f"{match['value']} {match['unit']}", f"{match['spread']} {match['unit']}"
    _, own = _number_and_unit(match["value"], expected)
    number, behind = _number_and_unit(match["spread"], expected)
    share = behind == "%" and not dimension_matches("%", expected)
    if share and not own and expected != "1":
        unit = written_in(expected)[0]
        raise UnitError(
            "the unit is missing",
            found=repr(text),
            allowed=allowed_units(expected),
            remedy=f'write "{match["value"].strip()} {unit} ± {number:g} %" where % is a share of the value, '
            f'else "{match["value"].strip()} ± {number:g} {unit}"',
        )
    return (
        f"{match['value']} {'' if own or share else behind}",
        match["spread"] if behind else f"{number!r} {own}",
    )


def _number_and_unit(text: str, expected: str) -> tuple[float, str]:
    plain = text.translate(_SPACES).strip()
    match = _NUMBER.match(plain)
    example = "0.5" if expected == "1" else f"1 {written_in(expected)[0]}"
    slip = slip_in(plain, match.end() if match else None, example)
    if match is None or slip:
        problem, remedy = slip or ("", "")
        raise UnitError(problem, found=repr(text), allowed=_as_written(expected), remedy=remedy)
    return float(match.group()), plain[match.end() :].strip()


def to_si(value: Number, unit: str, expected: str) -> Number:
    """Convert values to SI after checking that the unit fits what is expected.

    Raises
    ------
    UnitError
        When the unit is unknown or of another dimension.
    """
    used = _checked(unit, expected)
    return value * used.factor + used.offset


def spread_to_si(value: Number, unit: str, expected: str) -> Number:
    """Convert differences (standard deviations, tolerances) to SI: no offset."""
    return value * _checked(unit, expected).factor


def from_si(value: Number, unit: str) -> Number:
    """Convert values from SI to a unit for display."""
    shown = known_unit(unit)
    return (value - shown.offset) / shown.factor


def spread_from_si(value: Number, unit: str) -> Number:
    """Convert differences from SI to a unit for display: no offset."""
    return value / known_unit(unit).factor


def dimension_matches(unit: str, expected: str) -> bool:
    """Tell whether a unit can be converted to the expected one, angles told apart from pure numbers."""
    return known_unit(unit).kind == known_unit(expected).kind


def _checked(unit: str, expected: str) -> _Unit:
    used = known_unit(resolved(unit, expected), allowed_units(expected))
    if used.kind != known_unit(expected).kind:
        wanted = "a pure number" if expected == "1" else f"one in {expected}"
        raise UnitError(
            f"a value in {unit} cannot stand where {wanted} is expected",
            found=unit,
            allowed=allowed_units(expected),
            remedy=_near_of(unit, expected),
        )
    return used


def _near_of(unit: str, expected: str) -> str:
    """Return the remedy for a unit of another kind: the one of this kind that is written most like it."""
    listed = written_in(expected)
    by_lower = {one.lower(): one for one in listed}
    near = by_lower.get(unit.lower()) or nearest(unit, listed)
    return f"did you mean {near!r}?" if near else "write one of these, or check the name before ="


def resolved(unit: str, expected: str) -> str:
    """Return the unit meant where only one can be: kg, lbs, oz as weights, g as gravity, C and F as degrees.

    A workshop says "5 kg cm" of a servo and "12 lbs/in" of a spring; where a force is expected, a mass can
    only stand for its weight.
    """
    written, wanted = _looked_up(unit), known_unit(expected).kind
    if written and written.kind == wanted:
        return unit
    for mass, meant in _MEANT:
        guess = re.sub(rf"(?<![A-Za-z_]){mass}(?![A-Za-z_])", meant, unit)
        looked_up = _looked_up(guess) if guess != unit else None
        if looked_up and looked_up.kind == wanted:
            return guess
    return unit


def known_unit(text: str, allowed: str = "a unit such as mm, kg, N/mm, deg, hPa, km/h, rpm/V, %") -> _Unit:
    """Return what the registry knows of a unit; a message says which are allowed.

    Raises
    ------
    UnitError
        When there is no such unit; the nearest usual one is suggested.
    """
    found = _looked_up(text)
    if found is None:
        known = factors(text)
        near = _nearest_unit(text) if known else None
        raise UnitError(
            f"there is no unit {text[:40]!r}",
            found=text[:80],
            allowed=allowed,
            remedy=f"did you mean {near!r}?"
            if near
            else "write one of these"
            if known or not text.strip()
            else f"write {WORDS}",
        )
    return found


@lru_cache(maxsize=4096)
def _looked_up(text: str) -> _Unit | None:
    parts = factors(text)
    if parts is None:
        return None
    if usual := composed(parts):
        factor, offset, dimension, angle = usual
        return _Unit(_tidy(factor), offset, dimension, angle)
    return _of_the_library("*".join(f"{name}**{power}" for name, power in parts))


def _of_the_library(written: str) -> _Unit | None:
    import tokenize

    import pint

    registry = _registry()
    try:
        one = registry.Quantity(1.0, registry.parse_units(written))
        if not one._is_multiplicative:
            return _affine(registry, one.units)
        base = one.to_base_units()
    # The registry's parser answers nonsense with its own errors, and also with those of its tokenizer.
    except (
        pint.PintError,
        ArithmeticError,
        AssertionError,
        AttributeError,
        TypeError,
        ValueError,
        tokenize.TokenError,
    ):
        return None
    factor = float(base.magnitude)
    if not 0 < factor < math.inf:
        return None
    return _Unit(_tidy(factor), 0.0, _dimension(base), float(base._units.get("radian", 0)))


def _affine(registry: Any, unit: Any) -> _Unit | None:
    name = str(unit)
    if name not in ("degree_Celsius", "degree_Fahrenheit"):
        return None
    step = registry.Quantity(1.0, f"delta_{name}").to("kelvin")
    zero = registry.Quantity(0.0, unit).to("kelvin")
    return _Unit(float(step.magnitude), _tidy(float(zero.magnitude)), _dimension(step), 0.0)


def _dimension(base: Any) -> tuple[tuple[str, float], ...]:
    # Units without a dimension in the registry (counts, bits) keep their name, so they match nothing else.
    plain = [(name, float(power)) for name, power in base.dimensionality.items()]
    odd = [(name, float(power)) for name, power in base._units.items() if name in ("count", "bit")]
    return tuple(sorted(plain + odd))


def _tidy(number: float) -> float:
    """Take the last-digit dust off a factor that is a short decimal (0.30479999999999996)."""
    short = float(f"{number:.14g}")
    return short if math.isclose(short, number, rel_tol=4e-16) else number


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    # Without a cache folder: nothing is written outside the results.
    return pint.UnitRegistry(cache_folder=None)


def _nearest_unit(text: str) -> str | None:
    usual = sorted({unit for units in _EXAMPLES.values() for unit in units})
    by_lower = {unit.lower(): unit for unit in usual}
    return by_lower.get(text.lower()) or nearest(text, usual)


def one_spelling(si_unit: str) -> str:
    """Bring the spellings of one SI unit together: "N m", "N·m" and "N*m"."""
    return re.sub(r" +", "*", with_stars(si_unit))


def allowed_units(expected: str) -> str:
    """Say in words which units a quantity may be given in."""
    if expected == "1":
        return "a pure number, or %"
    return f"{', '.join(written_in(expected))} (or any other unit of the same kind)"


def written_in(expected: str) -> tuple[str, ...]:
    """Return the units that a builder would write a quantity in, the most usual first."""
    return _EXAMPLES.get(one_spelling(expected), (expected,))


def _as_written(expected: str) -> str:
    return (
        f"a number with a unit: {', '.join(written_in(expected))}"
        if expected != "1"
        else "a pure number, or %"
    )
