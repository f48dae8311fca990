"""What must not depend on who computed a run."""

from __future__ import annotations

from explorer.engine.montecarlo import Outcome


def fingerprint(outcome: Outcome) -> list[object]:
    """Everything of an outcome that must not depend on who computed it."""
    tallies = [*outcome.tallies, *outcome.margins]
    return [
        outcome.conforming,
        outcome.samples,
        [(t.count, t.failed, t.mean, t.second, t.lowest, t.highest, t.counts.tolist()) for t in tallies],
        {name: values.tobytes() for name, values in outcome.kept.items()},
    ]
