"""Finished parts: kept whole, thrown away when anything they hang on changes, and not computed again."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from design_help import write_known
from patience import PATIENCE, wait_until
from study_help import ROOT, Answer

from explorer.design.exploration import run_exploration
from explorer.design.resuming import Way
from explorer.engine.checkpoint import PartStore, fingerprint, inputs_digest, open_store
from explorer.engine.plan import in_order
from explorer.engine.processes import process_pool
from explorer.errors import ResultsError
from explorer.study.study import load_study

MAP = """
[design.across]
low = 0
high = 3
[[maps]]
over = ["across"]
points = 24
samples = 400
"""


def test_a_part_is_computed_once_and_read_back_as_it_was(tmp_path: Path) -> None:
    file = tmp_path / "parts.sqlite"
    values = np.array([[1.5, np.nan], [-np.inf, 2.0]])
    with PartStore(file, "me") as store:
        np.testing.assert_array_equal(store.part("a", lambda: values), values)
    with PartStore(file, "me") as store:
        np.testing.assert_array_equal(store.part("a", lambda: values * 0), values)
        assert (store.computed, store.found) == (0, 1)
        assert store.part("b", lambda: values).shape == (2, 2)
    with PartStore(file, "another") as store:
        assert store.part("a", lambda: np.zeros(1)).shape == (1,)
        assert (store.computed, store.found) == (1, 0)


def test_without_a_file_parts_are_computed_each_time() -> None:
    store = PartStore()
    store.part("a", lambda: np.ones(2))
    store.part("a", lambda: np.ones(2))
    assert (store.computed, store.found) == (2, 0)


def test_many_threads_write_at_once(tmp_path: Path) -> None:
    with PartStore(tmp_path / "parts.sqlite", "me") as store:
        parts = in_order(lambda i: store.part(str(i), lambda: np.full(100, float(i))), 200, workers=8)
        assert [part[0] for part in parts] == list(range(200))
        assert store.computed == 200
    assert threading.active_count() < 50


def test_a_part_that_failed_is_not_kept(tmp_path: Path) -> None:
    def broken() -> np.ndarray:
        raise ZeroDivisionError

    with PartStore(tmp_path / "parts.sqlite", "me") as store:
        with pytest.raises(ZeroDivisionError):
            store.part("a", broken)
        store.part("a", lambda: np.ones(1))
        assert store.computed == 1


def test_a_file_that_is_something_else_is_told(tmp_path: Path) -> None:
    file = tmp_path / "parts.sqlite"
    file.write_bytes(b"not a database at all, but long enough to look at" * 100)
    with pytest.raises(ResultsError, match="remove that file"):
        PartStore(file, "me")


def test_a_damaged_file_is_told_when_it_is_read(tmp_path: Path) -> None:
    file = tmp_path / "parts.sqlite"
    with PartStore(file, "me") as store:
        for k in range(50):
            store.part(str(k), lambda: np.ones(500))
    sqlite3.connect(file).execute("PRAGMA wal_checkpoint(TRUNCATE)")
    content = bytearray(file.read_bytes())
    content[4096:] = b"\xff" * (len(content) - 4096)
    file.write_bytes(content)
    with pytest.raises(ResultsError), PartStore(file, "me") as store:
        store.part("49", lambda: np.ones(500))


def test_the_fingerprint_hangs_on_text_seed_inputs_and_own_code(tmp_path: Path) -> None:
    folder = write_known(tmp_path, MAP)
    study = load_study(folder, allow_code=True)
    before = fingerprint(study)
    assert fingerprint(load_study(folder, allow_code=True)) == before
    assert fingerprint(replace(study, seed=study.seed + 1)) != before
    (folder / "own.py").write_text((folder / "own.py").read_text().replace("0.3 * across", "0.31 * across"))
    assert fingerprint(load_study(folder, allow_code=True)) != before
    narrow = replace(study.inputs["first"], distribution=study.inputs["second"].distribution)
    assert inputs_digest([narrow]) != inputs_digest([study.inputs["first"]])


def test_a_store_lies_beside_the_results_and_can_begin_afresh(tmp_path: Path) -> None:
    study = load_study(write_known(tmp_path / "study", MAP), allow_code=True)
    results = tmp_path / "study" / "results"
    with open_store(results, study) as store:
        store.part("a", lambda: np.ones(1))
    with open_store(results, study) as store:
        store.part("a", lambda: np.ones(1))
        assert store.found == 1
    with open_store(results, study, fresh=True) as store:
        store.part("a", lambda: np.ones(1))
        assert store.found == 0
    assert not results.exists()


SLOW = '''
import pathlib
import time

@quantity("1", source="test")
def slow_reserve(reserve_across):
    """The same, with every evaluation put on record; after the eighth it waits while it is told to."""
    here = pathlib.Path(__file__).parent
    while (here / "wait").exists() and (here / "evaluations").stat().st_size >= 8:
        time.sleep(0.01)
    with (here / "evaluations").open("a") as record:
        record.write("x")
    return reserve_across
'''
RUN = """
import sys
from pathlib import Path
from explorer.engine.checkpoint import open_store
from explorer.design.exploration import run_exploration
from explorer.engine.processes import process_pool
from explorer.design.resuming import Way
from explorer.design.resuming import Way
from explorer.study.study import load_study

folder = Path(sys.argv[1])
study = load_study(folder, allow_code=True)
with open_store(folder / "results", study) as store:
    found, _ = run_exploration(study, parts=["maps"], way=Way(workers=2, store=store))
    print(repr(found))
"""


def explore(folder: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", RUN, str(folder)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def slow_study(folder: Path) -> Path:
    rest = MAP.replace("points", 'limits = ["slow"]\npoints')
    rest += '[[limits]]\nname = "slow"\nquantity = "slow_reserve"\ncondition = "run"\nat_least = 0\n'
    write_known(folder, rest, samples=400)
    with (folder / "own.py").open("a") as own:
        own.write(SLOW)
    (folder / "evaluations").touch()
    return folder


def evaluations(folder: Path) -> int:
    return len((folder / "evaluations").read_text())


def test_a_killed_run_goes_on_where_it_was(tmp_path: Path) -> None:
    folder, whole = slow_study(tmp_path / "killed"), slow_study(tmp_path / "whole")
    (folder / "wait").touch()
    first = explore(folder)
    wait_until(lambda: evaluations(folder) >= 8, lambda: first.poll() is None)
    os.kill(first.pid, signal.SIGKILL)
    first.communicate()
    (folder / "wait").unlink()
    before = evaluations(folder)
    assert 8 <= before < 24
    out, err = explore(folder).communicate(timeout=PATIENCE)
    assert out.startswith("Exploration("), err
    study = load_study(whole, allow_code=True)
    assert out.strip() == repr(run_exploration(study, parts=["maps"])[0])
    # What two workers had in hand, two parts each, may be lost; nothing that was kept is computed again.
    assert evaluations(whole) <= evaluations(folder) <= evaluations(whole) + 4


def test_stopping_by_hand_says_how_to_go_on(
    tmp_path: Path, squatline: Callable[..., Answer], monkeypatch: pytest.MonkeyPatch
) -> None:
    from explorer.design import exploration as exploring

    def interrupted(*arguments: object, **options: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(exploring, "run_map", interrupted)
    answer = squatline("explore", write_known(tmp_path, MAP), "--allow-code", "--no-report")
    assert answer.status == 130
    assert "the same command goes on from there" in answer.err


def test_missing_parts_alone_are_handed_out_and_all_come_in_order(tmp_path: Path) -> None:
    names = [str(k) for k in range(12)]
    with PartStore(tmp_path / "parts.sqlite", "me") as store:
        for k in (2, 3, 7):
            store.put(str(k), np.full(3, float(k)))
        seen: list[tuple[str, int, int]] = []
        way = Way(workers=3, progress=lambda *told: seen.append(told), store=store)
        parts = list(way.parts(names, lambda k: np.full(3, float(k)), "stage"))
        assert [part[0] for part in parts] == list(range(12))
        assert (store.computed, store.found) == (9, 3)
        assert seen[-1] == ("stage", 12, 12)
        assert list(way.parts([], lambda k: np.zeros(1), "none")) == []


def test_other_processes_find_the_same_map(tmp_path: Path) -> None:
    study = load_study(write_known(tmp_path, MAP), allow_code=True)
    here, _ = run_exploration(study, parts=["maps"])
    with process_pool(2) as pool, PartStore(tmp_path / "parts.sqlite", "me") as store:
        there, _ = run_exploration(study, parts=["maps"], way=Way(2, pool, store=store))
        assert store.computed >= 24
    assert here == there
