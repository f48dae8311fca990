"""What the machine refuses, and what a terminal cannot show, is no fault of the program."""

from __future__ import annotations

import errno
import io
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from study_help import DEMO, Answer

from explorer.console import cli_study, plain_output
from explorer.console.refusals import refusal

Cli = Callable[..., Answer]


class ArrayMemoryError(MemoryError):
    pass


REFUSED = [
    (OSError(errno.ENOSPC, "No space left on device", "results/x"), "results/x", "make room"),
    (OSError(errno.EMFILE, "Too many open files"), "too many open files", "ulimit -n"),
    (OSError(errno.EROFS, "Read-only file system", "/r"), "/r", "writable"),
    (OSError(errno.EIO, "Input/output error", "/r"), "/r", "see that the file"),
    (OSError(errno.ENOMEM, "Cannot allocate memory"), "allocate memory", "--samples"),
    (MemoryError(), "allocate memory", "--samples"),
    (ArrayMemoryError("Unable to allocate 9. TiB"), "9. TiB", "--samples"),
    (RuntimeError("can't start new thread"), "temporarily unavailable", "--engine threads"),
    (ImportError("x.so: failed to map segment from shared object"), "allocate memory", "--samples"),
    (ImportError("x.so: cannot open shared object file: Too many open files"), "open files", "ulimit -n"),
]


@pytest.mark.parametrize("error", REFUSED, ids=lambda row: type(row[0]).__name__)
def test_what_the_machine_refuses_is_told_with_a_remedy(
    error: tuple[Exception, str, str], squatline: Cli, monkeypatch: pytest.MonkeyPatch
) -> None:
    raised, found, remedy = error

    def refused(*_: object) -> None:
        raise ValueError("what came of it") from raised

    monkeypatch.setattr(cli_study, "load", refused)
    answer = squatline("check", DEMO)
    assert answer.status == 2
    assert found in answer.err
    assert remedy in answer.err


def test_a_fault_of_the_program_stays_one(squatline: Cli, monkeypatch: pytest.MonkeyPatch) -> None:
    assert refusal(ValueError("x")) is None
    assert refusal(OSError("cannot load a library")) is None

    def faulty(*_: object) -> None:
        raise KeyError("x")

    monkeypatch.setattr(cli_study, "load", faulty)
    assert squatline("check", DEMO).status == 3


def test_a_lost_process_is_no_interruption(squatline: Cli, monkeypatch: pytest.MonkeyPatch) -> None:
    def lost(*_: object) -> None:
        raise EOFError

    monkeypatch.setattr(cli_study, "load", lost)
    answer = squatline("check", DEMO)
    assert (answer.status, "ended early" in answer.err) == (2, True)


@pytest.mark.long
@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "latin-1", "utf-8"])
def test_output_is_written_in_the_signs_there_are(encoding: str) -> None:
    command = "from explorer.console.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", command, "check", "--all", str(DEMO)],
        env={**os.environ, "PYTHONIOENCODING": encoding},
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    text = done.stdout.decode(encoding)
    assert "degC" in text if encoding == "ascii" else "°C" in text
    assert "?" not in text


def test_no_sign_of_a_number_is_lost() -> None:
    stream = io.TextIOWrapper(io.BytesIO(), "ascii", newline="\n")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stdout", stream)
        plain_output.write_plainly()
    stream.write("\N{MINUS SIGN}1.5\N{NO-BREAK SPACE}m² ± 3 µm, 5·10⁻⁴, ≤ 2°, é, \N{SNOWMAN}")
    stream.flush()
    assert stream.buffer.getvalue() == b"-1.5 m2 +/- 3 um, 5*10-4, <= 2deg, e, ?"


def test_a_table_with_a_cell_as_long_as_a_file_is_refused(tmp_path: Path) -> None:
    from explorer.errors import TableError
    from explorer.graph.tables import read_table

    (tmp_path / "map.csv").write_text("a,b\n1,2\n3," + "4" * 200_000 + "\n")
    with pytest.raises(TableError, match="split into cells") as caught:
        read_table(tmp_path / "map.csv", ["along a [m]", "b [m]"], key="tables.map")
    assert "line 3" in str(caught.value.found)


@pytest.mark.parametrize(
    ("limit", "size", "words"),
    [
        ("RLIMIT_NOFILE", 16, ("too few files", "ulimit -n")),
        ("RLIMIT_AS", 400_000_000, ("too little memory", "ulimit -v")),
    ],
    ids=["files", "memory"],
)
def test_too_little_room_is_refused_before_a_library_fails_in_it(
    limit: str, size: int, words: tuple[str, ...]
) -> None:
    resource = pytest.importorskip("resource")
    done = subprocess.run(
        [sys.executable, "-m", "explorer", "check", "--all", str(DEMO)],
        preexec_fn=lambda: resource.setrlimit(getattr(resource, limit), (size, size)),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    for word in words:
        assert word in done.stderr
