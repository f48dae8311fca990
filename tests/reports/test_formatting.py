"""Numbers in print: rounding by their uncertainty, and units of three systems."""

from __future__ import annotations

import ast
import math
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from study_help import ROOT

from explorer.graph.written import MINUS, SPACE, chance, percent
from reports.formatting import NEWTONS, Units, amount, count, margin_amount, range_amount, share, share_range
from reports.formatting import hours as in_hours
from reports.report import sentence, told


def test_rounding_follows_the_guide() -> None:
    """JCGM 100:2008, 7.2.6: 10.057 62 ohm with a standard uncertainty of 27 milliohm is 10.058 ohm."""
    assert amount(10.05762, Units("ohm", "ohm"), spread=0.027).text("as given") == f"10.058{SPACE}Ω"


@pytest.mark.parametrize(
    ("value", "unit", "given", "imperial"),
    [
        (1.0, "N", "N", f"0.2248{SPACE}lbf"),
        (0.0254, "m", "mm", f"1{SPACE}in"),
        (44.704, "m/s", "km/h", f"100{SPACE}mph"),
        (0.45359237, "kg", "g", f"1{SPACE}lb"),
        (293.15, "K", "degC", f"68{SPACE}°F"),
    ],
)
def test_imperial_units(value: float, unit: str, given: str, imperial: str) -> None:
    """NIST SP 811 (2008), appendix B: pound-force 4.448 222 N, inch 25.4 mm, mile per hour 0.44704 m/s."""
    assert amount(value, Units(unit, given)).text("imperial") == imperial


def test_as_given_keeps_the_builders_unit() -> None:
    shown = amount(0.325, Units("m", "in"), spread=0.001)
    assert shown.text("as given") == f"12.795{SPACE}in"
    assert shown.text("metric") == f"325.0{SPACE}mm"


def test_a_stretch_of_track_is_not_told_in_millimetres() -> None:
    """Once a way of 180 m stood as tens of thousands of them where the builder writes parts in mm."""
    assert amount(179.0, Units("m", "mm")).text("as given") == f"179{SPACE}m"
    assert amount(0.179, Units("m", "mm")).text("as given") == f"179{SPACE}mm"


def test_a_spread_of_temperature_has_no_zero() -> None:
    """A difference of 10 K is one of 18 degrees Fahrenheit, whatever the zeros of the scales are."""
    assert amount(10.0, Units("K", "degC"), spread=10.0, difference=True).texts == (
        f"10{SPACE}°C",
        f"10{SPACE}°C",
        f"10{SPACE}°C",
        f"18{SPACE}°F",
    )


def test_signs_ranges_and_angles() -> None:
    assert amount(-0.01, Units("m", "mm"), spread=0.002).text("as given") == f"{MINUS}10.0{SPACE}mm"
    assert (
        range_amount(0.0411, 0.0558, Units("m", "mm"), spread=0.004).text("as given")
        == f"41.1 to 55.8{SPACE}mm"
    )
    assert (
        amount(math.radians(2.3), Units("rad", "deg"), spread=math.radians(0.1)).text("as given") == "2.30°"
    )
    assert margin_amount(3.41, 2.2, NEWTONS).text("as given") == f"+3.4{SPACE}±{SPACE}2.2{SPACE}N"


@pytest.mark.parametrize("value", [None, math.nan, math.inf])
def test_what_has_no_answer_says_so(value: float | None) -> None:
    assert set(amount(value, NEWTONS).texts) == {"no answer"}
    assert set(range_amount(value, 1.0, NEWTONS).texts) == {"no answer"}


def test_speeds_can_be_read_as_on_the_road() -> None:
    assert amount(10.0, Units("m/s", "m/s")).text("metric km/h") == f"36{SPACE}km/h"
    assert amount(0.0254, Units("m", "in")).text("metric km/h") == f"25.4{SPACE}mm"


def test_shares_are_printed_one_way() -> None:
    assert share(0.66992, 0.6669, 0.6728) == f"67.0{SPACE}%"
    assert share_range(0.6669, 0.6728) == f"66.7 to 67.3{SPACE}%"
    assert share(0.5, 0.4, 0.6) == f"50{SPACE}%"
    for half in (0.0, 0.001, 0.01):
        assert share(0.951, 0.951 - half, 0.951 + half) == f"95.1{SPACE}%" == percent(0.951)
    # Where the interval has no width it says nothing of the digits.
    assert share(0.94123, 0.94123, 0.94123) == f"94.1{SPACE}%"
    # Nor does its absence: one share is the same in a table with intervals and in one without.
    assert share(0.9875, 0.986, 0.989) == share(0.9875) == f"98.8{SPACE}%"
    # So narrow an interval is worth its digits, and so is what lies near an end.
    assert share(0.94987, 0.9497, 0.9501) == f"94.99{SPACE}%"
    assert share(0.99988, 0.9996, 1.0) == f"99.988{SPACE}%"
    # An estimated share may lie a little below zero: it is written like any other.
    assert share_range(-0.015, 0.015) == f"{MINUS}1.5 to 1.5{SPACE}%"
    assert percent(0.999) == f"99.9{SPACE}%"
    assert count(1234567) == "1\N{NARROW NO-BREAK SPACE}234\N{NARROW NO-BREAK SPACE}567"


@given(st.floats(0.5, 1.0, exclude_max=True), st.floats(1e-9, 0.2))
def test_what_is_not_certain_is_never_printed_as_certain(probability: float, half: float) -> None:
    assert not share(probability, max(0.0, probability - half), 1.0).startswith("100")


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e5))
def test_rounding_loses_less_than_the_uncertainty_says(value: float, spread: float) -> None:
    """Two digits of the uncertainty are kept, so the rest is at most a twentieth of it."""
    text = (
        amount(value, NEWTONS, spread=spread).text("as given").removesuffix(f"{SPACE}N").replace(MINUS, "-")
    )
    assert abs(float(text) - value) <= 0.051 * spread + 1e-9 * abs(value)


@pytest.mark.parametrize(
    ("hours", "words"),
    [(0.5, "half an hour"), (1.0, "one hour"), (0.1, "6 minutes"), (2.0, "2 hours"), (2.75, "2.8 hours")],
)
def test_hours_in_words(hours: float, words: str) -> None:
    assert in_hours(hours) == words


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (0.0, "0 %"),
        (1e-5, "less than 0.1 %"),
        (0.004, "0.4 %"),
        (0.214, "21 %"),
        (0.9999, "more than 99.9 %"),
    ],
)
def test_percent_never_rounds_a_little_to_nothing(probability: float, words: str) -> None:
    assert chance(probability).replace(SPACE, " ") == words


#: The files that write shares, units and intervals; the first serves the explorer, which knows no reports.
FORMATTERS = {"explorer/graph/written.py", "reports/formatting.py"}
#: What reads ± as builders type it, or spells it out where a terminal has no such sign.
READERS = {"explorer/graph/units.py", "explorer/study/entries.py", "explorer/console/plain_output.py"}
UNIT = re.compile(r"\s?(?:m/s|km/h|mm|kg|N|N/mm|m²|m|°)(?![\w/²·])")


def formatted_by_hand(path: Path) -> Iterator[str]:
    """Yield the places of a file where a share, an interval or a unit is put together in an f-string.

    A share in quotation marks is one to be typed.
    """
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and ast.unparse(node).startswith("percent(round("):
            yield f"{node.lineno}: a share that is known to some digits only"
        if not isinstance(node, ast.JoinedStr):
            continue
        parts = [part for part in node.values if "id='SPACE'" not in ast.dump(part)]
        for part, after in zip(parts, [*parts[1:], None], strict=True):
            if isinstance(part, ast.Constant) and "+-" in part.value:
                yield f"{node.lineno}: +-"
            if not isinstance(part, ast.FormattedValue):
                continue
            spec = ast.unparse(part.format_spec)[2:-1] if part.format_spec else ""
            behind = after.value if isinstance(after, ast.Constant) else ""
            if spec.endswith("%") or re.match(r'\s?%(?!")', behind):
                yield f"{node.lineno}: a share"
            elif spec and path.is_relative_to(ROOT / "reports") and UNIT.match(behind):
                yield f"{node.lineno}: a unit"
            elif spec and re.match(r"\s±", behind):
                yield f"{node.lineno}: an interval"


def test_numbers_are_put_into_words_by_one_module(tmp_path: Path) -> None:
    paths = [path for package in ("explorer", "reports") for path in (ROOT / package).rglob("*.py")]
    named = {str(path.relative_to(ROOT)): path for path in paths}
    found = {
        name: places
        for name, path in named.items()
        if name not in FORMATTERS | READERS and (places := list(formatted_by_hand(path)))
    }
    assert found == {}
    # The scan would see each of them.
    for words in (
        'f"{100 * p:.1f} %"',
        'f"{p:.1%} of"',
        'f"{a} +- {b}"',
        'f"{p}{SPACE}%"',
        'f"{a:.2g} ± {b}"',
    ):
        (tmp_path / "one.py").write_text(f"said = {words}\n")
        assert list(formatted_by_hand(tmp_path / "one.py")), words


@pytest.mark.parametrize(
    ("text", "begun"),
    [
        ("strip_length is 20 m", "strip_length is 20 m."),
        ("design.cg_height.low: odd", "design.cg_height.low: odd."),
        ("speed@closed is 45 m/s", "speed@closed is 45 m/s."),
        ("no brakes are described", "No brakes are described."),
    ],
)
def test_a_sentence_begins_with_a_capital_or_with_a_key_as_it_is_written(text: str, begun: str) -> None:
    assert sentence(text) == begun
    assert "".join(map(str, told(text))) == begun
