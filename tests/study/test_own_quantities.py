"""Quantities of the user's own: whatever their file does wrong is told as its own, by name."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from study_help import Answer

Cli = Callable[..., Answer]
Writer = Callable[..., Path]

HEAD = """
from typing import Annotated, NamedTuple
import sys
import numpy as np
from explorer.graph.quantity import Part, given, quantity

class Pair(NamedTuple):
    odd_share: Annotated[object, Part("1", "A share.")]
"""
OWN = '''
@quantity("kg", source="definition")
def odd_mass(mass):
    """A mass of my own."""
    BODY
'''
LIMIT = """
[[limits]]
quantity = "odd_mass"
condition = "rest"
at_least = "1 kg"
"""

WRONG_BODY = {
    "raises": ("return mass / len(mass.sad)", "AttributeError"),
    "leaves": ("sys.exit(0)", "SystemExit"),
    "tests an array": ("return mass if mass > 5.000001 or mass <= 5.000001 else 0", "ValueError"),
    "runs away": ("return odd_mass(mass)", "RecursionError"),
    "nothing": ("pass", "returned no numbers"),
    "text": ('return "heavy"', "'heavy'"),
    "ragged": ("return [[1.0], [1.0, 2.0]]", "ValueError"),
    "complex": ("return mass + 1j", "returned no numbers"),
    "three for one": ("return np.array([1.0, 2.0, 3.0])", "wrong shape"),
    "a square": ("return np.multiply.outer(mass, mass)", "wrong shape"),
    "one too few": ("return mass[1:] if np.ndim(mass) else mass", "wrong shape"),
}


@pytest.mark.parametrize("wrong", WRONG_BODY)
def test_what_a_quantity_does_wrong_is_told_by_its_name(
    wrong: str, small_study: Writer, squatline: Cli
) -> None:
    body, said = WRONG_BODY[wrong]
    folder = small_study(limits=LIMIT, **{"samples__=__4000": 'samples = 4000\nown_quantities = "own.py"'})
    (folder / "own.py").write_text(HEAD + OWN.replace("BODY", body))
    answer = squatline("run", folder, "--allow-code", "--engine", "threads", "--no-report")
    assert answer.status == 2, answer.err
    for words in ("own.py", "odd_mass", said, "allowed:", "remedy:"):
        assert words in answer.err
    assert "fault of the program" not in answer.err


WRONG_FILE = {
    "no Python": ("def def\n", "SyntaxError"),
    "leaves": ("import sys\nsys.exit(0)\n", "SystemExit"),
    "a unit that is none": (
        HEAD + OWN.replace('"kg"', '"stones_of_it"').replace("BODY", "return mass"),
        "stones_of_it",
    ),
    "a unit that is no text": (HEAD + OWN.replace('"kg"', "7").replace("BODY", "return mass"), "odd_mass"),
    "a default in words": (HEAD + 'odd = given("kg", "Odd.", default="much")\n', "odd: default"),
    "a bound in words": (HEAD + 'odd = given("kg", "Odd.", above="much")\n', "odd: above"),
    "no docstring": (
        HEAD + OWN.replace('"""A mass of my own."""', "").replace("BODY", "return mass"),
        "docstring",
    ),
}


@pytest.mark.parametrize("wrong", WRONG_FILE)
def test_a_file_that_cannot_be_used_is_told(wrong: str, small_study: Writer, squatline: Cli) -> None:
    text, said = WRONG_FILE[wrong]
    folder = small_study(**{"samples__=__4000": 'samples = 4000\nown_quantities = "own.py"'})
    (folder / "own.py").write_text(text)
    answer = squatline("check", folder, "--allow-code")
    assert answer.status == 2, answer.err
    assert "own.py" in answer.err
    assert said in answer.err


def test_a_named_tuple_that_lacks_its_field_is_told(small_study: Writer, squatline: Cli) -> None:
    own = OWN.replace("(mass)", "(mass) -> Pair").replace('"kg"', '"1"').replace("BODY", "return mass")
    folder = small_study(
        limits=LIMIT.replace("odd_mass", "odd_share").replace("1 kg", "1"),
        **{"samples__=__4000": 'samples = 4000\nown_quantities = "own.py"'},
    )
    (folder / "own.py").write_text(HEAD + own)
    answer = squatline("check", folder, "--allow-code")
    assert answer.status == 2
    assert "'odd_mass' of your own raised an error" in answer.err
    (folder / "own.py").write_text(HEAD + own.replace("return mass", "return Pair(mass / mass)"))
    assert squatline("check", folder, "--allow-code").status == 0


def test_what_goes_wrong_in_another_process_is_told_the_same(small_study: Writer, squatline: Cli) -> None:
    folder = small_study(limits=LIMIT, **{"samples__=__4000": 'samples = 40000\nown_quantities = "own.py"'})
    body = "return mass if np.size(mass) < 10_000 else 1 / 0"
    (folder / "own.py").write_text(HEAD + OWN.replace("BODY", body))
    answer = squatline(
        "run", folder, "--allow-code", "--engine", "processes", "--workers", "2", "--no-report"
    )
    assert answer.status == 2, answer.err
    assert "ZeroDivisionError: division by zero (line " in answer.err
