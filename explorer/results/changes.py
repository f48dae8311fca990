"""What a run changes against the results that it replaces: verdicts, from what to what, and why."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from explorer.errors import SquatlineError
from explorer.graph.words import in_unit
from explorer.graph.written import percent
from explorer.results.history import KEPT, EarlierRun, VerdictThen
from explorer.results.records import LimitRecord, Summary
from explorer.results.stored import SUMMARY_FILE, load_summary

MOST_REASONS = 5


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
            why = tuple(_why(before, after, (name,))) if was and now else ()
            changed.append(ChangedVerdict(name, was, now, why))
    return tuple(changed)


def with_history(before: Summary | None, after: Summary) -> Summary:
    """Go on with the runs that a summary knows of; one that repeats the last adds none."""
    if before is None:
        return after
    was, now = (
        (made.study_sha256, made.samples, made.seed, made.version)
        for made in (before.reproduction, after.reproduction)
    )
    if was == now:
        return replace(after, history=before.history)
    earlier = before.history or (_noted(before, ()),)
    common = [limit.name for limit in after.limits if limit.name in _names(before)]
    changed = [f"“{name}” is new" for name in sorted(_names(after) - _names(before))]
    changed += [f"“{name}” is gone" for name in sorted(_names(before) - _names(after))]
    changed += _why(before, after, common)
    return replace(after, history=(*earlier, _noted(after, tuple(changed)))[-KEPT:])


def _noted(summary: Summary, changed: tuple[str, ...]) -> EarlierRun:
    made = summary.reproduction
    verdicts = {
        one.name: VerdictThen(one.conformance.verdict, one.conformance.probability) for one in summary.limits
    }
    return EarlierRun(made.created, made.study_sha256, made.samples, verdicts, changed)


def _names(summary: Summary) -> set[str]:
    return {limit.name for limit in summary.limits}


def _found(limit: LimitRecord | None) -> VerdictThen | None:
    return None if limit is None else VerdictThen(limit.conformance.verdict, limit.conformance.probability)


def _why(before: Summary, after: Summary, names: Sequence[str]) -> Iterator[str]:
    """Say what is another than before, of what some limits hang on."""
    for name in names:
        was, now = (next(one for one in summary.limits if one.name == name) for summary in (before, after))
        of = f" of “{name}”" if len(names) > 1 else ""
        if (was.low, was.high) != (now.low, now.high):
            yield f"the bound{of} is another"
        if was.probability != now.probability:
            yield f"{percent(now.probability)}{of} is required, in place of {percent(was.probability)}"
    old, new = (
        {
            one.key: in_unit(one.words, one.display_unit)
            for one in summary.inputs
            if not set(names).isdisjoint(one.reaches)
        }
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
