"""Processes and clusters: the same bits as in one process, workers lost on the way, and refusals."""

from __future__ import annotations

import math
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from engine_help import fingerprint
from patience import PATIENCE, wait_for_end, wait_until
from study_help import DEMO, Answer, summary_without_time

from explorer.analyses.sensitivity import run_sensitivity
from explorer.engine.execution import Execution
from explorer.engine.montecarlo import run_montecarlo
from explorer.engine.packing import Packed, require_equal
from explorer.engine.plan import CHUNK, in_order
from explorer.engine.versions import versions
from explorer.engine.workers import workers_for
from explorer.errors import ClusterError
from explorer.study.study import Study, load_study

SAMPLES = 5 * CHUNK + 321


@pytest.fixture(scope="module")
def demo() -> Study:
    return replace(load_study(DEMO), sensitivity_samples=64)


@pytest.fixture(scope="module")
def alone(demo: Study) -> list[object]:
    return fingerprint(run_montecarlo(demo, samples=SAMPLES, execution=Execution(workers=1)))


@pytest.fixture(scope="module")
def cluster() -> Iterator[Execution]:
    with workers_for("dask", workers=2) as gathered:
        yield gathered


def worker_processes(gathered: Execution) -> dict[str, int]:
    """Address -> process number of the workers of a Dask cluster."""
    client: Any = gathered.executor._client  # type: ignore[union-attr]  # the executor does not show its client
    found: dict[str, int] = client.run(os.getpid)
    return found


def test_processes_give_the_same_bits(demo: Study, alone: list[object]) -> None:
    with workers_for("processes", workers=2) as gathered:
        found = run_montecarlo(demo, samples=SAMPLES, execution=gathered)
        ranked = run_sensitivity(demo, execution=gathered)
    assert fingerprint(found) == alone
    assert ranked == run_sensitivity(demo, execution=Execution(workers=1))


@pytest.mark.long
def test_a_cluster_gives_the_same_bits(demo: Study, alone: list[object], cluster: Execution) -> None:
    assert cluster.workers == 2
    found = run_montecarlo(demo, samples=SAMPLES, execution=Execution(workers=2, executor=cluster.executor))
    assert fingerprint(found) == alone


@pytest.mark.long
def test_a_worker_killed_on_the_way_loses_no_chunk_and_repeats_none(
    demo: Study, alone: list[object], cluster: Execution
) -> None:
    before = worker_processes(cluster)
    killed: list[int] = []

    def kill_one(stage: str, done: int, total: int) -> None:
        if not killed:
            killed.append(next(iter(before.values())))
            os.kill(killed[0], signal.SIGKILL)

    found = run_montecarlo(
        demo, samples=SAMPLES, execution=Execution(workers=2, executor=cluster.executor, progress=kill_one)
    )
    assert fingerprint(found) == alone
    assert killed
    cluster.executor._client.wait_for_workers(2, timeout=PATIENCE)  # type: ignore[union-attr]  # as above
    rejoined = worker_processes(cluster)
    assert len(rejoined) == 2
    assert killed[0] not in rejoined.values()
    again = run_montecarlo(demo, samples=SAMPLES, execution=Execution(workers=2, executor=cluster.executor))
    assert fingerprint(again) == alone


OWN = """
from explorer.graph.quantity import quantity

FACTOR = 2.0

@quantity("kg", source="definition")
def double_mass(mass):
    '''Twice the mass.'''
    return FACTOR * mass
"""


@pytest.mark.parametrize("engine", ["processes", "dask"])
def test_own_quantities_travel_with_the_work(
    small_study: Callable[..., Path], request: pytest.FixtureRequest, engine: str
) -> None:
    folder = small_study(
        limits='[[limits]]\nquantity = "double_mass"\ncondition = "rest"\nat_least = "1 kg"\n',
        **{"samples__=__4000": 'samples = 4000\nown_quantities = "own.py"'},
    )
    (folder / "own.py").write_text(OWN)
    study = load_study(folder, allow_code=True)
    (folder / "own.py").unlink()
    if engine == "dask":
        found = run_montecarlo(
            study, execution=Execution(workers=2, executor=request.getfixturevalue("cluster").executor)
        )
    else:
        with workers_for("processes", workers=2) as gathered:
            found = run_montecarlo(study, execution=Execution(workers=2, executor=gathered.executor))
    np.testing.assert_array_equal(found.kept["double_mass | rest"], 2 * found.kept["mass"])


def test_a_worker_of_another_version_is_refused(cluster: Execution) -> None:
    wanted = tuple(versions().items())
    require_equal(wanted)
    other = Packed(Packed.of(abs).data, (*wanted[:-1], ("scipy", "0.1")))
    future = cluster.executor.submit(other, [-3])  # type: ignore[union-attr]  # a cluster has an executor
    with pytest.raises(ClusterError, match="another scipy"):
        future.result(timeout=PATIENCE)
    again = cluster.executor.submit(Packed.of(abs), [-3, 4])  # type: ignore[union-attr]  # as above
    done = again.result(timeout=PATIENCE)
    assert Packed.opened(done) == [3, 4]


class AtOnce(Executor):
    """Does what it is given at once, and remembers how many parts each task had."""

    def __init__(self) -> None:
        self.sizes: list[int] = []

    def submit(self, todo: Callable[..., Any], /, *given: Any, **named: Any) -> Future[Any]:
        """Do it."""
        self.sizes.append(len(given[0]))
        done: Future[Any] = Future()
        done.set_result(todo(*given, **named))
        return done


@pytest.mark.parametrize(("start", "count"), [(0, 100), (93, 100), (0, 1), (7, 7)])
def test_a_cluster_gets_several_parts_a_task_and_single_ones_last(start: int, count: int) -> None:
    executor, reports = AtOnce(), list[int]()
    parts = in_order(abs, count, workers=2, executor=executor, start=start, progress=reports.append)
    assert list(parts) == list(range(start, count))
    assert reports == list(range(start + 1, count + 1))
    assert sum(executor.sizes) == count - start
    assert executor.sizes == sorted(executor.sizes, reverse=True)
    assert executor.sizes[-3:] == [1] * min(3, count - start)
    assert max(executor.sizes, default=1) == min(4, max(1, math.ceil((count - start) / 4)))


def test_a_cluster_that_is_there_is_used_and_checked(
    monkeypatch: pytest.MonkeyPatch, cluster: Execution
) -> None:
    address: str = cluster.executor._client.scheduler.address  # type: ignore[union-attr]
    with workers_for("dask", scheduler=address) as gathered:
        assert gathered.workers == 2
    monkeypatch.setattr("explorer.engine.workers.versions", lambda: {**versions(), "numpy": "1.0"})
    with pytest.raises(ClusterError, match="another numpy"), workers_for("dask", scheduler=address):
        pass


def test_a_cluster_that_does_not_answer_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("explorer.engine.workers.SECONDS_TO_ANSWER", 0.3)
    with (
        pytest.raises(ClusterError, match="does not answer") as caught,
        workers_for("dask", scheduler="tcp://127.0.0.1:9"),
    ):
        pass
    assert "tcp://127.0.0.1:9" in str(caught.value)


def test_a_process_that_dies_is_told_and_not_waited_for() -> None:
    with (
        pytest.raises(ClusterError, match="ended before its work was done"),
        workers_for("processes") as gathered,
    ):
        list(in_order(os._exit, 9, executor=gathered.executor))


def test_what_does_not_go_together_is_refused() -> None:
    with pytest.raises(ClusterError, match="no such engine"), workers_for("steam"):  # type: ignore[arg-type]
        pass
    with (
        pytest.raises(ClusterError, match="only a Dask cluster"),
        workers_for("threads", scheduler="tcp://a:1"),
    ):
        pass


@pytest.mark.long
@pytest.mark.parametrize("engine", ["processes", "dask"])
def test_the_command_runs_on_every_engine(
    small_study: Callable[..., Path], squatline: Callable[..., Answer], tmp_path: Path, engine: str
) -> None:
    study = small_study()
    answers = [
        squatline("run", study, "-o", tmp_path / name, "--engine", name, "--no-report", "--stages")
        for name in ("threads", engine)
    ]
    assert [answer.status for answer in answers] == [0, 0]
    assert "what drives the limits" in answers[1].out
    one, other = (summary_without_time(tmp_path / name) for name in ("threads", engine))
    assert one == other
    assert "no such engine" in squatline("run", study, "--engine", "steam").err


@pytest.mark.long
@pytest.mark.parametrize("engine", ["processes", "dask"])
def test_an_interruption_is_told_in_one_sentence(small_study: Callable[..., Path], engine: str) -> None:
    study = small_study()
    command = [sys.executable, "-c", "from explorer.console.cli import main; main()", "run", study]
    options = ["-o", study / "results", "--samples", "20000000", "--engine", engine, "--no-report"]
    with subprocess.Popen(
        [*command, *options], stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as running:
        # The first samples are there: all workers are in the midst of the next ones.
        wait_until(lambda: len(list(study.rglob("*.parquet"))) >= 8, lambda: running.poll() is None)
        # As a terminal does: to the command and all its workers.
        os.killpg(running.pid, signal.SIGINT)
        _, told = running.communicate(timeout=PATIENCE)
    assert running.returncode == 130
    assert told.startswith("squatline: interrupted")
    assert "Traceback" not in told


@pytest.mark.parametrize("came", ["SIGINT", "SIGTERM"])
def test_workers_that_are_being_started_make_no_noise_of_an_interruption(came: str) -> None:
    program = (
        "import os, signal, sys\n"
        "from multiprocessing import forkserver\n"
        "from explorer.engine import processes\n"
        "asked = forkserver.connect_to_new_process\n"
        "def interrupted(files):\n"
        "    answer = asked(files)\n"
        "    os.kill(os.getpid(), came)\n"
        "    return answer\n"
        "forkserver.connect_to_new_process = interrupted\n"
        "processes.PRELOADED = ()\n"
        f"came = signal.{came}\n"
        "signal.signal(came, lambda *_: sys.exit(130))\n"
        "with processes.process_pool(1) as pool:\n"
        "    server = open(f'/proc/{forkserver._forkserver._forkserver_pid}/status').read()\n"
        "    print(server.split('SigIgn:')[1].split()[0])\n"
        "    pool.submit(os.getpid)\n"
    )
    # What they say is read to its end, which comes when the last of them has ended.
    ended = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=PATIENCE, check=False
    )
    assert (ended.returncode, ended.stderr) == (130, "")
    # A terminal sends an interruption to what the workers come from as well, before that can read a line.
    assert int(ended.stdout, 16) & 1 << signal.SIGINT - 1


@pytest.mark.long
def test_worker_processes_end_with_their_parent(tmp_path: Path) -> None:
    program = (
        "import os, signal\n"
        "from explorer.engine.workers import workers_for\n"
        "if __name__ == '__main__':\n"
        "    with workers_for('processes', workers=2) as gathered:\n"
        "        print(gathered.executor.submit(os.getpid).result(), flush=True)\n"
        "        signal.pause()\n"
    )
    (tmp_path / "parent.py").write_text(program)
    command = [sys.executable, tmp_path / "parent.py"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as parent:
        assert parent.stdout is not None
        worker = int(parent.stdout.readline())
        parent.kill()
    wait_for_end(worker)
