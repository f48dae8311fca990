"""Entries taken apart into fields and put together again."""

from __future__ import annotations

from typing import Any

import pytest
import tomlkit

from explorer.desk.entry_forms import AS_IN_FILE, NOT_KNOWN, Fields, entry_of, fields_of
from explorer.errors import SquatlineError
from explorer.study.study import load_study
from tests.study_help import ROOT

ENTRIES = {
    '"325 mm"': "one value",
    "5": "one value",
    '{ value = "325 mm", source = "drawing" }': "one value",
    '{ mean = 4.60, sd = 0.03, unit = "kg", source = "scales" }': "standard deviation",
    '{ mean = "325 mm", plus_minus = "1 mm" }': "plus or minus",
    '{ low = 40, high = 90, unit = "%" }': "a range",
    '{ low = 0.012, mode = 0.024, high = 0.040, source = "gauge" }': "a range, one value likeliest",
    '{ readings = [1.0, 1.20, 1.1], unit = "mm" }': "readings",
    '{ distribution = "pert", low = 1, mode = 2, high = 4 }': AS_IN_FILE,
    '{ values = [1, 2], weights = [0.5, 0.5], note = "two parts" }': AS_IN_FILE,
}


@pytest.mark.parametrize(("written", "kind"), ENTRIES.items())
def test_what_is_taken_apart_is_put_together_as_it_was(written: str, kind: str) -> None:
    entry = tomlkit.value(written)
    fields = fields_of(entry)
    assert fields.kind == kind
    again = entry_of(fields, entry)
    assert tomlkit.item(again).unwrap() == tomlkit.item(entry).unwrap()


def flat(entry: Any) -> list[Any]:
    return [f"{key} {value}" for key, value in entry.items()] if isinstance(entry, dict) else [entry]


@pytest.mark.parametrize("demo", ["airfield-sprint", "three-flap-chase"])
def test_every_entry_of_the_demos_survives_its_form(demo: str) -> None:
    document: Any = tomlkit.parse((ROOT / "studies" / demo / "study.toml").read_text())
    assert len(document["inputs"]) > 30
    for entry in document["inputs"].values():
        again = tomlkit.item(entry_of(fields_of(entry), entry)).unwrap()
        # A pure number that stood as a text comes back as a number: the same to a study.
        assert [str(one) for one in flat(again)] == [str(one) for one in flat(entry.unwrap())]
    study = load_study(ROOT / "studies" / demo)
    for name in document["inputs"]:
        assert study.inputs.keys() >= set(study.graph.of_family(name) or (name,))


def test_digits_stay_as_typed() -> None:
    found = entry_of(Fields("standard deviation", {"mean": "4.60", "sd": "0.030"}, unit="kg"), None)
    assert found.as_string() == '{mean = 4.60, sd = 0.030, unit = "kg"}'


def test_what_is_no_number_is_a_text_with_a_unit() -> None:
    assert entry_of(Fields("one value", {"value": "325 mm"}), None) == "325 mm"
    assert entry_of(Fields("one value", {"value": "true"}), None) == "true"


def test_an_empty_field_is_told_by_its_name() -> None:
    with pytest.raises(SquatlineError, match="highest is missing"):
        entry_of(Fields("a range", {"low": "1", "high": " "}), None)
    with pytest.raises(SquatlineError, match="not known this way"):
        entry_of(Fields("a guess", {}), None)


def test_what_is_no_toml_is_told_as_in_the_file() -> None:
    with pytest.raises(SquatlineError, match="close the braces"):
        entry_of(Fields(AS_IN_FILE, {}, text="{ mean = 1"), None)


def test_what_nobody_knows_has_a_form_of_its_own() -> None:
    fields = fields_of("usual")
    assert (fields.kind, fields.numbers) == (NOT_KNOWN, {})
    assert entry_of(fields, {"mean": 2, "sd": 1, "source": "guess"}) == "usual"
