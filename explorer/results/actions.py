"""What is left to do, in the order to do it: picked from what a run, a comparison and questions have found.

A share of spread is a doubt, not a lever: only a candidate that was tried, a value that was asked for, or the
setting of a lever at which a limit was seen to pass, is offered as a change of the design.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from explorer.estimators.conformance import two_digits
from explorer.estimators.measuring import Worth
from explorer.results.exploration import AnswerRecord, SearchRecord, VariableRecord
from explorer.results.records import LimitRecord, Summary

# A measurement that turns the verdict of an open safety limit less often than this is not offered for it.
LIKELY = 0.1
# Other levers named beside the best.
ALTERNATIVES = 2

Todo: TypeAlias = Literal["do not run", "build", "change", "measure", "draw more cars", "too close to call"]


@dataclass(frozen=True)
class Setting:
    """A value of one variable at which limits pass, alone.

    Attributes
    ----------
    value:
        In SI.
    around:
        Words of the build whose other inputs are kept; empty for the car as it stands.
    limits:
        Names of those that pass there, and did not before.
    breaks:
        Names of those that do not pass there: of any build asked about, or only those that did before.
    instead:
        Other levers, each with the value at which the first of these limits passes as well, the best first.
    """

    variable: VariableRecord
    value: float
    around: str
    limits: tuple[str, ...]
    breaks: tuple[str, ...]
    instead: tuple[tuple[VariableRecord, float], ...] = ()


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
        Words of the candidate to build, which meets every limit; empty where a search found the build.
    settings:
        Values at which failing limits pass, each alone; of a build that was found all together.
    unanswered:
        Names of failing limits for which no change that meets them is known.
    clearly:
        Those of the failing limits that no measurement can change.
    worth:
        The measurement likeliest to turn the verdict of an open safety limit, and what it does to it.
    more, cars:
        About how many more cars to draw, and how many that makes in all.
    """

    todo: Todo
    limits: tuple[str, ...]
    candidate: str = ""
    settings: tuple[Setting, ...] = ()
    unanswered: tuple[str, ...] = ()
    clearly: tuple[str, ...] = ()
    worth: Worth | None = None
    more: int = 0
    cars: int = 0


def actions_of(summary: Summary) -> tuple[Action, ...]:
    """List what is to be done about the limits: what not to run, what to change, measure, and draw.

    Where no limit is one for safety, nothing speaks for running the car: "do not run" then names none.
    """
    return (*_do_not_run(summary), *_change(summary), *_measure(summary), *_decide(summary))


def _measure(summary: Summary) -> list[Action]:
    """Offer what is likeliest to show that an open safety limit passes; where nothing is, the plan."""
    plan = summary.measuring
    if plan is None:
        return []
    # One that passes as known so far wants more cars: what changes nothing would show that it passes.
    passing = {one.limit for one in plan.outlooks if one.passes_now}
    unsafe = tuple(name for name in _open_safety(summary) if name not in passing)
    turning = [one for one in plan.worths if one.limit in unsafe and one.after.passes.value >= LIKELY]
    if turning:
        best = max(turning, key=lambda one: one.after.passes.value)
        return [Action("measure", (best.limit,), worth=best)]
    if not plan.steps and all(one.passes_now or one.fails_clearly for one in plan.outlooks):
        return []
    return [Action("measure", unsafe)]


def _with_verdict(summary: Summary, verdict: str) -> list[LimitRecord]:
    """Return the limits with a verdict, those of safety first."""
    limits = [limit for limit in summary.limits if limit.conformance.verdict == verdict]
    return sorted(limits, key=lambda limit: not limit.safety)


def _do_not_run(summary: Summary) -> list[Action]:
    named = _open_safety(summary)
    return [Action("do not run", named)] if named or not summary.safety_names else []


def _open_safety(summary: Summary) -> tuple[str, ...]:
    """Name the safety limits that have not passed, those that fail first."""
    return tuple(
        limit.name
        for verdict in ("fail", "undecided")
        for limit in _with_verdict(summary, verdict)
        if limit.safety
    )


def _change(summary: Summary) -> list[Action]:
    """Offer the candidate that meets every limit; else each value that was found to meet one."""
    failing = tuple(limit.name for limit in _with_verdict(summary, "fail"))
    known = summary.candidates
    for one in known.candidates if known is not None else ():
        recommended = known is not None and one.name == known.recommended and _meets(summary, known.limits)
        # A candidate that changes nothing is the car as it stands.
        if recommended and one.overrides and summary.verdict != "pass":
            return [Action("build", failing, candidate=one.words)]
    if summary.verdict != "pass" and (best := found_build(summary)):
        values = zip(best.variables, best.optimum.values if best.optimum else (), strict=True)
        settings = tuple(Setting(variable, value, "", (), ()) for variable, value in values)
        return [Action("build", failing, settings=settings)]
    if not failing:
        return []
    settings = _settings(summary, failing)
    rescued = {name for one in settings for name in one.limits}
    plan = summary.measuring
    clearly = {one.limit for one in plan.outlooks if one.fails_clearly} if plan else set()
    return [
        Action(
            "change",
            failing,
            settings=settings,
            unanswered=tuple(name for name in failing if name not in rescued),
            clearly=tuple(name for name in failing if name in clearly),
        )
    ]


def found_build(summary: Summary) -> SearchRecord | None:
    """Return the search whose best build passed every limit of this run on fresh cars, if there is one."""
    found = summary.design.search if summary.design is not None else None
    if found is None or found.optimum is None or not _meets(summary, found.limits):
        return None
    return found if all(one.verdict == "pass" for one in found.optimum.limits) else None


def _settings(summary: Summary, failing: tuple[str, ...]) -> tuple[Setting, ...]:
    """Return what was asked for, else the best setting of a lever, for each failing limit not met before."""
    asked = summary.design.answers if summary.design is not None else ()
    found: list[Setting] = []
    for name in failing:
        if any(name in one.limits for one in found):
            continue
        answers = [_asked(one) for one in asked if one.limit == name and one.choose is not None]
        found += answers[:1] or _levers(summary, name, failing)
    # Of two settings of one variable the one that does more stands for both.
    return tuple(one for one in found if not any(_does_more(other, one) for other in found))


def _does_more(one: Setting, other: Setting) -> bool:
    same = one.variable == other.variable and one.around == other.around
    return same and set(one.limits) > set(other.limits)


def _asked(answer: AnswerRecord) -> Setting:
    assert answer.choose is not None
    breaks = tuple(one.name for one in answer.others if one.verdict != "pass")
    return Setting(answer.variable, answer.choose, answer.around, (answer.limit,), breaks)


def _levers(summary: Summary, name: str, failing: tuple[str, ...]) -> list[Setting]:
    """Return the best setting of a single lever at which a limit passes, with others that would do."""
    safety = set(summary.safety_names)
    found = summary.levers.rescues(name, safety) if summary.levers is not None else ()
    # A change that costs a safety limit is none to be advised.
    free = [(lever.variable, rescue) for lever, rescue in found if not set(rescue.breaks) & safety]
    return [
        Setting(
            variable,
            rescue.value,
            "",
            (name, *(one.name for one in rescue.others if one.verdict == "pass" and one.name in failing)),
            rescue.breaks,
            tuple((other, also.value) for other, also in free[1 : 1 + ALTERNATIVES]),
        )
        for variable, rescue in free[:1]
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
