"""Files are written whole or not at all, and what the system refuses is told with the remedy."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest

from explorer.errors import ResultsError
from explorer.files.writing import whole, write_whole
from explorer.study.template import write_template


def test_a_file_is_replaced_only_when_all_of_it_is_there(tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    write_whole(file, "first")

    def half_way() -> None:
        with whole(file) as fresh:
            fresh.write_text("sec")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        half_way()
    assert file.read_text() == "first"
    write_whole(file, b"second")
    assert file.read_text() == "second"
    assert list(tmp_path.iterdir()) == [file]


def test_what_a_killed_process_has_left_of_a_file_is_removed(tmp_path: Path) -> None:
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    (tmp_path / f".a.toml.{ended.pid}.part").write_text("half")
    (tmp_path / f".a.toml.{os.getppid()}.part").write_text("of one that runs")
    write_whole(tmp_path / "a.toml", "whole")
    assert sorted(path.name for path in tmp_path.iterdir()) == [f".a.toml.{os.getppid()}.part", "a.toml"]


@pytest.mark.parametrize(
    ("number", "remedy"),
    [(errno.ENOSPC, "make room"), (errno.EMFILE, "ulimit -n"), (errno.EROFS, "writable")],
    ids=["full", "no descriptors", "read-only"],
)
def test_what_the_system_refuses_is_told_and_the_earlier_file_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, remedy: str
) -> None:
    file = tmp_path / "summary.json"
    write_whole(file, "earlier")

    def refused(handle: int) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "fsync", refused)
    with pytest.raises(ResultsError, match=remedy) as told:
        write_whole(file, "later")
    assert told.value.file == str(file)
    assert file.read_text() == "earlier"
    assert list(tmp_path.iterdir()) == [file]


def test_a_new_study_is_not_written_through_a_link(tmp_path: Path) -> None:
    (tmp_path / "car").mkdir()
    (tmp_path / "car" / "study.toml").symlink_to(tmp_path / "elsewhere.toml")
    with pytest.raises(Exception, match="a study here already"):
        write_template(tmp_path / "car")
    assert not (tmp_path / "elsewhere.toml").exists()


def test_a_new_study_where_a_file_is_in_the_way_is_told(tmp_path: Path) -> None:
    (tmp_path / "car").write_text("a file")
    with pytest.raises(ResultsError, match="move it away"):
        write_template(tmp_path / "car" / "one")
