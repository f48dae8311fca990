"""What a run changes against the results that it replaces: verdicts, from what to what, and why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from explorer.errors import SquatlineError
from explorer.graph.words import in_unit
from explorer.results.records import SUMMARY_FILE, LimitRecord, Summary, load_summary

MOST_REASONS = 5


@dataclass(frozen=True)
class VerdictThen:
    """A verdict, and the probability behind it."""

    verdict: str
    probability: float


@dataclass(frozen=True)
class ChangedVerdict:
    """A limit whose verdict is another one than before.

    Attributes
    ----------
    before, after:
        None where the limit was not there.
    why:
        What changed of the limit itself, and of the inputs that reach it, in words; empty where nothing did.
    """

    limit: str
    before: VerdictThen | None
    after: VerdictThen | None
    why: tuple[str, ...]


def earlier_summary(folder: Path) -> Summary | None:
    """Return the summary that a run will replace; None where there is none that can be read."""
    if not (folder / SUMMARY_FILE).exists():
        return None
    try:
        return load_summary(folder)
    except SquatlineError:
        return None


def changed_verdicts(before: Summary, after: Summary) -> tuple[ChangedVerdict, ...]:
    """Compare two runs of a study, limit by limit, in the order of the later one."""
    old, new = ({limit.name: limit for limit in summary.limits} for summary in (before, after))
    changed = []
    for name in dict.fromkeys((*new, *old)):
        was, now = _found(old.get(name)), _found(new.get(name))
        if (was and was.verdict) != (now and now.verdict):
            why = tuple(_why(before, after, name)) if was and now else ()
            changed.append(ChangedVerdict(name, was, now, why))
    return tuple(changed)


def _found(limit: LimitRecord | None) -> VerdictThen | None:
    return None if limit is None else VerdictThen(limit.conformance.verdict, limit.conformance.probability)


def _why(before: Summary, after: Summary, name: str) -> Iterator[str]:
    """Say what is another than before, of what a limit hangs on."""
    was, now = (next(one for one in summary.limits if one.name == name) for summary in (before, after))
    if (was.low, was.high) != (now.low, now.high):
        yield "the bound is another"
    if was.probability != now.probability:
        yield f"{100 * now.probability:g} % is asked, in place of {100 * was.probability:g} %"
    old, new = (
        {one.key: in_unit(one.words, one.display_unit) for one in summary.inputs if name in one.reaches}
        for summary in (before, after)
    )
    for key in dict.fromkeys((*new, *old)):
        if old.get(key) != new.get(key):
            yield f"{key}: {new.get(key, 'not given')}, in place of {old.get(key, 'not given')}"
    if _pairs(before) != _pairs(after):
        yield "the correlations are others"
    for what, one, other in (
        ("models or program", before.reproduction.version, after.reproduction.version),
        ("samples", before.reproduction.samples, after.reproduction.samples),
        ("seed", before.reproduction.seed, after.reproduction.seed),
    ):
        if one != other:
            yield f"{what}: {other}, in place of {one}"


def _pairs(summary: Summary) -> set[tuple[str, str, float]]:
    return {(one.first, one.second, one.value) for one in summary.correlations}
