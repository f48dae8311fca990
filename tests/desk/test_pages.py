"""What the page is made of: the drawing evaluates no more than it shows."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from explorer.desk import pages
from explorer.study.study import load_study

STUDIES = Path(__file__).parents[2] / "studies"


@pytest.mark.parametrize("demo", ["airfield-sprint", "three-flap-chase"])
def test_the_drawing_is_the_one_of_all_quantities(demo: str, monkeypatch: pytest.MonkeyPatch) -> None:
    study = load_study(STUDIES / demo / "study.toml")
    evaluated: list[int] = []
    evaluate = pages.nominal_values

    def counted(*asked: Any) -> Mapping[str, Mapping[str, float | None]]:
        found = evaluate(*asked)
        evaluated.extend(len(values) for values in found.values())
        return found

    monkeypatch.setattr(pages, "nominal_values", counted)
    drawing = pages._drawing(study)
    monkeypatch.setattr(pages, "drawn_quantities", lambda points: set(study.graph.quantities))
    assert pages._drawing(study) == drawing
    few, many = evaluated
    assert 5 * few < many
