"""What quantities are called: each by words of its own, in a builder's letters."""

from __future__ import annotations

import re

import pytest

from explorer.graph import labels
from explorer.graph.labels import begun, label
from explorer.graph.quantity import quantities_of
from explorer.model import SUBJECTS, modules


def every_name() -> set[str]:
    """Name every quantity of every variant."""
    most = max(len(variants) for variants in SUBJECTS.values())
    choices = (
        {subject: list(variants)[min(place, len(variants) - 1)] for subject, variants in SUBJECTS.items()}
        for place in range(most)
    )
    files = {file for choice in choices for file in modules(choice)}
    declared = [one for file in files for one in quantities_of(file)]
    return {part.name for one in declared for part in (one.parts if one.record else (one,))}


NAMES = every_name()


def test_every_quantity_has_a_label_of_its_own() -> None:
    called: dict[str, str] = {}
    for name in sorted(NAMES):
        words = label(name)
        assert words == words.strip() != ""
        assert "_" not in words
        assert words not in called, (name, called.get(words))
        called[words] = name
    assert len(called) > 400


def test_labels_are_no_shorthand() -> None:
    for name in NAMES:
        assert not re.search(r"\b(cg|cd|cl|deg|coeff|binds?|lift off|no load)\b", label(name)), name


def test_no_whole_label_is_of_a_quantity_that_is_gone() -> None:
    assert set(labels._WHOLE) <= NAMES


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("front_lift_off_speed", "Front lift-off speed"),
        ("cg_height", "Centre of gravity height"),
        ("wing_drag_coefficient_open", "Wing drag coefficient (open)"),
        ("lower_flap_opening", "Lower flap opening"),
        ("revs_bind", "Held back by motor revs"),
        ("a_thing_of_ones_own", "A thing of ones own"),
    ],
)
def test_a_row_begins_with_a_capital(name: str, said: str) -> None:
    assert begun(label(name)) == said
