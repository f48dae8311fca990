"""Units: what a builder writes, to SI and back, and what is refused."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from explorer.errors import UnitError
from explorer.graph import units, written
from explorer.graph.unit_grammar import factors
from explorer.graph.units import (
    dimension_matches,
    from_si,
    parse,
    parse_spread,
    spread_from_si,
    spread_to_si,
    to_si,
    with_spread,
)
from explorer.graph.usual_units import USUAL, composed
from explorer.graph.written import display_unit, number, plain, pretty, rounded, rounded_spread, with_unit
from explorer.study.template import CarHas, template

# Factors are exact by definition: NIST SP 811 (2008), appendix B.8 (in, lb, lbf, mph); BIPM SI Brochure.
EXACT = [
    ("4.60 kg", "kg", 4.6),
    ("325 mm", "m", 0.325),
    ("3.0 N/mm", "N/m", 3000.0),
    ("52 mph", "m/s", 52 * 0.44704),
    ("90 km/h", "m/s", 25.0),
    ("20 degC", "K", 293.15),
    ("68 °F", "K", 293.15),
    ("1013 hPa", "Pa", 101300.0),
    ("50 %", "1", 0.5),
    ("1000 rpm/V", "rad/s/V", 1000 * 2 * math.pi / 60),
    ("15 min", "s", 900.0),
    ("-0.46 deg", "rad", -0.46 * math.pi / 180),
    ("-0.46 °", "rad", -0.46 * math.pi / 180),
    ("0.045 1/deg", "1/rad", 0.045 * 180 / math.pi),
    ("2.6 /rad", "1/rad", 2.6),
    ("1 lbf/in", "N/m", 4.4482216152605 / 0.0254),
    ("5 cm2", "m**2", 5e-4),
    ("1.2 kg/m³", "kg/m**3", 1.2),
    ("3 Nm", "N*m", 3.0),
    ("10 kgf cm", "N*m", 0.980665),
    ("2 1/Nm", "1/N/m", 2.0),
    ("7 Nm2", "N*m**2", 7.0),
    ("9 s⁻¹", "1/s", 9.0),
    ("5000 mAh", "A*s", 18000.0),
    ("\N{MINUS SIGN}4 °C", "K", 269.15),
    (".5 in", "m", 0.0127),
    ("1e3 g", "kg", 1.0),
    # What only one thing can be meant by, where it stands: a mass presses with its weight.
    ("12 lbs/in", "N/m", 12 * 4.4482216152605 / 0.0254),
    ("12 lb/in", "N/m", 12 * 4.4482216152605 / 0.0254),
    ("3 lbs", "kg", 3 * 0.45359237),
    ("3 lbs", "N", 3 * 4.4482216152605),
    ("5 kg cm", "N*m", 0.4903325),
    ("5 kg-cm", "N*m", 0.4903325),
    ("70 oz-in", "N*m", 70 * 4.4482216152605 / 16 * 0.0254),
    ("0.5 kg/mm", "N/m", 4903.325),
    ("1.2 g", "m/s**2", 11.76798),
    ("20 C", "K", 293.15),
    ("20 °C", "K", 293.15),
    ("20 deg C", "K", 293.15),
    ("68 F", "K", 293.15),
    ("90 kmh", "m/s", 25.0),
    ("1000 Kv", "rad/s/V", 1000 * 2 * math.pi / 60),
    ("80 %", "1", 0.8),
    # As an imperial tape, a data sheet and an ammeter are read out.
    ("68 sq in", "m**2", 68 * 0.0254**2),
    ("2 square inches", "m**2", 2 * 0.0254**2),
    ('8"', "m", 8 * 0.0254),
    ("730 kv", "rad/s/V", 730 * 2 * math.pi / 60),
    ("200 amps", "A", 200.0),
]


@pytest.mark.parametrize(("text", "expected", "value"), EXACT)
def test_texts_become_si(text: str, expected: str, value: float) -> None:
    assert parse(text, None, expected)[0] == pytest.approx(value, rel=1e-14)


def test_the_builders_unit_is_remembered() -> None:
    assert parse("325 mm", "m", "m") == (0.325, "mm")
    assert parse(325, "mm", "m") == (0.325, "mm")
    assert parse(0.83, None, "1") == (0.83, "1")


def test_decimal_factors_carry_no_rounding_dust() -> None:
    assert [to_si(1.0, unit, "m") for unit in ("mm", "in", "ft")] == [0.001, 0.0254, 0.3048]


REFUSED = [
    ("4.60", "kg", "unit is missing", "4.6 kg"),
    (3, "m", "unit is missing", "3 mm"),
    ("325 kg", "m", "a value in kg", "mm, cm, m, in, ft"),
    ("5 Hz", "rad/s", "a value in Hz", "rpm"),
    ("5 deg", "1", "a value in deg", "pure number"),
    ("5 %", "rad", "a value in %", "deg"),
    ("3 KG", "kg", "no unit 'KG'", "'kg'"),
    ("2 N/mmm", "N/m", "no unit 'N/mmm'", "'N/mm'"),
    ("4,6 kg", "kg", "cannot be read", "decimal point"),
    ("1.2.3 kg", "kg", "cannot be read", "one number"),
    ("1 600 W", "W", "cannot be read", "1600 W"),
    ("6.20 ± 0.04 kg", "kg", "without a spread", "leave out"),
    ("5 C", "m", "a value in C", "mm"),
    ("5 wombats", "m", "no unit", "mm, cm, m, in, ft"),
    ("abc", "m", "no number", "mm"),
    ("nan m", "m", "no number", "mm"),
    ("1e400 m", "m", "finite", "mm"),
    (float("inf"), "1", "finite", ""),
    (True, "1", "a number or a text", ""),
    ([1], "m", "a number or a text", "mm"),
    (None, "m", "a number or a text", "mm"),
    ("3 dB", "1", "no unit", ""),
    ("3 count", "1", "a value in count", ""),
    ("3 V**99999999", "V", "no unit", "a power of one digit"),
    ("3 mm**9**9**9**9", "m", "no unit", "a power of one digit"),
    ("3 9**9**9**9*m", "m", "no unit", "a power of one digit"),
    ("3 kg/(m s)", "Pa*s", "no unit", "joined by * and /"),
    ("3 " + "x" * 5000, "1", "no unit", ""),
    ("3 (((", "m", "no unit", ""),
    ("3 __import__('os')", "m", "no unit", ""),
]


@pytest.mark.parametrize(("written", "expected", "problem", "help_given"), REFUSED)
def test_what_cannot_be_meant_is_refused_with_help(
    written: object, expected: str, problem: str, help_given: str
) -> None:
    with pytest.raises(UnitError) as caught:
        parse(written, None, expected)
    message = str(caught.value)
    assert problem in message
    assert help_given in message
    assert len(message) < 600


@pytest.mark.parametrize(
    ("written", "expected", "meant"),
    [
        ("17 5/16 in", "m", 17.3125 * 0.0254),
        ("-3-1/2 in", "m", -3.5 * 0.0254),
        ("5/8 in", "m", 0.625 * 0.0254),
        ("1/3", "1", 1 / 3),
        ("3:1", "1", 3.0),
        ("7.5 : 1", "1", 7.5),
    ],
)
def test_a_fraction_or_ratio_is_right_once_its_remedy_is_followed(
    written: str, expected: str, meant: float
) -> None:
    with pytest.raises(UnitError) as caught:
        parse(written, None, expected)
    remedy = re.search(r'(?:as|write) "?(-?[\d.]+[^"\n]*)"?$', str(caught.value).rstrip())
    assert remedy
    assert parse(remedy[1], None, expected)[0] == pytest.approx(meant, rel=1e-5)


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=30))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    try:
        value, _ = parse(f"1 {text}", None, "m")
    except UnitError:
        return
    assert math.isfinite(value)


def test_a_difference_of_temperatures_has_no_offset() -> None:
    assert parse_spread("2 degC", None, "K") == (2.0, "degC")
    assert parse_spread("9 degF", None, "K")[0] == pytest.approx(5.0)
    assert spread_to_si(5.0, "degC", "K") == 5.0
    assert spread_from_si(5.0, "degF") == pytest.approx(9.0)
    assert from_si(293.15, "degC") == pytest.approx(20.0)


@settings(max_examples=100, deadline=None)
@given(
    st.floats(-1e6, 1e6),
    st.sampled_from(
        [("mm", "m"), ("degC", "K"), ("degF", "K"), ("rpm", "rad/s"), ("%", "1"), ("lbf/in", "N/m")]
    ),
)
def test_there_and_back_again(value: float, units: tuple[str, str]) -> None:
    unit, si_unit = units
    assert from_si(to_si(value, unit, si_unit), unit) == pytest.approx(value, rel=1e-12, abs=1e-9)


def test_arrays_convert_as_numbers_do() -> None:
    speeds = np.array([10.0, 20.0])
    assert np.allclose(to_si(speeds, "km/h", "m/s"), speeds / 3.6)
    assert np.allclose(from_si(speeds, "km/h"), speeds * 3.6)


def test_angles_are_told_apart_from_pure_numbers() -> None:
    assert dimension_matches("deg/s", "rad/s")
    assert not dimension_matches("1/s", "rad/s")
    assert not dimension_matches("deg", "1")
    assert dimension_matches("N*m", "J")
    assert not dimension_matches("N*m/rad", "N*m")


@pytest.mark.parametrize(
    ("si_unit", "system", "given_unit", "magnitude", "shown"),
    [
        ("N/m", "metric", None, None, "N/mm"),
        ("N/m", "as given", "lbf/in", None, "lbf/in"),
        ("N/m", "as given", None, None, "N/mm"),
        ("m", "metric", "in", 0.3, "mm"),
        ("m", "metric", None, 60.0, "m"),
        ("m", "imperial", None, -60.0, "ft"),
        ("m", "as given", "mm", 120.0, "m"),
        ("m", "as given", "mm", 2.5, "mm"),
        ("m", "as given", "in", 120.0, "in"),
        ("N m", "imperial", None, None, "lbf*in"),
        ("m/s", "imperial", "m/s", None, "mph"),
        ("K", "imperial", None, None, "degF"),
        ("m2", "imperial", None, None, "in**2"),
        ("1", "metric", None, None, "1"),
    ],
)
def test_the_unit_shown(
    si_unit: str, system: str, given_unit: str | None, magnitude: float | None, shown: str
) -> None:
    chosen = display_unit(si_unit, system, given_unit, magnitude=magnitude)  # type: ignore[arg-type]
    assert chosen == shown
    assert dimension_matches(chosen, si_unit)


@pytest.mark.parametrize(
    ("unit", "printed"),
    [
        ("m**2", "m²"),
        ("m2", "m²"),
        ("N⋅m", "N·m"),
        ("kg/m**3", "kg/m³"),
        ("N m", "N·m"),
        ("N*m/rad", "N·m/rad"),
        ("degC", "°C"),
        ("deg/s", "°/s"),
        ("s**-1", "s⁻¹"),
        ("mohm", "mΩ"),
        ("1", ""),
        ("%", "%"),
    ],
)
def test_units_in_print(unit: str, printed: str) -> None:
    assert pretty(unit) == printed


def test_a_number_and_its_unit_in_print() -> None:
    # A space before every symbol but that of an angle: SI Brochure, 9th ed., 5.4.3.
    assert [with_unit("5", unit) for unit in ("degC", "deg", "%", "1")] == ["5 °C", "5°", "5 %", "5"]


# JCGM 100:2008, 7.2.6: "if y = 10.057 62 ohm with u = 27 mohm, y should be rounded to 10.058 ohm";
# its text from memory.  The other rows follow its rule of two digits of uncertainty at most.
@pytest.mark.parametrize(
    ("value", "uncertainty", "printed", "spread"),
    [
        (10.05762, 0.027, "10.058", "0.027"),
        (4.6, 0.0304, "4.600", "0.030"),
        (12345.6, 230.0, "12350", "230"),
        (1.0, 0.0996, "1.00", "0.10"),
        (-0.0001, 0.03, "0.000", "0.030"),
        (52.345, 1.0, "52.3", "1.0"),
    ],
)
def test_values_are_rounded_to_their_uncertainty(
    value: float, uncertainty: float, printed: str, spread: str
) -> None:
    assert rounded(value, uncertainty) == printed
    assert rounded_spread(uncertainty) == spread


def test_without_an_uncertainty_six_digits() -> None:
    assert rounded(1 / 3, 0.0) == "0.333333"
    assert rounded(1 / 3, math.inf) == "0.333333"


@pytest.mark.parametrize(
    ("value", "digits", "printed"),
    [
        (52.33333, 4, "52.33"),
        (9.99999, 4, "10.00"),
        (0.000123456, 4, "0.0001235"),
        (123456.0, 4, "123456"),
        (1e-9, 4, "1.000e-09"),
        (0.0, 4, "0"),
        (math.inf, 4, "inf"),
    ],
)
def test_numbers_in_print(value: float, digits: int, printed: str) -> None:
    assert number(value, digits) == printed


def test_plain_numbers_have_no_trailing_zeros() -> None:
    assert [plain(value) for value in (325.0, 0.5, 1 / 3, 1000.0)] == ["325", "0.5", "0.333333", "1000"]


@pytest.mark.parametrize(
    ("written", "expected", "value"),
    [
        ("4,6 kg", "kg", 4.6),
        ("-4,6 deg", "deg", -4.6),
        ("1 600 W", "W", 1600),
        ("1'600 W", "W", 1600),
        ("1,234,567 W", "W", 1234567),
        ("1.234,56 W", "W", 1234.56),
        ("1,600 W", "W", 1.6),
    ],
)
def test_what_is_offered_for_a_decimal_comma_works(written: str, expected: str, value: float) -> None:
    with pytest.raises(UnitError) as caught:
        parse(written, None, expected)
    offered = str(caught.value.remedy).split('"')[1::2]
    assert parse(offered[0], None, expected)[0] == pytest.approx(to_si(value, expected, expected))
    if written == "1,600 W":
        assert parse(offered[1], None, expected)[0] == 1600


@pytest.mark.parametrize(
    ("written", "expected", "value", "spread"),
    [
        ("6.20 ± 0.04 kg", "kg", 6.2, 0.04),
        ("6.20 +- 0.04 kg", "kg", 6.2, 0.04),
        ("325 +/- 1 mm", "m", 0.325, 0.001),
        ("325 plus or minus 1 mm", "m", 0.325, 0.001),
        ("325 mm plus/minus 1", "m", 0.325, 0.001),
        ("325+/-1mm", "m", 0.325, 0.001),
        ("(6.20 ± 0.04) kg", "kg", 6.2, 0.04),
        ("6.20 kg ± 40 g", "kg", 6.2, 0.04),
        ("6.20 kg ± 0.04", "kg", 6.2, 0.04),
        ("80 ± 5 %", "1", 0.8, 0.05),
        ("20 ± 2 °C", "K", 293.15, 2.0),
        ("-0.4 ± 0.1 deg", "rad", math.radians(-0.4), math.radians(0.1)),
        ("1e+3 ± 5 W", "W", 1000.0, 5.0),
    ],
)
def test_a_value_with_its_spread_in_one_text(
    written: str, expected: str, value: float, spread: float
) -> None:
    pair = with_spread(written, expected)
    assert pair is not None
    assert parse(pair[0], None, expected)[0] == pytest.approx(value)
    assert parse_spread(pair[1], None, expected)[0] == pytest.approx(spread)


def test_a_share_without_a_unit_is_right_once_either_remedy_is_followed() -> None:
    with pytest.raises(UnitError) as caught:
        with_spread("0.5 ± 10 %", "rad")
    offered = re.findall(r'"([^"]+)"', caught.value.remedy or "")
    assert offered == ["0.5 deg ± 10 %", "0.5 ± 10 deg"]
    assert all(with_spread(one, "rad") for one in offered)


@pytest.mark.parametrize("written", ["3 kg", "1e+3 kg", "6.2 - 7 kg", "± 3 kg", 3, None])
def test_no_spread_in_the_text(written: object) -> None:
    assert with_spread(written, "kg") is None


def test_a_spread_may_carry_the_sign_it_means() -> None:
    assert parse_spread("± 4 g", None, "kg") == parse_spread("+-4 g", None, "kg") == (0.004, "g")


@pytest.mark.parametrize(
    "unit",
    [*USUAL, "degC", "°C", "degF", "N*mm/deg", "lbf*s/in", "g/cm**3", "%/K", "1/deg", "rpm/V", "oz*in"],
)
def test_what_is_kept_of_usual_units_is_what_the_library_says(unit: str) -> None:
    parts = factors(unit)
    assert parts is not None
    kept = units.known_unit(unit)
    library = units._of_the_library("*".join(f"{name}**{power}" for name, power in parts))
    assert library is not None
    assert kept.kind == library.kind
    assert (kept.factor, kept.offset) == pytest.approx((library.factor, library.offset), rel=1e-15, abs=0)


def test_no_unit_of_a_new_study_or_of_a_message_needs_the_library() -> None:
    named = {unit for row in units._EXAMPLES.items() for unit in (row[0], *row[1])}
    named |= {unit for system in written._UNITS.values() for row in system.items() for unit in row}
    named |= set(re.findall(r'unit = "([^"]+)"', template(CarHas(2, "electric", "fitted", "spring", True))))
    for unit in named:
        assert composed(factors(unit) or ()), unit
