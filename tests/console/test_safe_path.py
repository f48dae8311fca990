"""No module that lies in a study's folder is run, whatever starts the command and wherever it computes."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from explorer.engine.workers import workers_for
from explorer.errors import ClusterError

# Names that the command, its workers, the chart process or the report import sooner or later.
PLANTED = (
    "multiprocessing",
    "numpy",
    "pickle",
    "json",
    "random",
    "explorer",
    "reports",
    "socket",
    "vl_convert",
    "distributed",
)
CANDIDATES = """
[candidates.lighter]
words = "a lighter body"
mass = { mean = 4.5, sd = 0.1, unit = "kg", source = "test" }

[candidates.heavier]
words = "a heavier body"
mass = { mean = 5.5, sd = 0.1, unit = "kg", source = "test" }
"""
COMMAND = [str(Path(sysconfig.get_path("scripts")) / "squatline")]
MODULE = [sys.executable, "-m", "explorer"]


@pytest.fixture
def planted(small_study: Callable[..., Path]) -> Path:
    """Return a study's folder full of modules that leave a mark and stop whoever imports them."""
    folder = small_study(limits=CANDIDATES)
    for name in PLANTED:
        mark = folder / "ran" / name
        (folder / f"{name}.py").write_text(
            f"import os\nos.makedirs({str(mark)!r}, exist_ok=True)\nraise SystemExit(7)\n"
        )
    return folder


def call(folder: Path, command: Sequence[str], *arguments: str) -> None:
    """Give a command in a folder, as a user does who has gone there, and look that nothing was run."""
    done = subprocess.run(
        [*command, *arguments],
        cwd=folder,
        env={name: value for name, value in os.environ.items() if name != "PYTHONSAFEPATH"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert sorted(path.name for path in folder.glob("ran/*")) == []
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""


def test_a_planted_module_would_be_found(planted: Path) -> None:
    subprocess.run([sys.executable, "-c", "import numpy"], cwd=planted, check=False)
    assert (planted / "ran" / "numpy").exists()


@pytest.mark.long
@pytest.mark.parametrize("engine", ["processes", "threads", "dask"])
def test_no_module_of_the_folder_is_run(planted: Path, engine: str) -> None:
    where = ("--engine", engine, "--workers", "2", "--no-report")
    call(planted, COMMAND, "run", ".", *where)
    call(planted, COMMAND, "compare", ".", *where)


@pytest.mark.long
def test_no_module_of_the_folder_is_run_by_the_report(planted: Path) -> None:
    call(planted, COMMAND, "run", ".", "--samples", "1000")
    call(planted, COMMAND, "report", "results", "--html")


@pytest.mark.long
def test_no_module_of_the_folder_is_run_by_the_package_called_as_one(planted: Path) -> None:
    """What is called ``explorer`` there is taken by Python itself, unless it is given -P."""
    few = ("run", ".", "--engine", "processes", "--samples", "1000")
    call(planted, [sys.executable, "-P", "-m", "explorer"], *few, "--no-report")
    (planted / "explorer.py").unlink()
    call(planted, MODULE, *few)


@pytest.mark.long
def test_a_worker_that_replaces_a_lost_one_is_as_safe(planted: Path) -> None:
    program = planted.parent / "program.py"
    program.write_text(
        "import os, signal\n"
        "from explorer.engine.workers import workers_for\n"
        "if __name__ == '__main__':\n"
        "    with workers_for('dask', workers=1) as gathered:\n"
        "        client = gathered.executor._client\n"
        "        (lost,) = client.run(os.getpid).values()\n"
        "        os.kill(lost, signal.SIGKILL)\n"
        "        while client.submit(os.getpid, pure=False).result(timeout=120) == lost:\n"
        "            pass\n"
    )
    call(planted, [sys.executable, str(program)])


def test_the_callers_environment_is_left_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    for before in ("", "1"):
        monkeypatch.setenv("PYTHONSAFEPATH", before)
        with workers_for("processes", workers=1) as gathered:
            assert os.environ["PYTHONSAFEPATH"] == "1"
            assert gathered.executor is not None
            assert gathered.executor.submit(os.getenv, "PYTHONSAFEPATH").result(timeout=120) == "1"
        assert os.environ["PYTHONSAFEPATH"] == before
    monkeypatch.delenv("PYTHONSAFEPATH")
    with workers_for("processes", workers=1):
        pass
    assert "PYTHONSAFEPATH" not in os.environ


def test_where_the_safe_path_cannot_be_asked_for_no_worker_starts(tmp_path: Path) -> None:
    program = "from explorer.engine.workers import workers_for as w\nwith w('processes'):\n    print('up')\n"
    done = subprocess.run([sys.executable, "-E", "-c", program], capture_output=True, text=True, check=False)
    assert ClusterError.__name__ in done.stderr
    assert "-P" in done.stderr
    assert done.stdout == ""
