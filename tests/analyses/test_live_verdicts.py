"""Verdicts that firm up: the numbers of a run, at every step, and nothing computed for who has left."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from study_help import DEMO, SMALL

from explorer.analyses.live_verdicts import live_verdicts
from explorer.analyses.verdicts import judge_outcome
from explorer.engine.montecarlo import Job, run_montecarlo
from explorer.engine.plan import CHUNK
from explorer.study.study import Study, load_study


@pytest.fixture
def small(tmp_path: Path) -> Study:
    (tmp_path / "study.toml").write_text(SMALL.format(inputs="", conditions="", limits=""))
    return load_study(tmp_path)


def test_every_standing_is_that_of_a_run_of_as_many_cars(small: Study) -> None:
    seen = list(live_verdicts(small, first=500, most=2 * CHUNK + 1000))
    assert [one.cars for one in seen] == [500, 2000, 8000, CHUNK, 2 * CHUNK, 2 * CHUNK + 1000]
    assert [one.over for one in seen] == [False] * 5 + [True]
    for one in seen:
        outcome = run_montecarlo(small, samples=one.cars, keep=False)
        assert one.verdicts == judge_outcome(small.limits, outcome)


def test_the_demo_stands_as_its_run_does() -> None:
    study = load_study(DEMO)
    standing = next(live_verdicts(study))
    outcome = run_montecarlo(study, samples=standing.cars, keep=False)
    assert standing.verdicts == judge_outcome(study.limits, outcome)


def test_a_scrambled_design_begins_and_ends_as_its_runs_do(small: Study) -> None:
    scrambled = replace(small, design="sobol")
    first, *_, last = live_verdicts(scrambled, first=2000, most=20_000)
    for one, asked in ((first, 2000), (last, 20_000)):
        outcome = run_montecarlo(scrambled, samples=asked, keep=False)
        assert one.cars == outcome.samples
        assert one.verdicts == judge_outcome(scrambled.limits, outcome)
    assert not first.over
    assert last.over


def test_few_cars_are_one_standing(small: Study) -> None:
    assert [one.cars for one in live_verdicts(small, first=2000, most=1000)] == [1000]


def test_who_leaves_has_no_further_chunk_computed(small: Study, monkeypatch: pytest.MonkeyPatch) -> None:
    computed = []
    values = Job.values

    def counted(job: Job, index: int, *share: object) -> object:
        computed.append(index)
        return values(job, index, *share)

    monkeypatch.setattr(Job, "values", counted)
    standings = live_verdicts(small, first=500, most=20 * CHUNK)
    next(standings)
    standings.close()
    assert computed == [0]
