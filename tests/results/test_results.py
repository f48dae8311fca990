"""Results: whole on disk or not there at all, the same when read back, and data frames from Python."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import MISSING, fields, replace
from pathlib import Path

import jsonschema
import pytest
from study_help import CHASE, DEMO, Answer

import explorer
from explorer.engine.execution import Execution
from explorer.errors import ResultsError
from explorer.results.comparison import Comparison
from explorer.results.exploration import Exploration
from explorer.results.json import json_text
from explorer.results.logged_runs import LoggedRunRecord
from explorer.results.records import InputRecord, LimitRecord, OutputRecord, Summary
from explorer.results.stored import SUMMARY_FILE, load_results, load_summary, summary_schema, summary_text
from tests.report_analyses import with_analyses

Writer = Callable[..., Path]


@pytest.fixture
def results(small_study: Writer) -> explorer.Results:
    return explorer.run(explorer.load_study(small_study()))


def test_read_back_they_are_the_same(results: explorer.Results, tmp_path: Path) -> None:
    results.save(tmp_path / "out")
    again = load_results(tmp_path / "out")
    assert again.summary == results.summary
    assert results.samples is not None
    assert again.samples is not None
    assert again.samples.equals(results.samples)


def test_the_summary_fits_its_published_schema(
    results: explorer.Results, tmp_path: Path, squatline: Callable[..., Answer]
) -> None:
    schema = json.loads(squatline("schema").out)
    assert schema == summary_schema()
    results.save(tmp_path / "out")
    written = json.loads((tmp_path / "out" / SUMMARY_FILE).read_text(encoding="utf-8"))
    jsonschema.validate(written, schema)
    # Another name or another type of a field is told.
    for broken in ({"inputs": None}, {"limits": [written["limits"][0] | {"probability": "half"}]}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(written | broken, schema)
    del written["limits"][0]["conformance"]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(written, schema)


def test_the_schema_is_that_of_the_records() -> None:
    schema = summary_schema()
    for record in (Summary, LimitRecord, OutputRecord, InputRecord, Comparison, Exploration, LoggedRunRecord):
        part = schema if record is Summary else schema["$defs"][record.__name__]
        assert set(part["properties"]) == {field.name for field in fields(record)}
        needed = {one.name for one in fields(record) if one.default is one.default_factory is MISSING}
        assert set(part["required"]) == needed


def test_frames_in_five_lines(results: explorer.Results) -> None:
    limits = results.limits
    assert limits.loc["front load", "verdict"] in ("pass", "fail", "undecided")
    assert (
        limits.loc["front load", "low"]
        < limits.loc["front load", "probability"]
        < limits.loc["front load", "high"]
    )
    share = results.sensitivity.loc[("front load", "cg_station")]
    assert share["total_low"] < share["total"] < share["total_high"]
    assert results.outputs.loc[("front_static_load", "rest"), "q0.5"] == pytest.approx(23.15, rel=0.01)
    assert "<table" in results._repr_html_()


def test_the_indices_are_those_of_a_nearly_linear_product(results: explorer.Results) -> None:
    """Load = mass x (1 - station / wheelbase): the shares are those of the relative uncertainties squared."""
    mass, station = (0.1 / 5) ** 2, (5 / 170) ** 2
    share = results.sensitivity.loc[("front load", "mass"), "total"]
    assert share == pytest.approx(mass / (mass + station), abs=0.01)


def test_samples_of_another_run_are_told(results: explorer.Results, tmp_path: Path) -> None:
    results.save(tmp_path / "out")
    other = replace(
        results,
        summary=replace(
            results.summary, reproduction=replace(results.summary.reproduction, fingerprint="another")
        ),
    )
    other.save(tmp_path / "other")
    (tmp_path / "other" / "samples.parquet").replace(tmp_path / "out" / "samples.parquet")
    with pytest.raises(ResultsError, match="another run"):
        load_results(tmp_path / "out")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not a results folder"),
        ("[]", "not a results folder"),
        ('{"schema_version": "1"}', "another version"),
    ],
)
def test_what_is_no_summary_is_refused(text: str, words: str, tmp_path: Path) -> None:
    (tmp_path / "summary.json").write_text(text)
    with pytest.raises(ResultsError, match=words):
        load_results(tmp_path)


def test_numbers_that_are_not_finite_survive(results: explorer.Results, tmp_path: Path) -> None:
    output = replace(results.summary.outputs[0], mean=float("inf"))
    changed = explorer.Results(replace(results.summary, outputs=(output,)), None)
    changed.save(tmp_path / "out")
    assert load_results(tmp_path / "out").summary.outputs[0].mean == float("inf")


@pytest.mark.long
def test_every_finding_fits_the_schema_and_reads_back_the_same(tmp_path: Path) -> None:
    summary = with_analyses().summary
    named = {field.name for field in fields(summary) if getattr(summary, field.name) not in (None, ())}
    assert {"measuring", "candidates", "design", "highest_speed", "validation"} <= named
    text = json_text(summary)
    jsonschema.validate(json.loads(text), summary_schema())
    (tmp_path / SUMMARY_FILE).write_text(summary_text(summary), encoding="utf-8")
    assert json_text(load_summary(tmp_path)) == text
    # What is not finite is not lost: the budget of money, and a chance that nobody could tell.
    again = load_summary(tmp_path)
    assert again.measuring is not None
    assert again.measuring.budget_cost == math.inf
    assert again.design is not None
    assert math.isnan(again.design.answers[0].probabilities[1])


@pytest.mark.long
@pytest.mark.parametrize("study", [DEMO, CHASE], ids=lambda path: path.name)
def test_the_summary_of_a_demo_fits_the_schema_and_reads_back_the_same(study: Path, tmp_path: Path) -> None:
    loaded = explorer.load_study(study)
    small = replace(loaded, sweeps=(), sensitivity_samples=32, sensitivity_replicates=8)
    if study == CHASE:
        # Straights and motions in time take long: one limit of the many, what it is measured by left out.
        entries = loaded.entries.model_copy(update={"measurements": {}, "limits": loaded.entries.limits[:1]})
        small = replace(small, entries=entries, limits=loaded.limits[:1], outputs=())
    summary = explorer.run(small, samples=2000, execution=Execution(workers=1)).summary
    assert summary.unfinished == ()
    text = json_text(summary)
    jsonschema.validate(json.loads(text), summary_schema())
    (tmp_path / SUMMARY_FILE).write_text(summary_text(summary), encoding="utf-8")
    assert json_text(load_summary(tmp_path)) == text
