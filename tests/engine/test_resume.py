"""A long run stopped at any moment goes on where it was, to the same bytes; its samples lie in files."""

from __future__ import annotations

import gc
import math
import tracemalloc
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from engine_help import fingerprint
from kills import results_of, run_with_kills, run_with_quick_kills, start
from study_help import DEMO

from explorer.analyses.verdicts import Looks
from explorer.engine.checkpoint import Checkpoint, remove_parts
from explorer.engine.execution import Execution
from explorer.engine.montecarlo import Outcome, SoFar, make_job, run_montecarlo
from explorer.engine.plan import CHUNK
from explorer.engine.storage import HELD_AT_ONCE, SampleFiles, SampleFolder, first_rows
from explorer.errors import ResultsError
from explorer.graph.arrays import Array
from explorer.pipeline import run
from explorer.results.stored import load_results
from explorer.study.study import Study, load_study

SAMPLES = 7 * CHUNK + 99
Writer = Callable[..., Path]


@pytest.fixture(scope="module")
def demo() -> Study:
    return load_study(DEMO)


@pytest.fixture(autouse=True)
def few_are_many(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a few chunks be a long run, noted after every chunk."""
    monkeypatch.setattr("explorer.engine.montecarlo.HELD_AT_ONCE", 100)
    monkeypatch.setattr("explorer.results.stored.HELD_AT_ONCE", 100)
    monkeypatch.setattr("explorer.engine.checkpoint.SECONDS_BETWEEN_NOTES", 0.0)


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Checkpoint]:
    with Checkpoint(tmp_path / "hidden", "this study") as opened:
        yield opened


class StopError(Exception):
    """The run is stopped here."""


def stopped_after(chunks: int) -> Callable[[str, int, int], None]:
    def stop(stage: str, done: int, total: int) -> None:
        if done >= chunks * CHUNK:
            raise StopError

    return stop


@pytest.mark.long
@pytest.mark.parametrize("workers", [1, 3])
def test_a_stopped_run_goes_on_where_it_was(demo: Study, kept: Checkpoint, workers: int) -> None:
    whole = run_montecarlo(demo, samples=SAMPLES)
    for chunks in (2, 5):
        with pytest.raises(StopError):
            run_montecarlo(
                demo,
                samples=SAMPLES,
                execution=Execution(workers=workers, progress=stopped_after(chunks), checkpoint=kept),
            )
    reports: list[int] = []
    found = run_montecarlo(
        demo,
        samples=SAMPLES,
        execution=Execution(progress=lambda stage, done, total: reports.append(done), checkpoint=kept),
    )
    assert reports[0] == 6 * CHUNK
    assert fingerprint(found) == fingerprint(whole)
    assert dict(found.first_failed) == dict(whole.first_failed)


@pytest.mark.long
def test_replicates_of_a_design_are_noted_one_by_one(demo: Study, kept: Checkpoint) -> None:
    scrambled = replace(demo, design="sobol")
    whole = run_montecarlo(scrambled, samples=SAMPLES)
    with pytest.raises(StopError):
        run_montecarlo(
            scrambled, samples=SAMPLES, execution=Execution(progress=stopped_after(3), checkpoint=kept)
        )
    found = run_montecarlo(scrambled, samples=SAMPLES, execution=Execution(checkpoint=kept))
    assert fingerprint(found) == fingerprint(whole)
    assert len(whole.shares) == demo.replicates
    np.testing.assert_array_equal(found.shares, whole.shares)


@dataclass
class Spread:
    """A rule of its own: stop when the mean of the first output was the same, to a figure, four times."""

    asked: int = 0
    alike: int = 0
    before: float = math.nan
    name: str = "the mean stands still"

    @property
    def memory(self) -> Array:
        """Return all of it."""
        return np.array([self.asked, self.alike, self.before])

    def recall(self, memory: Array) -> None:
        """Take all of it."""
        self.asked, self.alike, self.before = int(memory[0]), int(memory[1]), float(memory[2])

    def enough(self, so_far: SoFar) -> bool:
        """Count how often the mean was the same."""
        self.asked += 1
        mean = round(so_far.tallies[0].mean / so_far.tallies[0].sd, 1)
        self.alike = self.alike + 1 if mean == self.before else 1
        self.before = mean
        return self.alike == 4


@pytest.mark.long
def test_any_stop_rule_goes_on_where_it_was(demo: Study, kept: Checkpoint) -> None:
    """It is asked once a chunk in all, and not again when the run was over and its results were lost."""

    def asked(rule: Spread, **options: Any) -> Outcome:
        return run_montecarlo(demo, samples=40 * CHUNK, keep=True, until=rule, **options)

    rule = Spread()
    whole = asked(rule)
    stop = whole.samples // CHUNK
    assert 4 < stop < 40
    for chunks in range(1, stop):
        with pytest.raises(StopError):
            asked(Spread(), execution=Execution(progress=stopped_after(chunks), checkpoint=kept))
    for _ in range(2):
        again = Spread()
        found = asked(again, execution=Execution(checkpoint=kept))
        assert again == rule
        assert again.asked == stop
        assert fingerprint(found)[:3] == fingerprint(whole)[:3]
        assert isinstance(found.kept, SampleFiles)
        assert found.kept.rows == whole.samples


def test_runs_under_other_rules_have_notes_of_their_own(small_study: Writer, kept: Checkpoint) -> None:
    study = load_study(small_study())
    for cap in (20 * CHUNK, 30 * CHUNK):
        stopped = Looks(study.limits, cap)
        assert (
            run_montecarlo(study, samples=cap, until=stopped, execution=Execution(checkpoint=kept)).samples
            == CHUNK
        )
    assert (
        run_montecarlo(study, samples=20 * CHUNK, execution=Execution(checkpoint=kept)).samples == 20 * CHUNK
    )


@pytest.mark.long
def test_a_run_that_is_decided_early_has_its_few_samples_in_memory(
    small_study: Writer, kept: Checkpoint, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("explorer.engine.montecarlo.HELD_AT_ONCE", HELD_AT_ONCE)
    study = load_study(small_study())
    noted = run(study, samples=1_000_000, until_decided=True, execution=Execution(checkpoint=kept))
    plain = run(study, samples=1_000_000, until_decided=True)
    assert noted.summary.outputs == plain.summary.outputs
    assert not isinstance(noted.kept, SampleFiles)
    assert noted.samples is not None
    assert plain.samples is not None
    pd.testing.assert_frame_equal(noted.samples, plain.samples)


def test_samples_that_are_gone_are_drawn_again(small_study: Writer, tmp_path: Path, kept: Checkpoint) -> None:
    study = load_study(small_study())
    with pytest.raises(StopError):
        run_montecarlo(
            study, samples=6 * CHUNK, execution=Execution(progress=stopped_after(4), checkpoint=kept)
        )
    next((tmp_path / "hidden").glob("*/00000001.parquet")).unlink()
    found = run_montecarlo(study, samples=6 * CHUNK, execution=Execution(checkpoint=kept))
    np.testing.assert_array_equal(found.kept["mass"], run_montecarlo(study, samples=6 * CHUNK).kept["mass"])


def test_what_is_noted_is_read_back_to_the_last_bit(small_study: Writer) -> None:
    tail = 'rolling_resistance = { mean = 0.0124, sd = 0.004, source = "test" }\n'
    limit = '[[limits]]\nquantity = "rolling_resistance"\ncondition = "rest"\nat_most = 1\n'
    job = make_job(load_study(small_study(inputs=tail, limits=limit)), samples=3 * CHUNK).with_pilot()
    so_far = SoFar.start(job)
    for index in range(2):
        so_far.add(job.part(index), hold=False)
    assert so_far.first_failed
    again = SoFar.unpacked(job, so_far.packed())
    assert again.chunks == 2
    for one in (so_far, again):
        one.add(job.part(2), hold=False)
    assert fingerprint(again.outcome()) == fingerprint(so_far.outcome())
    assert again.first_failed == so_far.first_failed


def test_another_study_does_not_go_on_with_the_notes_of_this_one(
    demo: Study, tmp_path: Path, kept: Checkpoint
) -> None:
    with pytest.raises(StopError):
        run_montecarlo(demo, samples=SAMPLES, execution=Execution(progress=stopped_after(3), checkpoint=kept))
    reports: list[int] = []
    with Checkpoint(tmp_path / "hidden", "another study") as other:
        run_montecarlo(
            demo,
            samples=3 * CHUNK,
            execution=Execution(progress=lambda s, done, total: reports.append(done), checkpoint=other),
        )
    assert reports[0] == CHUNK


def test_another_number_of_samples_begins_anew(demo: Study, kept: Checkpoint) -> None:
    with pytest.raises(StopError):
        run_montecarlo(demo, samples=SAMPLES, execution=Execution(progress=stopped_after(2), checkpoint=kept))
    found = run_montecarlo(demo, samples=3 * CHUNK, execution=Execution(checkpoint=kept))
    assert fingerprint(found) == fingerprint(run_montecarlo(demo, samples=3 * CHUNK))


@pytest.mark.long
def test_samples_of_a_long_run_lie_in_one_file_in_the_end(
    small_study: Writer, tmp_path: Path, kept: Checkpoint
) -> None:
    study = load_study(small_study())
    found = run(study, samples=3 * CHUNK, execution=Execution(checkpoint=kept))
    short = run(study, samples=3 * CHUNK)
    assert short.samples is not None
    assert found.samples is None
    saved = found.save(tmp_path / "results")
    kept.forget_runs()
    assert not list((tmp_path / "hidden").iterdir())
    assert isinstance(saved.kept, SampleFiles)
    assert saved.kept.rows == 3 * CHUNK
    again = load_results(tmp_path / "results")
    assert again.samples is None
    first = again.first_samples(1000)
    for name in short.samples:
        np.testing.assert_array_equal(first[name], short.samples[name][:1000])
        np.testing.assert_array_equal(saved.kept[name], short.samples[name])
    # Quantiles come from fine bins here, from the sorted samples there.
    for one, other in zip(found.summary.outputs, short.summary.outputs, strict=True):
        assert one.mean == other.mean
        for (_, value), (_, exact) in zip(one.quantiles, other.quantiles, strict=True):
            assert value == pytest.approx(exact, abs=other.sd / 100)


def test_without_a_place_for_files_all_samples_are_in_memory(small_study: Writer) -> None:
    found = run(load_study(small_study()), samples=2 * CHUNK)
    assert found.samples is not None
    assert len(found.samples) == 2 * CHUNK


def test_memory_does_not_grow_with_samples_that_are_kept(small_study: Writer, kept: Checkpoint) -> None:
    study = load_study(small_study())

    def peak(chunks: int) -> int:
        gc.collect()
        tracemalloc.start()
        run_montecarlo(study, samples=chunks * CHUNK, keep=True, execution=Execution(checkpoint=kept))
        size = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return size

    peak(1)
    assert peak(16) < 1.2 * peak(4)


def test_files_are_columns_in_order(tmp_path: Path) -> None:
    folder = SampleFolder(tmp_path / "samples", "this run")
    for chunk in range(3):
        folder.keep(chunk, {"a": np.arange(4.0) + 4 * chunk, "b": np.full(4, np.nan)})
    files = folder.files(3)
    assert list(files) == ["a", "b"]
    assert len(files) == 2
    np.testing.assert_array_equal(files["a"], np.arange(12.0))
    np.testing.assert_array_equal(first_rows(files, 6)["a"], np.arange(6.0))
    np.testing.assert_array_equal(first_rows({"a": np.arange(9.0)}, 6)["a"], np.arange(6.0))
    with pytest.raises(KeyError):
        files["c"]
    with pytest.raises(ResultsError, match="cannot be read"):
        SampleFiles((tmp_path / "nothing.parquet",)).rows  # noqa: B018  # asking is what fails


def test_files_of_another_run_are_refused(tmp_path: Path) -> None:
    mine, other = (SampleFolder(tmp_path / mark, mark) for mark in ("mine", "another"))
    for folder in (mine, other):
        folder.keep(0, {"a": np.arange(4.0)})
    (tmp_path / "another" / "00000000.parquet").replace(tmp_path / "mine" / "00000000.parquet")
    files = mine.files(1)
    readings: list[Callable[[], object]] = [
        lambda: files["a"],
        lambda: files.rows,
        lambda: files.first(2),
        lambda: files.write(tmp_path / "all.parquet", "mine"),
    ]
    for reading in readings:
        with pytest.raises(ResultsError, match="another run"):
            reading()


def test_a_short_run_leaves_no_notes(small_study: Writer, tmp_path: Path) -> None:
    with Checkpoint(tmp_path / "hidden", "me") as kept:
        run_montecarlo(load_study(small_study()), samples=100, execution=Execution(checkpoint=kept))
    assert [path.name for path in tmp_path.iterdir()] == ["study.toml"]


def test_a_fresh_start_removes_what_a_stopped_run_left(small_study: Writer, tmp_path: Path) -> None:
    study, hidden = load_study(small_study()), tmp_path / "hidden"
    with Checkpoint(hidden, "me") as kept, pytest.raises(StopError):
        run_montecarlo(
            study, samples=4 * CHUNK, execution=Execution(progress=stopped_after(2), checkpoint=kept)
        )
    assert [path.name[:8] for path in sorted(hidden.iterdir())] == ["parts.sq", "samples-"]
    remove_parts(hidden)
    assert not list(hidden.iterdir())


def test_a_run_with_other_limits_begins_anew(small_study: Writer, tmp_path: Path) -> None:
    """The cars are the same, and so are the parts of a map; what is noted of a run hangs on its limits."""
    study = load_study(small_study())
    other = replace(study, entries=load_study(small_study(**{'"23__N"': '"24 N"'})).entries)
    with Checkpoint(tmp_path / "hidden", "me") as kept:
        with pytest.raises(StopError):
            run_montecarlo(
                study, samples=6 * CHUNK, execution=Execution(progress=stopped_after(4), checkpoint=kept)
            )
        reports: list[int] = []
        run_montecarlo(
            other,
            samples=6 * CHUNK,
            execution=Execution(progress=lambda s, done, total: reports.append(done), checkpoint=kept),
        )
        assert reports[0] == CHUNK


def test_when_runs_are_over_other_parts_stay(tmp_path: Path) -> None:
    hidden = tmp_path / "hidden"
    with Checkpoint(hidden, "me") as kept:
        kept.put("map", np.arange(3.0))
        kept.put("run x", np.arange(4.0))
        kept.samples("x").keep(0, {"a": np.arange(3.0)})
        kept.forget_runs()
        np.testing.assert_array_equal(kept.get("map"), np.arange(3.0))  # type: ignore[arg-type]  # it is there
        assert kept.get("run x") is None
        assert [path.name for path in hidden.iterdir() if path.is_dir()] == []
    with Checkpoint(hidden, "another") as kept:
        assert kept.dropped == 1
        kept.forget_runs()
    assert not list(hidden.iterdir())


@pytest.mark.long
@pytest.mark.parametrize("until", [(), ("--until", "decided")], ids=["plain", "until decided"])
def test_killed_at_thirty_moments_it_ends_with_the_same_bytes(
    small_study: Writer, until: tuple[str, ...]
) -> None:
    # The limit holds in 57.17 cars of 100: so near to what is asked that it takes several looks.
    folder = small_study(**{"probability__=__0.5": "probability = 0.5698"})
    options = ("--samples", 1_500_000, *until)
    assert start(folder, folder / "whole", *options, "--engine", "threads").wait() == 0
    run_with_quick_kills(folder, folder / "killed", 30, 20261, *options)
    expected: Any = results_of(folder / "whole")
    assert results_of(folder / "killed") == expected
    assert len(expected[1]) > 3 * 8 * HELD_AT_ONCE
    assert sorted(path.name for path in folder.iterdir()) == ["killed", "study.toml", "whole"]


@pytest.mark.long
def test_killed_with_its_worker_processes_it_ends_with_the_same_bytes(small_study: Writer) -> None:
    folder = small_study(**{"samples__=__4000": "samples = 400_000"})
    assert start(folder, folder / "whole", "--engine", "threads").wait() == 0
    run_with_kills(folder, folder / "killed", 1, 20261, "--engine", "processes")
    assert results_of(folder / "killed") == results_of(folder / "whole")
