"""Worker processes for one study after another: a change ends those at work, others are waiting already."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from threading import Lock

from explorer.engine.execution import Execution
from explorer.engine.processes import default_workers, end_at_once, pool_in_waiting


@dataclass
class AtWork:
    """Processes that compute for the latest study, and those that will for the next.

    Attributes
    ----------
    workers:
        How many compute at once; none of their own are started for fewer than one.
    """

    workers: int = field(default_factory=default_workers)
    _pools: list[ProcessPoolExecutor] = field(default_factory=list)
    _lock: Lock = field(default_factory=Lock)

    def begin(self) -> Execution:
        """Let go of what is under way, and return what the next study is computed on."""
        if self.workers < 1:
            return Execution()
        with self._lock:
            *at_work, waiting = self._pools or [pool_in_waiting(self.workers)]
            self._pools = [waiting, pool_in_waiting(self.workers)]
        for pool in at_work:
            end_at_once(pool)
        return Execution(self.workers, waiting)

    def end(self) -> None:
        """Let go of all of them."""
        with self._lock:
            pools, self._pools = self._pools, []
        for pool in pools:
            end_at_once(pool)
