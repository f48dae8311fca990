"""What the page is made of: the drawing evaluates no more than it shows."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from explorer.desk import pages
from explorer.desk.rows import rows
from explorer.graph.labels import label
from explorer.graph.written import SPACE
from explorer.study.study import load_study
from tests.log_help import FRICTION, on_points
from tests.study_help import CHASE

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


def test_what_is_judged_on_the_wheels_too_is_called_as_it_was_asked_for(tmp_path: Path) -> None:
    limit = '[[limits]]\nname = "Stands"\nquantity = "stands_on_a_point"\ncondition = "closed"\n'
    limit = f"{FRICTION}\n{limit}at_most = 0\nprobability = 0.9\nsafety = true\n"
    study = on_points(tmp_path, sections=limit)
    *_, row = rows(study, None, {}, {}, 0)
    assert row.asked.startswith("stands on a point of the body at most 0, ")
    *_, judged = study.limits
    assert label(judged.output.quantity) == "stands on a point of the body, judged on the wheels too"


def test_a_number_without_a_unit_says_of_what_it_is() -> None:
    shown = rows(load_study(CHASE / "study.toml"), None, {}, {}, 0)
    asked = {row.name: row.asked.replace(SPACE, " ") for row in shown}
    assert asked["Wing mounts hold"] == "wing mount strength margin at least 2, in 99 % of cars"
    assert asked["Servo has torque in hand"] == "at least 30 N·mm, in 95 % of cars"
