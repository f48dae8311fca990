"""Worker processes for one study after another: a change lets go of those at work, others wait already."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from threading import Lock

from explorer.engine.execution import Execution
from explorer.engine.packing import Packed
from explorer.engine.processes import default_workers, let_go, pool_in_waiting
from explorer.study.study import Study


def _unpacked(study: Study, number: int) -> None:
    pass


@dataclass
class AtWork:
    """Processes that compute for the latest study, and those that will for the next.

    Attributes
    ----------
    workers:
        How many compute at once; none of their own are started for fewer than one.
    """

    workers: int = field(default_factory=default_workers)
    _computing: ProcessPoolExecutor | None = None
    _waiting: ProcessPoolExecutor | None = None
    _lock: Lock = field(default_factory=Lock)

    def begin(self, study: Study) -> Execution:
        """Let go of what is under way, and return what this study is computed on."""
        if self.workers < 1:
            return Execution()
        with self._lock:
            at_work, chosen = self._computing, self._waiting or self._started(study)
            self._computing, self._waiting = chosen, None
        if at_work is not None:
            let_go(at_work)
        return Execution(self.workers, chosen)

    def get_ready(self, study: Study, execution: Execution) -> None:
        """Start those that wait for the next study, once, unless this one is no longer computed."""
        with self._lock:
            if self._computing is not None and self._computing is execution.executor:
                self._waiting = self._waiting or self._started(study)

    def _started(self, study: Study) -> ProcessPoolExecutor:
        # Whoever has unpacked this study has imported what the next one reads.
        return pool_in_waiting(self.workers, partial(Packed.of(partial(_unpacked, study)), [0]))

    def end(self) -> None:
        """Let go of all of them."""
        with self._lock:
            pools, self._computing, self._waiting = (self._computing, self._waiting), None, None
        for pool in filter(None, pools):
            let_go(pool)
