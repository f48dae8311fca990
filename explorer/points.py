"""Many points of a design on one bench, on all processors, each kept when it is done."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np

from explorer.assessment import Assessment
from explorer.bench import Bench
from explorer.checkpoint import PartStore
from explorer.engine import Progress, in_order, no_progress
from explorer.errors import StudyError
from explorer.quantity import Array
from explorer.units import from_si, plain, with_unit

Point = tuple[float, ...]

# Points handed to a worker at a time.
BLOCK = 8
MOST_POINTS = 100_000
# Evaluations in all: half a day on two processors.
MOST_EVALUATIONS = 20_000_000_000


def assess_points(
    bench: Bench,
    points: Sequence[Point],
    *,
    stage: str = "points",
    workers: int | None = None,
    progress: Progress = no_progress,
    store: PartStore | None = None,
) -> list[Assessment]:
    """Assess points in the order given; what was assessed before is not computed again.

    Parameters
    ----------
    stage:
        What to call it in the progress report.

    """
    kept = PartStore() if store is None else store
    blocks = [points[start : start + BLOCK] for start in range(0, len(points), BLOCK)]

    def block(index: int) -> Array:
        own = blocks[index]
        return np.stack([assess_one(bench, point, kept).packed() for point in own])

    rows = in_order(
        block,
        len(blocks),
        workers=workers,
        progress=lambda done: progress(stage, min(done * BLOCK, len(points)), len(points)),
    )
    return [Assessment.unpacked(row) for part in rows for row in part]


def assess_one(bench: Bench, point: Point, store: PartStore) -> Assessment:
    """Assess one point, unless that was done before."""
    name = hashlib.sha256(f"{bench.settings} {point}".encode()).hexdigest()
    return Assessment.unpacked(store.part(name, lambda: bench.assess(point).packed()))


def check_count(count: int, samples: int, key: str, told: str, remedy: str) -> None:
    """Refuse more points than can be worked through.

    Parameters
    ----------
    told:
        How the count comes about, in words.

    Raises
    ------
    StudyError
        With the count and the remedy.

    """
    if count > MOST_POINTS:
        raise StudyError(
            "too many points are asked for",
            key=key,
            found=f"{count:,} points ({told})".replace(",", " "),
            allowed=f"up to {MOST_POINTS:,} points".replace(",", " "),
            remedy=remedy,
        )
    if count * samples > MOST_EVALUATIONS:
        raise StudyError(
            "too many evaluations are asked for",
            key=key,
            found=f"{count:,} points of {samples:,} samples".replace(",", " "),
            allowed=f"up to {MOST_EVALUATIONS:,} evaluations in all".replace(",", " "),
            remedy="ask for fewer samples a point, or fewer points",
        )


def value_words(value: float, unit: str) -> str:
    """Write an SI value in a unit, to three significant digits."""
    return with_unit(plain(float(from_si(value, unit)), 3), unit)
