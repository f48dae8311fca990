"""A long run that is killed again and again: shared by the tests and the benchmark."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
from pathlib import Path

from explorer.results import SAMPLES_FILE, SUMMARY_FILE

COMMAND = (sys.executable, "-c", "from explorer.console.cli import main; main()", "run")
# A run may fail its limits; what must not happen is that it does not end by itself.
ENDED_BY_ITSELF = (0, 1)


def start(study: Path, folder: Path, *options: object) -> subprocess.Popen[bytes]:
    """Start a run in a process of its own."""
    command = [*COMMAND, study, "-o", folder, "--no-report", *map(str, options)]
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def run_with_kills(study: Path, folder: Path, kills: int, seed: int, *options: object) -> int:
    """Run, killing it at random moments, and then once more to its end; return how often it was killed."""
    chance = random.Random(seed)
    killed = 0
    for _ in range(kills):
        process = start(study, folder, *options)
        try:
            process.wait(timeout=chance.uniform(0.5, 1.5))
        except subprocess.TimeoutExpired:
            os.kill(process.pid, signal.SIGKILL)
            process.wait()
            killed += 1
        else:
            assert process.returncode in ENDED_BY_ITSELF
            return killed
    assert start(study, folder, *options).wait() in ENDED_BY_ITSELF
    return killed


def results_of(folder: Path) -> tuple[object, bytes]:
    """Return the summary without the time it was made, and the bytes of the samples."""
    summary = json.loads((folder / SUMMARY_FILE).read_text())
    summary["reproduction"]["created"] = ""
    samples = folder / SAMPLES_FILE
    return summary, samples.read_bytes() if samples.exists() else b""
