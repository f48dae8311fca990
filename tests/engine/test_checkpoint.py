"""Finished parts: kept whole, thrown away when anything they hang on changes, and not computed again."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from design_help import write_known
from patience import PATIENCE, wait_until
from study_help import ROOT, Answer

from explorer.design.exploration import explore
from explorer.engine.checkpoint import PARTS, Checkpoint
from explorer.engine.execution import Execution
from explorer.engine.fingerprint import ASKED, CHOOSING, fingerprint, inputs_digest
from explorer.engine.processes import process_pool
from explorer.errors import ResultsError
from explorer.study.study import Study, load_study

MAP = """
[design.across]
low = 0
high = 3
[[maps]]
over = ["across"]
points = 24
samples = 400
"""


class Counted(Checkpoint):
    """A checkpoint that counts the parts it is given."""

    given = 0

    def put(self, name: str, part: Any) -> Any:
        """Count it."""
        self.given += 1
        return super().put(name, part)


def test_a_part_is_computed_once_and_read_back_as_it_was(tmp_path: Path) -> None:
    values = np.array([[1.5, np.nan], [-np.inf, 2.0]])
    with Counted(tmp_path, "me") as kept:
        np.testing.assert_array_equal(kept.part("a", lambda: values), values)
        assert (kept.given, kept.found) == (1, 0)
    with Counted(tmp_path, "me") as kept:
        np.testing.assert_array_equal(kept.part("a", lambda: values * 0), values)
        assert (kept.given, kept.found) == (0, 1)
        assert kept.part("b", lambda: values).shape == (2, 2)
    with Counted(tmp_path, "another") as kept:
        assert kept.dropped == 2
        assert kept.part("a", lambda: np.zeros(1)).shape == (1,)
        assert kept.given == 1


def test_without_a_folder_parts_are_computed_each_time() -> None:
    kept = Checkpoint()
    assert [float(kept.part("a", lambda v=value: np.full(1, v))[0]) for value in (1.0, 2.0)] == [1.0, 2.0]
    assert not kept.has("a")


def test_nothing_is_made_before_there_is_something_to_keep(tmp_path: Path) -> None:
    with Checkpoint(tmp_path / "hidden", "me") as kept:
        assert kept.get("a") is None
        kept.forget_runs()
        assert not (tmp_path / "hidden").exists()
        kept.put("a", np.ones(1))
    assert (tmp_path / "hidden").exists()


def test_a_part_that_failed_is_not_kept(tmp_path: Path) -> None:
    def broken() -> np.ndarray:
        raise ZeroDivisionError

    with Counted(tmp_path, "me") as kept:
        with pytest.raises(ZeroDivisionError):
            kept.part("a", broken)
        kept.part("a", lambda: np.ones(1))
        assert kept.given == 1


def test_a_file_that_is_something_else_is_told(tmp_path: Path) -> None:
    (tmp_path / PARTS).write_bytes(b"not a database at all, but long enough to look at" * 100)
    with pytest.raises(ResultsError, match="remove that file"):
        Checkpoint(tmp_path, "me")


def test_a_damaged_file_is_told_when_it_is_read(tmp_path: Path) -> None:
    with Checkpoint(tmp_path, "me") as kept:
        for k in range(50):
            kept.part(str(k), lambda: np.ones(500))
    file = tmp_path / PARTS
    content = bytearray(file.read_bytes())
    content[4096:] = b"\xff" * (len(content) - 4096)
    file.write_bytes(content)
    with pytest.raises(ResultsError), Checkpoint(tmp_path, "me") as kept:
        kept.part("49", lambda: np.ones(500))


def test_a_disk_that_is_full_is_told_and_what_was_kept_stays(tmp_path: Path) -> None:
    with Checkpoint(tmp_path, "me") as kept:
        kept.put("a", np.ones(3))
        assert kept._parts is not None
        pages = kept._parts.execute("PRAGMA page_count").fetchone()[0]
        kept._parts.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(ResultsError, match="make room"):
            kept.put("b", np.ones(100_000))
    with Checkpoint(tmp_path, "me") as kept:
        np.testing.assert_array_equal(kept.get("a"), np.ones(3))  # type: ignore[arg-type]  # it is there
        assert not kept.has("b")


# What numbers depend on.


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('title = "', 'title = "Other words: '),
        ("samples = ", "# a comment\nsamples = 1"),
        ("[inputs]", "[inputs]   # what is known"),
        ('source = "test"', 'source = "another scale"'),
        ("[design.across]\n", '[design.across]\nwords = "across the car"\n'),
        ("[[limits]]\n", '[[limits]]\nwhy = "a reason"\n'),
    ],
    ids=["title", "samples", "comment", "source", "words", "why"],
)
def test_words_are_nothing_that_numbers_depend_on(tmp_path: Path, old: str, new: str) -> None:
    folder = write_known(tmp_path, MAP)
    before = load_study(folder, allow_code=True)
    text = (folder / "study.toml").read_text()
    assert old in text
    (folder / "study.toml").write_text(text.replace(old, new, 1))
    after = load_study(folder, allow_code=True)
    assert after.sha256 != before.sha256
    assert fingerprint(after) == fingerprint(before)
    names = [_names(study) for study in (before, after)]
    assert names[0] == names[1]


def _names(study: Study) -> set[str]:
    """Names of the parts of its maps."""
    kept = Named()
    explore(study, parts=["maps"], execution=Execution(checkpoint=kept))
    return kept.names


class Named(Checkpoint):
    """A checkpoint that remembers names."""

    def __init__(self) -> None:
        super().__init__()
        self.names: set[str] = set()

    def put(self, name: str, part: Any) -> Any:
        """Remember it."""
        self.names.add(name)
        return super().put(name, part)


def test_the_fingerprint_hangs_on_entries_seed_inputs_and_own_code(tmp_path: Path) -> None:
    folder = write_known(tmp_path, MAP)
    study = load_study(folder, allow_code=True)
    before = fingerprint(study)
    assert fingerprint(load_study(folder, allow_code=True)) == before
    assert fingerprint(replace(study, seed=study.seed + 1)) != before
    text, own = (folder / "study.toml").read_text(), (folder / "own.py").read_text()
    for old, new in (("high = 3", "high = 4"), ("at_least = 0", "at_least = 0.001")):
        assert old in text
        (folder / "study.toml").write_text(text.replace(old, new, 1))
        assert fingerprint(load_study(folder, allow_code=True)) != before
    (folder / "study.toml").write_text(text)
    (folder / "own.py").write_text(own.replace("0.3 * across", "0.31 * across"))
    assert fingerprint(load_study(folder, allow_code=True)) != before
    narrow = replace(study.inputs["first"], distribution=study.inputs["second"].distribution)
    assert inputs_digest([narrow]) != inputs_digest([study.inputs["first"]])


def test_what_is_built_makes_no_run_stale_and_what_is_asked_no_part(tmp_path: Path) -> None:
    folder = write_known(tmp_path, MAP)
    study, text = load_study(folder, allow_code=True), (folder / "study.toml").read_text()
    (folder / "study.toml").write_text(text.replace("points = 24", "points = 25"))
    other_map = load_study(folder, allow_code=True)
    assert fingerprint(other_map, CHOOSING) == fingerprint(study, CHOOSING)
    assert fingerprint(other_map) != fingerprint(study)
    (folder / "study.toml").write_text(text.replace("at_least = 0", "at_least = 0.001"))
    other_limit = load_study(folder, allow_code=True)
    assert fingerprint(other_limit, CHOOSING) != fingerprint(study, CHOOSING)
    assert fingerprint(other_limit, (*CHOOSING, *ASKED)) == fingerprint(study, (*CHOOSING, *ASKED))
    assert _names(other_limit).isdisjoint(_names(study))


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
from explorer.engine.checkpoint import Checkpoint
from explorer.design.exploration import explore
from explorer.engine.processes import process_pool
from explorer.engine.execution import Execution
from explorer.study.study import Study, load_study

folder = Path(sys.argv[1])
study = load_study(folder, allow_code=True)
with Checkpoint(folder / "hidden", "me") as kept:
    found, _ = explore(study, parts=["maps"], execution=Execution(workers=2, checkpoint=kept))
    print(repr(found))
"""


def start_exploring(folder: Path) -> subprocess.Popen[str]:
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
    first = start_exploring(folder)
    wait_until(lambda: evaluations(folder) >= 8, lambda: first.poll() is None)
    os.kill(first.pid, signal.SIGKILL)
    first.communicate()
    (folder / "wait").unlink()
    before = evaluations(folder)
    assert 8 <= before < 24
    out, err = start_exploring(folder).communicate(timeout=PATIENCE)
    assert out.startswith("Exploration("), err
    study = load_study(whole, allow_code=True)
    assert out.strip() == repr(explore(study, parts=["maps"])[0])
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
    with Counted(tmp_path, "me") as kept:
        for k in (2, 3, 7):
            kept.put(str(k), np.full(3, float(k)))
        seen: list[tuple[str, int, int]] = []
        way = Execution(workers=3, progress=lambda *told: seen.append(told), checkpoint=kept)
        parts = list(way.parts(names, lambda k: np.full(3, float(k)), "stage"))
        assert [part[0] for part in parts] == list(range(12))
        assert kept.given == 3 + 9
        assert seen[-1] == ("stage", 12, 12)
        assert list(way.parts([], lambda k: np.zeros(1), "none")) == []


def test_other_processes_find_the_same_map(tmp_path: Path) -> None:
    study = load_study(write_known(tmp_path, MAP), allow_code=True)
    here, _ = explore(study, parts=["maps"])
    with process_pool(2) as pool, Counted(tmp_path / "hidden", "me") as kept:
        there, _ = explore(study, parts=["maps"], execution=Execution(2, pool, checkpoint=kept))
        assert kept.given >= 24
    assert here == there
