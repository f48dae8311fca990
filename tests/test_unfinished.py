"""Nothing takes the samples of a run along: a failed analysis costs its own results, and is told."""

from __future__ import annotations

import json
from collections.abc import Callable
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from design_help import write_known
from study_help import Answer, summary_without_time

from explorer.errors import SampleError
from explorer.estimators.rare import rare_failure
from explorer.graph.written import SPACE, chance
from explorer.pipeline import run
from explorer.results.stored import load_results, load_summary
from explorer.study.study import load_study

Cli = Callable[..., Answer]
Writer = Callable[..., Path]
# What each analysis is called, the function that does it, and what of the summary it alone gives.
ANALYSES = {
    "what drives the limits": ("run_sensitivity", "sensitivity"),
    "what measuring is worth": ("weigh_measurements", "measuring"),
    "rare failures": ("search_rare_failures", "rare"),
    "sweeps": ("run_sweeps", "sweeps"),
    "were they enough": ("convergence_of", "convergence"),
}
RICH: dict[str, Any] = {
    "limits": """
[[limits]]
name = "not too heavy"
quantity = "weight"
condition = "rest"
at_most = "53.2 N"
safety = true

[[sweeps]]
from = "1 m/s"
to = "40 m/s"
steps = 3
quantities = ["kinetic_energy"]
conditions = ["rest"]

[measurements.scales]
label = "the mass"
hours = 0.5
reads = { mass = { noise = "10 g" } }
""",
    "samples__=__4000": "samples = 40000",
}


def parts_of(folder: Path) -> dict[str, object]:
    """Return what each analysis gave, by its key in ``ANALYSES``, and all the rest."""
    data = summary_without_time(folder)
    found = {
        "sensitivity": [limit.pop("sensitivity") for limit in data["limits"]],
        "sweeps": data.pop("sweeps"),
        **{key: data.pop(key) for key in ("measuring", "rare", "convergence")},
    }
    data.pop("unfinished")
    return {**found, "rest": data}


def raising(error: BaseException) -> Callable[..., None]:
    def broken(*_: object, **__: object) -> None:
        raise error

    return broken


@pytest.fixture
def study(small_study: Writer) -> Path:
    return small_study(**RICH)


@pytest.mark.long
@pytest.mark.parametrize("name", list(ANALYSES))
def test_what_fails_is_told_and_all_else_is_written(
    study: Path, squatline: Cli, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    assert squatline("run", study, "--no-report", "-o", study / "whole").status == 0
    function, key = ANALYSES[name]
    monkeypatch.setattr(f"explorer.pipeline.{function}", raising(np.linalg.LinAlgError("no convergence")))
    answer = squatline("run", study, "--no-report")
    assert answer.status == 2
    assert f"“{name}” came to no result" in answer.out
    assert answer.err.startswith(
        f"squatline: not all could be computed, what could is written; no result of “{name}”"
    )
    assert "Traceback" not in answer.out + answer.err
    whole, found = parts_of(study / "whole"), parts_of(study / "results")
    assert whole.pop(key) not in (None, [], {})
    assert found.pop(key) in (None, [], {}, [None] * 2)
    assert found == whole
    (failure,) = load_summary(study / "results").unfinished
    assert failure.stage == name
    assert failure.why == "a fault of the program itself, LinAlgError: no convergence"
    columns = [pd.read_parquet(study / folder / "samples.parquet") for folder in ("whole", "results")]
    pd.testing.assert_frame_equal(*columns)


@pytest.mark.long
def test_where_a_fault_stands_is_shown_when_asked_for(
    study: Path, squatline: Cli, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("explorer.pipeline.run_sweeps", raising(ZeroDivisionError("by zero")))
    monkeypatch.setenv("SQUATLINE_TRACE", "1")
    answer = squatline("run", study, "--json", "--no-report")
    assert answer.status == 2
    assert "Traceback" in answer.err
    assert "ZeroDivisionError: by zero" in answer.err
    assert json.loads(answer.out)["unfinished"] == [
        "“sweeps” came to no result, all else stands: a fault of the program itself, "
        "ZeroDivisionError: by zero"
    ]


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (
            SampleError("too few samples", found=3, remedy="draw more"),
            "too few samples; found: 3; remedy: draw more",
        ),
        (BrokenProcessPool("terminated abruptly"), "a worker process ended before its work was done"),
        (MemoryError(), "a fault of the program itself, MemoryError"),
    ],
)
def test_the_reason_is_one_line_for_a_user(
    study: Path, monkeypatch: pytest.MonkeyPatch, error: Exception, words: str
) -> None:
    monkeypatch.setattr("explorer.pipeline.run_sensitivity", raising(error))
    results = run(load_study(study))
    (failure,) = results.summary.unfinished
    assert failure.why.startswith(words)
    assert "\n" not in failure.why
    assert results.errors == (error,)
    assert results.sensitivity.empty


@pytest.mark.long
def test_an_interruption_is_no_failure_of_a_stage(
    study: Path, squatline: Cli, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("explorer.pipeline.run_sweeps", raising(KeyboardInterrupt()))
    answer = squatline("run", study, "--no-report")
    assert answer.status == 130
    # What was computed is kept for the next call; nothing that looks like results is there.
    assert [one.name for one in (study / "results").iterdir()] == [".squatline"]


@pytest.mark.long
def test_the_first_page_says_what_is_missing(
    study: Path, squatline: Cli, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("explorer.pipeline.run_sensitivity", raising(ZeroDivisionError("by zero")))
    monkeypatch.setattr("explorer.pipeline.weigh_measurements", raising(ZeroDivisionError("by zero")))
    squatline("run", study, "--no-report")
    assert squatline("report", study / "results", "--html").status == 0
    page = (study / "results" / "report.html").read_text()
    first = page[page.index('id="decision"') : page.index('id="verdicts"')]
    assert "Not finished" in first
    assert "“What drives the limits” came to no result" in first or "“what drives the limits” came" in first
    assert "not ranked" in page[page.index('id="hazards"') :]


@pytest.mark.long
def test_a_report_that_fails_leaves_the_results(
    study: Path, squatline: Cli, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("reports.render", raising(ZeroDivisionError("by zero")))
    answer = squatline("run", study)
    assert answer.status == 2
    assert "no result of “report”" in answer.err
    assert load_results(study / "results").summary.unfinished == ()


DESIGN = """
[design.across]
low = 0
high = 1

[[objectives]]
quantity = "gain"
condition = "run"
goal = "highest"

[[maps]]
over = ["across"]
points = 3

[[questions]]
vary = "across"
limit = "across"

[candidates.plain]
[candidates.other]
across = 0.2

[search]
points = 8
samples = 500
starts = 1
verify = 1000
"""


@pytest.mark.long
@pytest.mark.parametrize("part", ["run_map", "run_question", "run_search"])
def test_a_part_of_an_exploration_that_fails_takes_no_other_along(
    tmp_path: Path, squatline: Cli, monkeypatch: pytest.MonkeyPatch, part: str
) -> None:
    folder = write_known(tmp_path, DESIGN, samples=2000)
    monkeypatch.setattr(f"explorer.design.exploration.{part}", raising(ZeroDivisionError("by zero")))
    answer = squatline("explore", folder, "--allow-code", "--no-report")
    assert answer.status == 2, answer.err
    found = json.loads((folder / "results" / "design.json").read_text())
    there = {"run_map": found["maps"], "run_question": found["answers"], "run_search": found["search"]}
    assert not there.pop(part)
    assert all(there.values())
    assert "came to no result, all else stands" in found["notes"][0]
    assert "came to no result" in " ".join(answer.out.split())


def test_an_exploration_of_which_nothing_is_left_ends_with_its_error(
    tmp_path: Path, squatline: Cli, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = write_known(tmp_path, DESIGN, samples=2000)
    monkeypatch.setattr("explorer.design.exploration.run_map", raising(SampleError("too few")))
    answer = squatline("explore", folder, "--allow-code", "--no-report", "--only", "maps")
    assert answer.status == 2
    assert answer.err == "squatline: too few\n"


def test_a_comparison_stands_without_what_to_learn_first(
    tmp_path: Path, squatline: Cli, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = write_known(tmp_path, DESIGN, samples=2000)
    monkeypatch.setattr("explorer.design.comparison.ways_to_measure", raising(ZeroDivisionError("by zero")))
    answer = squatline("compare", folder, "--allow-code", "--no-report")
    assert answer.status == 2, answer.err
    found = json.loads((folder / "results" / "candidates.json").read_text())
    assert found["decision"]["best"]
    assert found["decision"]["measurements"] == []
    assert "“what to learn before choosing” came to no result" in found["notes"][0]


@pytest.mark.long
def test_a_share_a_little_below_zero_is_written(small_study: Writer, squatline: Cli) -> None:
    """Correlated inputs, one of which matters nothing: its share, known alone, is noise about zero."""
    inputs = 'rolling_resistance = { mean = 0.02, sd = 0.001, source = "test" }\n'
    correlation = (
        '[[correlations]]\nbetween = ["mass", "rolling_resistance"]\nvalue = 0.01\nsource = "test"\n'
    )
    shares = []
    for seed in (1, 2, 3, 4):
        study = small_study(
            inputs, limits=correlation, **{"samples__=__4000": f"samples = 4000\nseed = {seed}"}
        )
        answer = squatline("run", study, "--no-report", "--details")
        assert answer.status == 0, answer.err
        assert "correlated; each known alone" in " ".join(answer.out.split()).lower()
        limit = load_summary(study / "results").limits[0]
        assert limit.sensitivity is not None
        shares += [
            dict(one.known_alone)["rolling_resistance"].value
            for one in limit.sensitivity.indices
            if one.known_alone
        ]
    assert min(shares) < 0


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (-3e-4, "0 %"),
        (-0.0, "0 %"),
        (1.0002, "100 %"),
        (0.5, "50 %"),
        (2e-5, "less than 0.1 %"),
        (float("nan"), "no answer"),
    ],
)
def test_shares_in_per_cent(share: float, words: str) -> None:
    assert chance(share).replace(SPACE, " ") == words


def test_a_single_failing_sample_gives_an_estimate() -> None:
    """A margin without a slope, as of a speed at its cap, and one failure among eight thousand samples."""
    found = rare_failure(lambda u: np.where(u[:, 0] > 3.7, -1.0, 1.0), 3, seed=9, samples=1000)
    assert found.subset == 1 / 8_000
    # Far tail of the normal distribution beyond 3.7.
    assert found.low < 1.078e-4 < found.high
