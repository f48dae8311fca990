"""Evaluations kept from one run to the next: to the last bit those of a fresh run, or computed anew."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from study_help import Answer, summary_without_time

from explorer.analyses.sensitivity import run_sensitivity
from explorer.engine import kept_values
from explorer.engine import plan as plan_module
from explorer.engine.fingerprint import ASKED, CHOOSING, fingerprint
from explorer.engine.kept_values import KeptValues
from explorer.engine.montecarlo import run_montecarlo
from explorer.engine.plan import Plan, make_plan
from explorer.graph.arrays import Array
from explorer.study.study import Study, load_study

Writer = Callable[..., Path]
CHANGES = {
    "bound": {'at_least = "23 N"': 'at_least = "22.6 N"'},
    "probability": {"probability = 0.5": "probability = 0.9"},
    "words": {'name = "front load"': 'name = "enough on the front"\nwhy = "it must steer"'},
}


def changed(folder: Path, change: Mapping[str, str]) -> None:
    """Rewrite a part of a study."""
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8")
    for old, new in change.items():
        assert old in text
        text = text.replace(old, new)
    file.write_text(text, encoding="utf-8")


def keeping(folder: Path, place: Path) -> Study:
    """Load a study that keeps its values, as the command does."""
    study = load_study(folder)
    return replace(study, kept=KeptValues(place, fingerprint(study, (*CHOOSING, *ASKED))))


@pytest.fixture
def evaluations(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Count the cars of each evaluation that is computed."""
    computed: list[int] = []
    evaluated, varied = Plan._evaluated, plan_module.run_variants

    def counted(plan: Plan, drawn: Mapping[str, Array], size: int, settled: Any) -> Any:
        computed.append(size)
        return evaluated(plan, drawn, size, settled)

    def counted_variants(program: Any, supplied: Any, variants: Sequence[Any], size: int) -> Any:
        computed.append(size * (1 + len(variants)))
        return varied(program, supplied, variants, size)

    monkeypatch.setattr(Plan, "_evaluated", counted)
    monkeypatch.setattr(plan_module, "run_variants", counted_variants)
    return computed


@pytest.mark.parametrize("change", CHANGES)
def test_a_changed_limit_computes_no_car_anew(
    change: str, small_study: Writer, tmp_path: Path, evaluations: list[int]
) -> None:
    folder, place = small_study(), tmp_path / "values"
    run_montecarlo(keeping(folder, place))
    run_sensitivity(keeping(folder, place))
    assert sum(evaluations) > 4000
    changed(folder, CHANGES[change])
    study = keeping(folder, place)
    evaluations.clear()
    again, ranked = run_montecarlo(study), run_sensitivity(study)
    assert evaluations == []
    fresh = run_montecarlo(load_study(folder))
    assert again.conforming == fresh.conforming
    assert [tally.row.tolist() for tally in again.margins] == [tally.row.tolist() for tally in fresh.margins]
    assert all((again.kept[name] == fresh.kept[name]).all() for name in fresh.kept)
    assert ranked == run_sensitivity(load_study(folder))


def test_a_second_run_has_the_summary_of_a_fresh_one(
    squatline: Callable[..., Answer], small_study: Writer, tmp_path: Path
) -> None:
    folder = small_study()
    options = ("--no-report", "--engine", "threads", "--samples", "1000", "--output")
    squatline("run", folder, *options, tmp_path / "again")
    changed(folder, CHANGES["bound"] | CHANGES["probability"])
    for results in ("again", "fresh"):
        squatline("run", folder, *options, tmp_path / results)
    assert summary_without_time(tmp_path / "again") == summary_without_time(tmp_path / "fresh")
    kept = list((tmp_path / "again" / ".squatline" / "values").iterdir())
    assert kept


def test_failures_are_attributed_alike(small_study: Writer, tmp_path: Path, evaluations: list[int]) -> None:
    folder = small_study()
    changed(folder, {"mean = 5.0, sd = 0.1": "mean = 5.0, sd = 1.6"})
    first = run_montecarlo(keeping(folder, tmp_path / "values"))
    evaluations.clear()
    again = run_montecarlo(keeping(folder, tmp_path / "values"))
    assert evaluations == []
    assert again.first_failed == first.first_failed == run_montecarlo(load_study(folder)).first_failed
    assert first.first_failed


def flipped(file: Path, _: Path) -> None:
    data = bytearray(file.read_bytes())
    data[-3] ^= 1
    file.write_bytes(data)


def cut(file: Path, _: Path) -> None:
    file.write_bytes(file.read_bytes()[:-8])


def grown(file: Path, _: Path) -> None:
    file.write_bytes(file.read_bytes() + bytes(8))


def exchanged(file: Path, other: Path) -> None:
    file.write_bytes(other.read_bytes())


def linked(file: Path, other: Path) -> None:
    file.unlink()
    file.symlink_to(other)


def piped(file: Path, _: Path) -> None:
    file.unlink()
    os.mkfifo(file)


def shut(file: Path, _: Path) -> None:
    file.unlink()
    file.mkdir()


@pytest.mark.parametrize("harm", [flipped, cut, grown, exchanged, linked, piped, shut])
def test_what_was_tampered_with_is_computed_anew(
    harm: Callable[[Path, Path], None], small_study: Writer, tmp_path: Path, evaluations: list[int]
) -> None:
    study = keeping(small_study(), tmp_path / "values")
    plan = make_plan(study, [("front_static_load", "rest")])
    drawn = [plan.random_chunk(chunk, 500) for chunk in range(2)]
    before = [plan.evaluate(one)["front_static_load", "rest"] for one in drawn]
    assert study.kept is not None
    first, second = (study.kept.folder / study.kept.name(plan.content, one) for one in drawn)
    harm(first, second)
    evaluations.clear()
    after = [plan.evaluate(one)["front_static_load", "rest"] for one in drawn]
    assert evaluations == [500]
    assert [one.tolist() for one in after] == [one.tolist() for one in before]


def test_a_folder_of_another_machine_is_not_believed(
    small_study: Writer, tmp_path: Path, evaluations: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    study = keeping(small_study(), tmp_path / "values")
    run_montecarlo(study)
    evaluations.clear()
    monkeypatch.setattr(kept_values, "_key", lambda: b"another")
    run_montecarlo(study)
    assert evaluations == [4000]


def test_changed_cars_share_nothing(small_study: Writer, tmp_path: Path, evaluations: list[int]) -> None:
    folder, place = small_study(), tmp_path / "values"
    run_montecarlo(keeping(folder, place))
    for change in ({"sd = 0.1": "sd = 0.2"}, {"360 mm": "361 mm"}, {"[study]\n": "[study]\nseed = 7\n"}):
        changed(folder, change)
        evaluations.clear()
        run_montecarlo(keeping(folder, place))
        assert evaluations == [4000], change


def test_there_is_an_end_to_what_is_kept(
    small_study: Writer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kept_values, "MOST_BYTES", 20_000)
    monkeypatch.setattr(kept_values, "LOOK_AFTER", 1)
    study = keeping(small_study(), tmp_path / "values")
    plan = make_plan(study, [("front_static_load", "rest")])
    for chunk in range(12):
        plan.evaluate(plan.random_chunk(chunk, 500))
    files = list((tmp_path / "values").iterdir())
    assert 20_000 <= sum(file.stat().st_size for file in files) < 25_000
    (tmp_path / "values" / ".half.1.part").write_bytes(b"half")
    assert study.kept is not None
    study.kept.tidy()
    left = list((tmp_path / "values").iterdir())
    assert 0 < sum(file.stat().st_size for file in left) <= 10_000
    assert not [file for file in left if file.suffix == ".part"]


def test_no_room_and_no_place_lose_nothing_but_time(small_study: Writer, tmp_path: Path) -> None:
    folder, place = small_study(), tmp_path / "values"
    fresh = run_montecarlo(load_study(folder))
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    place.symlink_to(elsewhere)
    assert run_montecarlo(keeping(folder, place)).conforming == fresh.conforming
    assert list(elsewhere.iterdir()) == []
    place.unlink()
    place.write_text("a file")
    assert run_montecarlo(keeping(folder, place)).conforming == fresh.conforming
