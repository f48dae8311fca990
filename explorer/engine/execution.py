"""How a long run is executed: on which workers, whom it tells, and where its finished parts are kept."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from functools import partial

from explorer.engine.checkpoint import Checkpoint
from explorer.engine.plan import Part, Progress, in_order, no_progress
from explorer.engine.stages import Stages
from explorer.graph.arrays import Array


@dataclass(frozen=True)
class Execution:
    """How a long run is done: on which workers, told to whom, and where its parts are kept.

    Attributes
    ----------
    workers, executor:
        As for ``explorer.engine.plan.in_order``.  The numbers do not depend on them.
    progress:
        Called with the stage, what is done and what there is to do.
    checkpoint:
        Where finished parts are kept, so that a stopped run goes on; without a file nothing is kept.
    stages:
        What came to no result while the rest went on.
    """

    workers: int | None = None
    executor: Executor | None = None
    progress: Progress = no_progress
    checkpoint: Checkpoint = field(default_factory=Checkpoint)
    stages: Stages = field(default_factory=Stages)

    def in_order(
        self,
        job: Callable[[int], Part],
        count: int,
        stage: str = "",
        start: int = 0,
    ) -> Iterator[Part]:
        """Run a job for each index on the workers as ``plan.in_order`` does, told under a stage's name."""
        told = partial(self._told, stage, count) if stage else None
        return in_order(job, count, workers=self.workers, executor=self.executor, progress=told, start=start)

    def _told(self, stage: str, count: int, done: int) -> None:
        self.progress(stage, done, count)

    def parts(self, names: Sequence[str], compute: Callable[[int], Array], stage: str) -> Iterator[Array]:
        """Yield the part of each name.

        Parameters
        ----------
        names:
            Tell parts apart; they must hold every setting that the study does not.
        compute:
            Function of the position of a name; it travels to the workers where these are other processes.
        stage:
            What to call it in the progress report.
        """
        kept = self.checkpoint
        missing = [position for position, name in enumerate(names) if not kept.has(name)]
        fresh = self.in_order(partial(_at, compute, missing), len(missing))
        lacking = set(missing)
        for position, name in enumerate(names):
            if position in lacking:
                yield kept.put(name, next(fresh))
            else:
                yield kept.part(name, partial(compute, position))
            self.progress(stage, position + 1, len(names))

    def part(self, name: str, compute: Callable[[], Array]) -> Array:
        """Return one part, computed here unless it is there."""
        return self.checkpoint.part(name, compute)


def _at(compute: Callable[[int], Array], positions: Sequence[int], index: int) -> Array:
    return compute(positions[index])
