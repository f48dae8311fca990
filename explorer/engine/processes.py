"""Worker processes of this machine: how they are started early, and how they end."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait
from multiprocessing.context import BaseContext
from typing import ParamSpec, TypeVar

from explorer.errors import ClusterError

P = ParamSpec("P")
T = TypeVar("T")
# What a worker process imports once, before it is asked for anything.
PRELOADED = (
    "explorer.engine.montecarlo",
    "explorer.analyses.sensitivity",
    "SALib.sample.directions",
)

# What the system gives to who may wait.
LEAST_PRIORITY = 19
# Has the meaning of Python's -P, for every process that comes from this one.
_SAFE_PATH = "PYTHONSAFEPATH"


def default_workers() -> int:
    """Count the processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def process_context() -> BaseContext:
    """Return the quickest way to start worker processes that is safe beside threads."""
    if sys.platform != "linux":
        return get_context("spawn")
    context = get_context("forkserver")
    context.set_forkserver_preload(list(PRELOADED))
    return context


def warm_up() -> None:
    """Begin to start what worker processes come from, while the caller still reads its study."""
    if process_context().get_start_method() == "forkserver":
        from multiprocessing.forkserver import ensure_running

        with safe_path(), deaf_to_interruptions():
            ensure_running()


class _Workers(ProcessPoolExecutor):
    """Workers that are started whole.

    One whose parent is interrupted meanwhile finds half of what it begins with, and says so at length.
    """

    def __init__(self, workers: int, context: BaseContext) -> None:
        forked = context.get_start_method() == "forkserver"
        if forked:
            warm_up()
        self._undisturbed = held_back if forked else deaf_to_interruptions
        super().__init__(workers, context, initializer=_begin)

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        with self._undisturbed():
            return super().submit(fn, *args, **kwargs)


@contextmanager
def process_pool(workers: int, context: BaseContext | None = None) -> Iterator[ProcessPoolExecutor]:
    """Gather workers that outlive neither the pool nor a parent that is killed."""
    with safe_path(), _Workers(workers, context or process_context()) as pool:
        yield pool


def pool_in_waiting(workers: int, task: Callable[[], object]) -> ProcessPoolExecutor:
    """Start workers with a first task before there is work, for ``let_go`` to end."""
    with safe_path():
        pool = _Workers(workers, process_context())
        for _ in range(workers):
            pool.submit(task)
    return pool


def let_go(pool: ProcessPoolExecutor) -> None:
    """Have workers end with the part they are at, behind all else on the machine; nobody waits for them.

    To kill them is not safe: one that dies while it hands a part over leaves the pool reading for ever.
    """
    for number in list(pool._processes or {}):
        with suppress(ProcessLookupError):
            os.setpriority(os.PRIO_PROCESS, number, LEAST_PRIORITY)
    pool.shutdown(wait=False, cancel_futures=True)


@contextmanager
def safe_path() -> Iterator[None]:
    """Start Python processes in here that take no module from the current folder.

    They begin as ``python -c``, which looks there first, and a study's folder may hold anything.

    Raises
    ------
    ClusterError
        When Python was told to ignore its environment, by which this is asked of the processes.
    """
    if sys.flags.ignore_environment and not sys.flags.safe_path:
        raise ClusterError(
            "worker processes would take modules from the current folder",
            found="Python started with -E",
            allowed="Python started without it, or with -P or -I as well",
        )
    before = os.environ.get(_SAFE_PATH)
    os.environ[_SAFE_PATH] = "1"
    try:
        yield
    finally:
        os.environ.pop(_SAFE_PATH, None)
        if before is not None:
            os.environ[_SAFE_PATH] = before


@contextmanager
def deaf_to_interruptions() -> Iterator[None]:
    """Start processes in here that leave an interruption from the keyboard to this one."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def held_back() -> Iterator[None]:
    """Have what would end this process wait until what is done in here is done."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    ending = [number for number in (signal.SIGINT, signal.SIGTERM) if callable(signal.getsignal(number))]
    before = {number: signal.signal(number, lambda which, _: came.append(which)) for number in ending}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        for which in came[:1]:
            signal.raise_signal(which)


def _begin() -> None:
    """Leave an interruption from the keyboard to the parent, and end when it is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)
