"""Machine code against numpy: what is gained, and what compiling takes."""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from explorer.compiled import machine
from explorer.engine.montecarlo import make_job, run_montecarlo
from explorer.engine.plan import CHUNK
from explorer.study.study import load_study

from .timing import best_ratio, by_turns, ratio

STUDIES = Path(__file__).resolve().parents[2] / "studies"
Row = tuple[str, str]


def machine_code(full: bool) -> Iterator[Row]:
    """Time chunks of the demos on both engines, the first ones too; then two threads."""
    yield from of_demo("airfield-sprint", 9)
    if full:
        yield from of_demo("three-flap-chase", 3)
    study = load_study(STUDIES / "airfield-sprint")

    def run(workers: int) -> Callable[[], object]:
        return lambda: run_montecarlo(study, samples=24 * CHUNK, keep=False, workers=workers, compiled=True)

    times = by_turns({"one": run(1), "two": run(2)}, 7, time.perf_counter)
    yield "airfield-sprint: machine code on one thread over two", f"{best_ratio(times, 'one', 'two'):.2f}"


def of_demo(name: str, rounds: int) -> Iterator[Row]:
    """Time chunks of one demo."""
    study = load_study(STUDIES / name)
    with tempfile.TemporaryDirectory() as empty:
        os.environ["XDG_CACHE_HOME"] = empty
        plain, compiled = (
            make_job(study, samples=CHUNK, keep=False, compiled=choice).with_pilot()
            for choice in (False, True)
        )
        drawn = plain.plan.random_chunk(0, CHUNK)

        def first(kept: bool) -> Callable[[], object]:
            def run() -> object:
                machine._compiled.cache_clear()
                if not kept:
                    for file in (Path(empty) / "squatline" / "routines").iterdir():
                        file.unlink()
                return make_job(study, compiled=True).plan.evaluate(drawn)

            return run

        jobs = {
            "numpy": lambda: plain.plan.evaluate(drawn),
            "machine code": lambda: compiled.plan.evaluate(drawn),
            "numpy, whole": lambda: plain.part(0),
            "machine code, whole": lambda: compiled.part(0),
            "cold": first(kept=False),
            "kept": first(kept=True),
        }
        times = by_turns(jobs, rounds)
    yield f"{name}: models in numpy over machine code", f"{ratio(times, 'numpy', 'machine code'):.2f}"
    whole = ratio(times, "numpy, whole", "machine code, whole")
    yield f"{name}: the same, drawing and statistics included", f"{whole:.2f}"
    for one, words in (("cold", "nothing kept"), ("kept", "kept from earlier")):
        chunks = ratio(times, one, "numpy")
        yield f"{name}: first chunk as machine code over one in numpy, {words}", f"{chunks:.2f}"
