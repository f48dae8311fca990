"""A long run that is killed again and again: shared by the tests and the benchmark."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from explorer.results.stored import SAMPLES_FILE

ROOT = Path(__file__).resolve().parents[1]
COMMAND = (sys.executable, "-c", "from explorer.console.cli import main; main()")
# A run may fail its limits; what must not happen is that it does not end by itself.
ENDED_BY_ITSELF = (0,)


def run_words(study: Path, folder: Path, *options: object) -> list[str]:
    """Return the words of a run after the name of the command."""
    return ["run", str(study), "-o", str(folder), "--no-report", *map(str, options)]


def start(study: Path, folder: Path, *options: object) -> subprocess.Popen[bytes]:
    """Start a run in a process of its own."""
    command = [*COMMAND, *run_words(study, folder, *options)]
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def run_with_kills(study: Path, folder: Path, kills: int, seed: int, *options: object) -> None:
    """Run the command, killing it at random moments, and then to its end."""
    command = [*COMMAND, *run_words(study, folder, *options)]
    silent = [(os.POSIX_SPAWN_OPEN, stream, os.devnull, os.O_WRONLY, 0) for stream in (1, 2)]

    def begin() -> int:
        return os.posix_spawn(sys.executable, command, os.environ, file_actions=silent)

    _killed(begin, kills, random.Random(seed), 0.5, 1.5)


def run_with_quick_kills(study: Path, folder: Path, kills: int, seed: int, *options: object) -> None:
    """Do so in copies of one process that has everything imported, so that most of each goes into the run."""
    words = [str(kills), str(seed), *run_words(study, folder, *options, "--engine", "threads")]
    subprocess.run([sys.executable, "-m", "tests.kills", *words], check=True, cwd=ROOT)


def _killed(begin: Callable[[], int], kills: int, chance: random.Random, soon: float, late: float) -> None:
    """Kill it so often, and then let it end; one that ended before is given again and starts anew."""
    killed = 0
    while killed < kills:
        process = begin()
        time.sleep(chance.uniform(soon, late))
        ended, status = os.waitpid(process, os.WNOHANG)
        if ended:
            assert os.waitstatus_to_exitcode(status) in ENDED_BY_ITSELF
            continue
        os.kill(process, signal.SIGKILL)
        os.waitpid(process, 0)
        killed += 1
    assert os.waitstatus_to_exitcode(os.waitpid(begin(), 0)[1]) in ENDED_BY_ITSELF


def _copy() -> int:
    """Run the command line in a copy of this process; return its number."""
    process = os.fork()
    if process:
        return process
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    status = 3
    try:
        from explorer.console.cli import main

        main()
    except SystemExit as leave:
        status = int(str(leave.code or 0))
    finally:
        os._exit(status)


def main() -> None:
    """Take the number of kills, the seed and the words of a run."""
    import pandas  # noqa: F401  # what every copy would import first
    from pyarrow import parquet  # noqa: F401

    import explorer.console.terminal
    import explorer.engine.checkpoint
    import explorer.engine.workers
    import explorer.pipeline

    kills, seed, *words = sys.argv[1:]
    sys.argv = ["squatline", *words]
    explorer.engine.checkpoint.SECONDS_BETWEEN_NOTES = 0.02
    _killed(_copy, int(kills), random.Random(int(seed)), 0.03, 0.15)


def results_of(folder: Path) -> tuple[object, bytes]:
    """Return the summary without the time it was made, and the bytes of the samples."""
    from study_help import summary_without_time  # this file run by itself has no other beside it

    samples = folder / SAMPLES_FILE
    return summary_without_time(folder), samples.read_bytes() if samples.exists() else b""


if __name__ == "__main__":
    main()
