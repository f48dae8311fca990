"""Timing by turns: what is compared runs alternately, so that a busy machine hits all alike."""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable, Mapping
from typing import Any

Times = dict[str, list[float]]


def by_turns(
    jobs: Mapping[str, Callable[[], Any]],
    rounds: int = 7,
    clock: Callable[[], float] = time.thread_time,
) -> Times:
    """Time every job once a round, after one round that does not count.

    Parameters
    ----------
    jobs:
        Name -> what to time.
    rounds:
        Rounds that count.
    clock:
        The default counts the calling thread's own processor time, which others' load hardly touches; take
        ``time.perf_counter`` for jobs with threads or processes of their own.

    Returns
    -------
    dict
        Job -> seconds, one a round.
    """
    times: Times = {name: [] for name in jobs}
    for turn in range(rounds + 1):
        for name, job in jobs.items():
            start = clock()
            job()
            if turn:
                times[name].append(clock() - start)
    return times


def ratio(times: Times, one: str, other: str) -> float:
    """Return the median over the rounds of one job's time over another's."""
    return statistics.median(a / b for a, b in zip(times[one], times[other], strict=True))


def best_ratio(times: Times, one: str, other: str) -> float:
    """Return the ratio of the quickest rounds: for jobs of several processes, on a machine others use too."""
    return min(times[one]) / min(times[other])


def quickest_ratio(
    jobs: Mapping[str, Callable[[], Any]], one: str, other: str, enough: float, most: int = 40
) -> float:
    """Return the ratio of the quickest rounds, of as many as come below ``enough``, or ``most``.

    Others on the machine only ever make a round slower: a dear job stays above however many rounds there are.
    """
    times: Times = {name: [] for name in jobs}
    while len(times[one]) < most:
        for name, found in by_turns(jobs, 4).items():
            times[name] += found
        if best_ratio(times, one, other) < enough:
            break
    return best_ratio(times, one, other)


def exponent(job: Callable[[Any], Any], small: Any, large: Any, factor: float, rounds: int = 3) -> float:
    """Return how cost grows between two sizes, ``factor`` apart, as the power of the size."""
    times = by_turns({"small": lambda: job(small), "large": lambda: job(large)}, rounds)
    return math.log(ratio(times, "large", "small")) / math.log(factor)


WITHOUT_OPENTURNS = "OpenTURNS", "not installed (pip install openturns)"


def openturns_on_one_thread() -> Any:
    """Return the library, silent and without threads of its own, as ours are timed; None without it."""
    try:
        import openturns as ot
    except ImportError:
        return None
    ot.Log.Show(ot.Log.NONE)
    ot.TBB.Disable()
    return ot
