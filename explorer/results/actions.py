"""What is left to do, in the order to do it: picked from what a run, a comparison and questions have found.

A share of spread is a doubt, not a lever: only a candidate that was tried, or a value that was asked for, is
offered as a change of the design.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from explorer.estimators.conformance import two_digits
from explorer.results.exploration import AnswerRecord
from explorer.results.records import LimitRecord, Summary

Todo: TypeAlias = Literal["do not run", "build", "change", "measure", "draw more cars", "too close to call"]


@dataclass(frozen=True)
class Action:
    """One thing to do, or to leave.

    Attributes
    ----------
    todo:
        What kind of thing it is.
    limits:
        Names of the limits that it is about.
    candidate:
        Words of the candidate to build, which meets every limit.
    answers:
        Values that were asked for and meet a limit that fails, one a limit.
    unanswered:
        Names of failing limits for which no change that meets them is known.
    clearly:
        Those of the failing limits that no measurement can change.
    more, cars:
        About how many more cars to draw, and how many that makes in all.
    """

    todo: Todo
    limits: tuple[str, ...]
    candidate: str = ""
    answers: tuple[AnswerRecord, ...] = ()
    unanswered: tuple[str, ...] = ()
    clearly: tuple[str, ...] = ()
    more: int = 0
    cars: int = 0


def actions_of(summary: Summary) -> tuple[Action, ...]:
    """List what is to be done about the limits: what not to run, what to change, measure, and draw."""
    plan = summary.measuring
    steps = plan.steps if plan is not None else ()
    measured = tuple(dict.fromkeys(name for step in steps[:1] for name in step.limits))
    found = [*_do_not_run(summary), *_change(summary)]
    if plan is not None and (steps or summary.verdict != "pass"):
        found.append(Action("measure", measured))
    return (*found, *_decide(summary))


def _with_verdict(summary: Summary, verdict: str) -> list[LimitRecord]:
    """Return the limits with a verdict, those of safety first."""
    limits = [limit for limit in summary.limits if limit.conformance.verdict == verdict]
    return sorted(limits, key=lambda limit: not limit.safety)


def _do_not_run(summary: Summary) -> list[Action]:
    named = [
        limit.name
        for verdict in ("fail", "undecided")
        for limit in _with_verdict(summary, verdict)
        if limit.safety
    ]
    return [Action("do not run", tuple(named))] if named else []


def _change(summary: Summary) -> list[Action]:
    """Offer the candidate that meets every limit; else each value that was found to meet one."""
    failing = tuple(limit.name for limit in _with_verdict(summary, "fail"))
    known = summary.candidates
    for one in known.candidates if known is not None else ():
        recommended = known is not None and one.name == known.recommended and _meets(summary, known.limits)
        # A candidate that changes nothing is the car as it stands.
        if recommended and one.overrides and summary.verdict != "pass":
            return [Action("build", failing, candidate=one.words)]
    if not failing:
        return []
    asked = summary.design.answers if summary.design is not None else ()
    chosen = {one.limit: one for one in reversed(asked) if one.choose is not None and one.limit in failing}
    plan = summary.measuring
    clearly = {one.limit for one in plan.outlooks if one.prospect == "fails clearly"} if plan else set()
    return [
        Action(
            "change",
            failing,
            answers=tuple(chosen[name] for name in failing if name in chosen),
            unanswered=tuple(name for name in failing if name not in chosen),
            clearly=tuple(name for name in failing if name in clearly),
        )
    ]


def _meets(summary: Summary, compared: tuple[str, ...]) -> bool:
    """Tell whether the builds were compared on all limits of this run."""
    return {limit.name for limit in summary.limits} <= set(compared)


def _decide(summary: Summary) -> list[Action]:
    found = []
    for limit in _with_verdict(summary, "undecided"):
        more = limit.conformance.more_samples
        if more is None:
            found.append(Action("too close to call", (limit.name,)))
        else:
            about = two_digits(more)
            cars = limit.conformance.trials + about
            found.append(Action("draw more cars", (limit.name,), more=about, cars=cars))
    return found
