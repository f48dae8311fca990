"""The engine against the same model by hand, and how its cost grows."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from explorer.analyses.sensitivity import Design, make_design
from explorer.engine.execution import Execution
from explorer.engine.montecarlo import Job, make_job, run_montecarlo
from explorer.engine.plan import CHUNK, Plan, make_plan
from explorer.engine.workers import workers_for
from explorer.study.distributions import Exact
from explorer.study.study import Study, load_study

from . import handwritten
from .timing import best_ratio, by_turns, exponent, ratio

DEMO = Path(__file__).resolve().parents[1] / "sprint"
Row = tuple[str, str]


def demo() -> Study:
    """Return the demo that the model by hand was written from."""
    return load_study(DEMO)


def by_hand(values: dict[str, Any]) -> dict[tuple[str, str], Any]:
    """Evaluate the model by hand as quietly as the engine does."""
    with np.errstate(all="ignore"):
        return handwritten.evaluate(values)


def named(plan: Plan, drawn: dict[str, Any]) -> dict[str, Any]:
    """Return the leaves of a plan by the names of their inputs."""
    return {key if isinstance(key, str) else key[0]: v for key, v in {**plan.constants, **drawn}.items()}


def against_hand(full: bool) -> Iterator[Row]:
    """Time the graph against the model by hand, in chunks and on whole arrays."""
    plan = make_plan(demo(), handwritten.ANSWERS)
    drawn = plan.random_chunk(0, CHUNK)
    values = named(plan, drawn)
    found, expected = plan.evaluate(drawn), by_hand(values)
    for key, value in found.items():
        np.testing.assert_allclose(value, np.broadcast_to(expected[key], value.shape), rtol=1e-9, atol=1e-12)
    times = by_turns({"graph": lambda: plan.evaluate(drawn), "hand": lambda: by_hand(values)}, 11)
    yield "graph over the same model by hand, chunks of 16 384", f"{ratio(times, 'graph', 'hand'):.2f}"

    whole = 2**20 if full else 2**18
    pieces = [plan.random_chunk(chunk, CHUNK) for chunk in range(whole // CHUNK)]
    everything = named(plan, {key: np.concatenate([piece[key] for piece in pieces]) for key in pieces[0]})
    jobs = {
        "chunks": lambda: [plan.evaluate(piece) for piece in pieces],
        "whole": lambda: by_hand(everything),
    }
    slower = ratio(by_turns(jobs, 3), "whole", "chunks")
    yield f"by hand on whole arrays of {whole} over the engine in chunks", f"{slower:.2f}"


def chunk_length(full: bool) -> Iterator[Row]:
    """Time other lengths of a chunk against the one used."""
    plan = make_plan(demo(), handwritten.ANSWERS)
    drawn = plan.random_chunk(0, 2**16)

    def in_pieces(length: int) -> Callable[[], object]:
        def run() -> object:
            return [
                plan.evaluate({key: values[start : start + length] for key, values in drawn.items()})
                for start in range(0, 2**16, length)
            ]

        return run

    lengths = (4096, 8192, CHUNK, 32768, 65536)
    times = by_turns({str(length): in_pieces(length) for length in lengths}, 3)
    for length in lengths:
        if length != CHUNK:
            yield f"chunks of {length} over chunks of {CHUNK}", f"{ratio(times, str(length), str(CHUNK)):.2f}"


def part_of_a_run(study: Study) -> Callable[[], object]:
    """Return one chunk of a run as a job."""
    job: Job = make_job(study, samples=CHUNK, keep=False).with_pilot()
    return lambda: job.part(0)


def growth(full: bool) -> Iterator[Row]:
    """Fit how cost grows with samples, inputs, conditions and outputs."""
    study = demo()
    small, large = (2, 16) if full else (2, 8)
    grown = exponent(
        lambda chunks: run_montecarlo(study, samples=chunks * CHUNK, keep=False),
        small,
        large,
        large / small,
    )
    yield "exponent of cost in samples", f"{grown:.2f}"
    for name, make, sizes in (
        ("uncertain inputs, sampling", with_inputs, (7, 28)),
        ("conditions", with_conditions, (4, 16)),
        ("outputs", with_outputs, (4, 16)),
    ):
        jobs = {size: part_of_a_run(make(size)) for size in sizes}
        grown = exponent(lambda size, jobs=jobs: jobs[size](), *sizes, sizes[1] / sizes[0])
        yield f"exponent of cost in {name}", f"{grown:.2f}"
    designs = {size: make_design(replace(with_inputs(size), sensitivity_samples=256)) for size in (7, 28)}
    grown = exponent(lambda size: reduced(designs[size]), 7, 28, 4)
    yield "exponent of cost in uncertain inputs, ranking", f"{grown:.2f}"


def reduced(design: Design) -> object:
    """Do one replicate of a ranking, without its check by SALib."""
    from explorer.estimators.sobol_parts import replicate_parts

    return replicate_parts(design.replicate(1), len(design.groups))


def with_inputs(count: int) -> Study:
    """Return the demo with all but some of its uncertain inputs made exact."""
    study = demo()
    left = [name for name, given in study.inputs.items() if not given.exact][:count]
    inputs = {
        name: given
        if given.exact or name in left
        else replace(given, distribution=Exact(given.distribution.nominal))
        for name, given in study.inputs.items()
    }
    return replace(study, inputs=inputs)


def with_conditions(count: int) -> Study:
    """Return the demo held to one limit in so many conditions, each at a speed of its own."""
    text = (DEMO / "study.toml").read_text().split("[conditions.closed]")[0].replace("[[measurements]]", "")
    for number in range(count):
        text += f'\n[conditions.c{number}]\nspeed = "{40 + number} m/s"\n'
        text += f'[[limits]]\nquantity = "front_axle_load"\ncondition = "c{number}"\nat_least = "1 N"\n'
    return written(text)


def with_outputs(count: int) -> Study:
    """Return the demo with so many points under the car, each held to a clearance."""
    text = (DEMO / "study.toml").read_text().split("[conditions.closed]")[0]
    points = [f"p{number}" for number in range(count)]
    text = text.replace('point = ["rear_floor_edge", "splitter_edge"]', f"point = {points}".replace("'", '"'))
    lines = [line for line in text.splitlines() if not line.startswith(("rear_floor_edge", "splitter_edge"))]
    text = "\n".join(lines)
    for point in points:
        text += f'\n{point}_station = "100 mm"\n{point}_clearance_at_rest = "9 mm"\n'
    text += '[conditions.fast]\nspeed = "50 m/s"\n'
    for point in points:
        text += f'[[limits]]\nquantity = "{point}_clearance"\ncondition = "fast"\nat_least = "1 mm"\n'
    return written(text)


def written(text: str) -> Study:
    """Load a study from its text."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "study.toml").write_text(text)
        return load_study(folder)


def workers(full: bool) -> Iterator[Row]:
    """Time two workers of every kind against one thread, once their start is paid."""
    study = demo()
    samples = (32 if full else 12) * CHUNK

    def run(engine: Any, count: int) -> Callable[[], object]:
        return lambda: run_montecarlo(
            study, samples=samples, keep=False, execution=Execution(workers=count, executor=engine)
        )

    with workers_for("processes", workers=2) as processes, workers_for("dask", workers=2) as cluster:
        times = by_turns(
            {
                "one": run(None, 1),
                "threads": run(None, 2),
                "processes": run(processes.executor, 2),
                "dask": run(cluster.executor, 2),
            },
            7,
            time.perf_counter,
        )
    for name in ("threads", "processes", "dask"):
        yield f"one thread over two workers, {name}", f"{best_ratio(times, 'one', name):.2f}"
    efficiency = best_ratio(times, "processes", "dask")
    yield "efficiency of a local Dask cluster against a process pool, 2 workers", f"{efficiency:.2f}"
