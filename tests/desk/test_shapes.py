"""What is known of an input, drawn as it is typed."""

from __future__ import annotations

import re
from urllib.parse import urlencode

import numpy as np
import pytest

from explorer import load_study
from explorer.desk.entry_forms import Fields
from explorer.desk.shapes import BASE, WIDTH, Shape, shape_of
from explorer.study.study import Study
from reports.formatting import Amount
from tests.desk_help import serving, small_study

MASS = ("inputs", "mass")


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Study:
    return load_study(small_study(tmp_path_factory.mktemp("shapes")))


def drawn(study: Study, kind: str, unit: str = "kg", **numbers: str) -> Shape | None:
    return shape_of(study, study.path.read_text(), MASS, Fields(kind, numbers, unit=unit, source="test"))


def said(shape: Shape | None) -> str:
    assert shape is not None
    return "".join(one.text("as given") if isinstance(one, Amount) else one for one in shape.words)


def test_it_says_within_what_nine_in_ten_cars_lie(study: Study) -> None:
    # 1.645 standard deviations of a normal distribution either side (tables of it).
    assert said(drawn(study, "standard deviation", mean="5.0", sd="0.1")) == (
        "nine in ten cars from 4.84\N{NO-BREAK SPACE}kg to 5.16\N{NO-BREAK SPACE}kg"
    )
    assert said(drawn(study, "one value", value="5.0")) == "exactly 5\N{NO-BREAK SPACE}kg"


def test_the_outline_holds_as_many_cars_left_as_right(study: Study) -> None:
    shape = drawn(study, "a range", low="4", high="6")
    assert shape is not None
    points = np.array([[float(one) for one in pair.split(",")] for pair in shape.outline.split()])
    assert points[:, 0].min() == 0.0
    assert points[:, 0].max() == WIDTH
    # A range is even: its bars are of one height, and half of them stand either side of the middle.
    heights = BASE - points[:, 1]
    full = points[heights > 0.5 * heights.max()]
    assert np.mean(full[:, 0] < shape.middle) == pytest.approx(0.5, abs=0.1)
    assert shape.outline.count(",") == len(points)


@pytest.mark.parametrize(
    "numbers", [{"mean": "heavy", "sd": "0.1"}, {"mean": "5"}, {"mean": "5", "sd": "-1"}]
)
def test_what_is_no_number_yet_is_not_drawn(study: Study, numbers: dict[str, str]) -> None:
    assert drawn(study, "standard deviation", **numbers) is None
    assert drawn(study, "standard deviation", unit="mm", mean="5", sd="1") is None
    assert drawn(study, "a guess", mean="5", sd="1") is None


def test_an_odd_number_is_told_with_what_is_usual(study: Study) -> None:
    shape = drawn(study, "one value", unit="g", value="5")
    assert shape is not None
    assert shape.usual is not None
    assert shape.caution
    assert shape.middle < shape.usual[0]
    usual = drawn(study, "one value", value="5")
    assert usual is not None
    assert not usual.caution
    assert usual.usual is not None
    assert usual.usual[0] < usual.middle < usual.usual[1]


def test_the_page_draws_it_and_answers_while_one_types(study: Study) -> None:
    with serving(study.path.parent) as served:
        _, text, _ = served.ask("?at=body")
        assert 'hx-get="shape"' in text
        assert text.count("<polygon") >= 2
        asked = {"place": "inputs.mass", "kind": "one value", "value": "5", "unit": "g", "source": "<script>"}
        status, text, _ = served.ask(f"shape?{urlencode(asked)}")
        assert status == 200
        assert "Odd: mass is 5" in re.sub(r"<[^>]+>", "", text)
        assert "<script" not in text
        assert served.ask(f"shape?{urlencode(asked | {'value': 'x'})}")[1].strip() == ""
        for place in ("", "inputs", "limits.0", "study.title", "inputs.nothing", "conditions.no.mass"):
            assert served.ask(f"shape?{urlencode(asked | {'place': place})}")[0] in (200, 404)
