"""The catalogue of home methods: complete, judged and marked so, and no text in it twice."""

from __future__ import annotations

import importlib
import pkgutil
import re
from pathlib import Path

import pytest

import explorer.model
from explorer.analyses.measurements import measurement_from
from explorer.analyses.ways_to_measure import ways_to_measure
from explorer.graph.quantity import quantities_of
from explorer.study.catalogue import catalogue
from explorer.study.study import load_study

ROOT = Path(__file__).parents[2]
KNOWN = {
    quantity.name: quantity
    for found in pkgutil.walk_packages(explorer.model.__path__, "explorer.model.")
    for quantity in quantities_of(importlib.import_module(found.name))
}


@pytest.mark.parametrize("name", catalogue())
def test_an_entry_reads_quantities_of_the_models_and_says_how_well(name: str) -> None:
    entry = catalogue()[name]
    units = {read: KNOWN[read].unit for read in entry["reads"]}
    found = measurement_from(name, {"take": name}, units.__getitem__)
    assert found.reads.keys() == entry["reads"].keys()
    assert all(accuracy.noise > 0 or accuracy.relative > 0 for accuracy in found.reads.values())
    assert entry["how"].endswith(".")
    # Its figures are judgement, as its head says: none of it may claim a source.
    assert "source" not in entry


def test_no_text_of_a_method_stands_twice() -> None:
    texts = [entry[key] for entry in catalogue().values() for key in ("how", "label")]
    assert len(set(texts)) == len(texts)
    spoken = [part.strip() for entry in catalogue().values() for part in re.split(r"[;.]", entry["how"])]
    long = [part for part in spoken if len(part) > 25]
    assert len(set(long)) == len(long)
    for file in (ROOT / "explorer" / "model").rglob("*.py"):
        text = " ".join(file.read_text(encoding="utf-8").split())
        assert not [part for part in long if part in text], file.name


@pytest.mark.parametrize("study", ["airfield-sprint", "three-flap-chase"])
def test_every_uncertain_input_of_the_demos_can_be_measured(study: str) -> None:
    loaded = load_study(ROOT / "studies" / study)
    loaded.entries.measurements.clear()
    ways = ways_to_measure(loaded)
    assert ways.unread == ()
    read = {key for one in ways.measurements for key in one.reads}
    assert read <= {one.key for one in loaded.all_inputs() if not one.exact}


@pytest.mark.parametrize("quantity", [q for q in KNOWN.values() if q.usual is not None], ids=lambda q: q.name)
def test_what_may_be_assumed_can_be_measured(quantity: object) -> None:
    """Who does not know a coefficient is told how it is found."""
    usual = quantity.usual  # type: ignore[attr-defined]
    assert usual.typical is None or any(
        quantity.name in entry["reads"]  # type: ignore[attr-defined]
        for entry in catalogue().values()
    )
