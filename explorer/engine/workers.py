"""Where chunks are computed: in this process, in others on this machine, or on a Dask cluster.

The numbers are the same to the last bit everywhere: workers draw their own inputs from the seed and the
number of the chunk, parts are merged in the order of the chunks, and other versions are refused.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack, contextmanager
from typing import Any

from explorer.engine.execution import Execution
from explorer.engine.packing import require_equal
from explorer.engine.processes import deaf_to_interruptions, default_workers, process_pool, safe_path
from explorer.engine.stages import told_for_users
from explorer.engine.versions import versions
from explorer.errors import ClusterError

ENGINES = ("threads", "processes", "dask")

SECONDS_TO_ANSWER = 10
# A worker that dies takes its chunk along; the chunk is given to others this often before it gets the blame.
CHUNK_MAY_BE_LOST = 10
# Beside those that compute, nobody on this machine should watch them more often than it takes: the profiler
# alone, a look at every stack each hundredth of a second, takes several hundredths of the time.
OF_A_LOCAL_CLUSTER = {
    "distributed.scheduler.allowed-failures": CHUNK_MAY_BE_LOST,
    "distributed.admin.log-length": 0,
    "distributed.admin.tick.interval": "500ms",
    "distributed.admin.system-monitor.interval": "5s",
    "distributed.worker.profile.enabled": False,
    "distributed.worker.memory.monitor-interval": "1s",
    "distributed.scheduler.active-memory-manager.start": False,
}


@contextmanager
def workers_for(
    engine: str = "threads", *, workers: int | None = None, scheduler: str | None = None
) -> Iterator[Execution]:
    """Gather workers for as long as the context lasts, as what is executed on them.

    Parameters
    ----------
    engine:
        "threads" of this process, "processes" of this machine, or "dask".
    workers:
        How many; by default one a processor, but one thread: two hand the interpreter lock to and fro and
        gain nothing.  A cluster that is there already has as many as it has.
    scheduler:
        Address of a Dask scheduler, such as ``tcp://10.0.0.5:8786``; without one, "dask" starts a cluster of
        its own on this machine.

    Raises
    ------
    ClusterError
        When there is no such engine, the cluster does not answer, its workers have other versions, or
        workers ended before their work was done.
    """
    if engine not in ENGINES:
        raise ClusterError("there is no such engine", found=engine, allowed=", ".join(ENGINES))
    if scheduler is not None and engine != "dask":
        raise ClusterError("only a Dask cluster has a scheduler", remedy="add --engine dask")
    if engine == "dask":
        with _dask(workers or default_workers(), scheduler) as gathered:
            yield gathered
    elif engine == "processes":
        with _processes(workers or default_workers()) as gathered:
            yield gathered
    else:
        yield Execution(workers or 1)


@contextmanager
def _processes(workers: int) -> Iterator[Execution]:
    try:
        with process_pool(workers) as pool:
            yield Execution(workers, pool)
    except BrokenProcessPool as error:
        raise told_for_users(error) from None


@contextmanager
def _dask(workers: int, scheduler: str | None) -> Iterator[Execution]:
    distributed = _distributed()
    from distributed.scheduler import KilledWorker

    with ExitStack() as stack:
        address = scheduler or stack.enter_context(_local_cluster(workers))
        try:
            # Workers of this machine hand their parts over themselves; those of another may be out of reach.
            direct = True if scheduler is None else None
            client = stack.enter_context(
                distributed.Client(address, timeout=SECONDS_TO_ANSWER, direct_to_workers=direct)
            )
            client.wait_for_workers(1, timeout=SECONDS_TO_ANSWER)
        except (OSError, TimeoutError, ValueError) as error:
            raise ClusterError(
                "the Dask cluster does not answer",
                key="--scheduler",
                found=f"{address}: {error}",
                allowed="the address of a scheduler with one worker at least, such as tcp://10.0.0.5:8786",
                remedy="start 'dask scheduler' there, then 'dask worker ADDRESS --nthreads 1' per processor",
            ) from None
        _require_equal_workers(client)
        try:
            threads = sum(client.nthreads().values())
            yield Execution(threads, client.get_executor(pure=False))
        except KilledWorker as error:
            raise told_for_users(error) from None


def _distributed() -> Any:
    try:
        import distributed
    except ImportError:
        raise ClusterError(
            "computing on a cluster needs the library dask.distributed",
            remedy="pip install 'squatline[cluster]'",
        ) from None
    return distributed


@contextmanager
def _local_cluster(workers: int) -> Iterator[Any]:
    import dask

    distributed = _distributed()
    # Workers that are lost are replaced, hence the safe path for as long as the cluster lasts.
    with dask.config.set(OF_A_LOCAL_CLUSTER), safe_path():
        with deaf_to_interruptions():
            cluster = distributed.LocalCluster(
                n_workers=workers,
                threads_per_worker=1,
                dashboard_address="127.0.0.1:0",
                silence_logs="CRITICAL",
            )
        with cluster:
            yield cluster


def _require_equal_workers(client: Any) -> None:
    """Refuse workers that cannot import this program, or have other versions."""
    wanted = tuple(versions().items())
    try:
        client.run(require_equal, wanted)
    except ClusterError:
        raise
    except Exception as error:  # whatever keeps a worker from importing this program
        raise ClusterError(
            "a worker cannot run this program",
            found=f"{type(error).__name__}: {error}",
            remedy="install squatline of the same version on every worker and start them again",
        ) from None
