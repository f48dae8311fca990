"""Whole runs: peak memory against samples, the share of each stage, and one that is killed many times."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from .engine import DEMO

Row = tuple[str, str]

# The mark in /proc: what getrusage tells begins with the memory of the process that started this one.
PEAK = """
import sys
from pathlib import Path
from explorer.engine.montecarlo import run_montecarlo
from explorer.study.study import load_study
run_montecarlo(load_study(sys.argv[1]), samples=int(sys.argv[2]), keep=False)
status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
print(status["VmHWM"].split()[0])
"""
COMMAND_PEAK = """
import sys
from pathlib import Path
from explorer.console.cli import main
try:
    main()
except SystemExit as leave:
    if leave.code not in (0, 1):
        raise
status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
print(status["VmHWM"].split()[0], file=sys.stderr)
"""
TESTS = Path(__file__).resolve().parents[1]


def peak(samples: int) -> float:
    """Return the peak memory of a run that keeps no samples, in MB."""
    command = [sys.executable, "-c", PEAK, str(DEMO), str(samples)]
    return int(subprocess.run(command, check=True, capture_output=True, text=True).stdout) / 1024


def memory(full: bool) -> Iterator[Row]:
    """Compare the peak memory of a short and a long run."""
    large = 10_000_000 if full else 1_000_000
    low, high = peak(100_000), peak(large)
    yield (
        f"peak memory at {large} samples over that at 100 000, not kept",
        f"{high / low:.2f} ({high:.0f} MB)",
    )


def peak_of_command(samples: int, keep: bool) -> float:
    """Return the peak memory of the command, without its workers, on a study of two inputs, in MB."""
    sys.path.insert(0, str(TESTS))
    from study_help import SMALL

    text = SMALL.format(inputs="", conditions="", limits="")
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "study.toml").write_text(
            text.replace("samples = 4000", f"samples = {samples}\nkeep_samples = {str(keep).lower()}", 1)
        )
        command = [sys.executable, "-c", COMMAND_PEAK, "run", folder, "--no-report"]
        ended = subprocess.run(command, check=True, capture_output=True, text=True)
    return int(ended.stderr.splitlines()[-1]) / 1024


def billion(full: bool) -> Iterator[Row]:
    """Run the command a billion samples long, and keep a hundred million of another run on the disk."""
    if not full:
        return
    for keep, small, large in ((False, 10**5, 10**9), (True, 10**6, 10**8)):
        low, high = peak_of_command(small, keep), peak_of_command(large, keep)
        words = "kept in files" if keep else "not kept"
        yield (
            f"peak memory at {large:.0e} samples over that at {small:.0e}, {words}",
            f"{high / low:.2f} ({high:.0f} MB)",
        )


def stages(full: bool) -> Iterator[Row]:
    """Run the demo cold, with both forms of the report, and tell the share of each stage."""
    code = "from explorer.console.cli import main; main()"
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-c", code, "run", str(DEMO), "-o", f"{folder}/results", "--json"]
        start = time.perf_counter()
        ended = subprocess.run(command, check=False, capture_output=True, text=True)
        whole = time.perf_counter() - start
    if not ended.stdout:
        raise RuntimeError(ended.stderr)
    found = json.loads(ended.stdout)
    times = {**found["stages"], "starting and ending": whole - sum(found["stages"].values())}
    for name, seconds in times.items():
        yield f"share of a cold run: {name}", f"{seconds / whole:.0%}"


def computing(full: bool) -> Iterator[Row]:
    """Compute both demos on one thread, and tell what processor time all stages cost over the samples."""
    from types import SimpleNamespace
    from unittest.mock import patch

    from explorer.pipeline import run
    from explorer.study.study import load_study

    for name in ("airfield-sprint", "three-flap-chase"):
        with patch("explorer.engine.stages.time", SimpleNamespace(perf_counter=time.process_time)):
            times = dict(run(load_study(TESTS.parent / "studies" / name)).stages)
        for stage, seconds in times.items():
            if stage != "samples":
                yield f"{stage} over samples, {name}", f"{seconds / times['samples']:.2f}"
        yield f"all computing over samples, {name}", f"{sum(times.values()) / times['samples']:.2f}"


def kills(full: bool) -> Iterator[Row]:
    """Kill runs thirty times and hold their results against those left alone."""
    if not full:
        return
    sys.path.insert(0, str(TESTS))
    from kills import results_of, run_with_kills, start
    from study_help import SMALL

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        # The limit holds in 57.17 cars of 100: so near to what is asked that it takes several looks.
        text = SMALL.format(inputs="", conditions="", limits="")
        (folder / "study.toml").write_text(text.replace("probability = 0.5", "probability = 0.5704"))
        for words, *until in (("a run",), ("a run until it is decided", "--until", "decided")):
            options = ("--samples", 4_000_000, *until)
            start(folder, folder / "whole", *options).wait()
            run_with_kills(folder, folder / "killed", 30, 20261, *options)
            same = results_of(folder / "whole") == results_of(folder / "killed")
            yield f"{words}, killed 30 times, ends with the same bytes", "yes" if same else "NO"
