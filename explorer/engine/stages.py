"""How long each stage of a command takes, and which of them came to no result."""

from __future__ import annotations

import time
from collections.abc import Iterator
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field

from explorer.errors import ClusterError, SquatlineError

LONGEST_REASON = 500


@dataclass(frozen=True)
class StageFailure:
    """A stage that came to no result: what it was to find, and why it did not, in one line."""

    stage: str
    why: str

    @property
    def words(self) -> str:
        """Say that its results, and only these, are missing."""
        return f"“{self.stage}” came to no result, all else stands: {self.why}"


@dataclass
class Stages:
    """Wall time of each stage, in order; failures of those that others do not rest on, with their errors."""

    times: list[tuple[str, float]] = field(default_factory=list)
    failures: list[StageFailure] = field(default_factory=list)
    errors: list[Exception] = field(default_factory=list)

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Time what is done inside."""
        start = time.perf_counter()
        try:
            yield
        finally:
            self.times.append((name, time.perf_counter() - start))

    @contextmanager
    def analysis(self, name: str) -> Iterator[None]:
        """Time what is made of results at hand; where it fails, nothing but its own results is missing."""
        with self.stage(name):
            try:
                yield
            except Exception as error:  # whatever it is, what was computed before must not be lost to it
                self.errors.append(error)
                self.failures.append(StageFailure(name, _reason(error)))


def _reason(error: Exception) -> str:
    """Say in one line what went wrong, and whether that is a fault of the program."""
    error = told_for_users(error)
    parts = (" ".join(line.split()) for line in str(error).splitlines())
    words = "; ".join(filter(None, parts))[:LONGEST_REASON]
    if isinstance(error, SquatlineError):
        return words
    return f"a fault of the program itself, {type(error).__name__}: {words}"


def told_for_users(error: Exception) -> Exception:
    """Return an error of lost workers as one that a user can act on, any other as it is."""
    if isinstance(error, BrokenProcessPool):
        return ClusterError(
            "a worker process ended before its work was done",
            remedy="look whether memory ran out; run again with fewer --workers, or with --engine threads",
        )
    # Told by its name: its library is there only where it is asked for.
    if type(error).__name__ == "KilledWorker":
        return ClusterError(
            "a chunk was lost again and again: every worker it was given to ended",
            remedy="look into the workers' logs; most often their memory is too small",
        )
    return error
