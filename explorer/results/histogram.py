"""The bars of a distribution."""

from __future__ import annotations

from dataclasses import dataclass

# Bars of a histogram in the report; the streamed one is finer, for the quantiles.
BARS = 50


@dataclass(frozen=True)
class Histogram:
    """Counts between edges, one fewer than edges; samples outside are in ``below`` and ``above``."""

    edges: tuple[float, ...]
    counts: tuple[int, ...]
    below: int = 0
    above: int = 0
