"""The runs of a study so far: when, what was another than the time before, and every verdict."""

from __future__ import annotations

from dataclasses import dataclass

# Runs that are kept, the latest ones.
KEPT = 10


@dataclass(frozen=True)
class VerdictThen:
    """A verdict, and the probability behind it."""

    verdict: str
    probability: float


@dataclass(frozen=True)
class EarlierRun:
    """One run of the study, the one that is looked at among them.

    Attributes
    ----------
    created, study_sha256, samples:
        Date, digest of the study and cars drawn.
    verdicts:
        What was found of each limit, by name.
    changed:
        What was another than in the run before, in words; empty for the first.
    """

    created: str
    study_sha256: str
    samples: int
    verdicts: dict[str, VerdictThen]
    changed: tuple[str, ...] = ()
