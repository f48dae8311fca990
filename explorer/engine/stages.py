"""How long each stage of a command takes."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field


@dataclass
class Stages:
    """Wall time of each stage, in order."""

    times: list[tuple[str, float]] = field(default_factory=list)

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Time what is done inside."""
        start = time.perf_counter()
        try:
            yield
        finally:
            self.times.append((name, time.perf_counter() - start))
