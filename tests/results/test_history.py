"""The runs of a study so far: kept with the results, drawn, and told by what changed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from explorer.estimators.conformance import judge_margins
from explorer.results.changes import with_history
from explorer.results.history import KEPT
from explorer.results.json import from_json, json_text
from explorer.results.records import Summary
from reports.report import Report
from reports.sections import history
from tests.report_fixture import SAMPLES, make_results

FIRST = make_results().summary


def run_again(before: Summary, digest: str, **changed: object) -> Summary:
    made = replace(FIRST.reproduction, study_sha256=digest)
    return with_history(before, replace(FIRST, reproduction=made, **changed))  # type: ignore[arg-type]


def heavier() -> Summary:
    """Run the study again with another first input and with a first limit that every car meets."""
    one, *inputs = FIRST.inputs
    limit, *limits = FIRST.limits
    met = replace(limit, conformance=judge_margins(np.full(SAMPLES, 1.0), limit.probability))
    other = replace(one, words=("normal, mean 9 kg",), reaches=(limit.name,))
    return run_again(FIRST, "ff", inputs=(other, *inputs), limits=(met, *limits))


def test_a_first_run_and_one_that_repeats_it_have_no_history() -> None:
    assert with_history(None, FIRST).history == ()
    assert with_history(FIRST, FIRST) == FIRST
    assert history.build(Report(make_results())) is None
    again = heavier()
    assert with_history(again, replace(again, history=())).history == again.history


def test_what_changed_is_kept_with_every_verdict() -> None:
    first, second = heavier().history
    assert first.changed == ()
    assert any("normal, mean 9 kg, in place of" in words for words in second.changed)
    name = FIRST.limits[0].name
    assert (first.verdicts[name].verdict, second.verdicts[name].verdict) == ("fail", "pass")
    assert set(second.verdicts) == {limit.name for limit in FIRST.limits}


def test_a_limit_that_comes_or_goes_is_told() -> None:
    *limits, gone = FIRST.limits
    shorter = run_again(FIRST, "aa", limits=tuple(limits))
    assert f"“{gone.name}” is gone" in shorter.history[-1].changed
    assert f"“{gone.name}” is new" in run_again(shorter, "bb").history[-1].changed


def test_only_the_latest_runs_are_kept() -> None:
    found = FIRST
    for turn in range(KEPT + 3):
        found = run_again(found, f"{turn:02x}")
    assert [one.study_sha256 for one in found.history] == [f"{turn:02x}" for turn in range(3, KEPT + 3)]


def test_the_report_draws_every_verdict_and_says_what_turned() -> None:
    found = heavier()
    report = Report(replace(make_results(), summary=found))
    section = history.build(report)
    assert section is not None
    figure, lines = section.blocks
    name = FIRST.limits[0].name
    assert f"“{name}” from fail to pass" in "".join(map(str, figure.caption))  # type: ignore[union-attr]
    assert len(figure.numbers.rows) == 2 * len(FIRST.limits)  # type: ignore[union-attr]
    rows = [row for rows in figure.charts[0]["datasets"].values() for row in rows]  # type: ignore[union-attr]
    assert {row["verdict"] for row in rows} == {"pass", "fail", "undecided"}
    assert all(row["words"][0] in "✓✗?" for row in rows)
    assert "in place of" in str(lines)


def test_history_comes_back_from_the_file() -> None:
    found = heavier()
    assert from_json(Summary, json_text(found)).history == found.history
