"""What the results say together: which limit stands in the way, what drives it, what is left to do.

Only picks and orders what the run found; computes nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from explorer.estimators.conformance import Conformance, Verdict, worst_verdict
from explorer.estimators.sensitivity import Index
from explorer.estimators.two_levels import Sureness
from explorer.graph.written import chance, listed, percent
from explorer.results.actions import found_build
from explorer.results.comparison import CandidateResult
from explorer.results.exploration import OptimumRecord, SpeedResult
from explorer.results.records import InputRecord, LimitRecord, Summary
from explorer.study.builds import AS_IT_STANDS
from explorer.study.usual import ASSUMED
from reports.blocks import Line, Link, Quiet
from reports.formatting import left_between, share, share_range
from reports.report import severity

# An input below this share of the spread is not worth naming in a sentence.
WORTH_NAMING = 0.05
# A share of cars without an answer that is said beside the verdict.
_WORTH_SAYING = 0.01
# How a source begins that says itself that it is none.
GUESSES = ("made up", "guess")


# Each verdict as the verb of one limit, and of several.
VERDICTS = {
    "pass": ("passes", "pass"),
    "fail": ("fails", "fail"),
    "undecided": ("is undecided", "are undecided"),
}


def in_verbs(verdict: str, limits: int) -> str:
    """Say what so many limits do."""
    return VERDICTS[verdict][limits != 1]


@dataclass(frozen=True)
class Driver:
    """An input and how much of one limit's spread it answers for."""

    limit: LimitRecord
    index: Index


@dataclass(frozen=True)
class JudgedBuild:
    """The build that the first page speaks of: one that was chosen, or the car as the study has it.

    ``words`` names it and is empty for the study's own car; ``where`` is the section that compares builds,
    ``speeds`` how fast a candidate may go.
    """

    words: str
    limits: tuple[LimitRecord, ...]
    joint: Conformance | None
    where: str = ""
    speeds: tuple[SpeedResult, ...] = ()

    @property
    def name(self) -> str:
        """Its words, as the speeds that were looked for have them."""
        return self.words or AS_IT_STANDS.words


def judged_build(summary: Summary) -> JudgedBuild:
    """Pick the recommended candidate, or the best build found, if they are judged on this run's limits."""
    found = summary.candidates
    names = {limit.name for limit in summary.limits}
    for one in found.candidates if found is not None and names <= set(found.limits) else ():
        # One that sets nothing is the car as the study has it.
        if found is not None and one.name == found.recommended and one.overrides:
            limits = _with_verdicts_of(one, found.limits, summary)
            return JudgedBuild(one.words, limits, one.joint, "candidates", one.speeds)
    if (search := found_build(summary)) and search.optimum is not None:
        best = search.optimum
        limits = _with_verdicts_of(best, search.limits, summary)
        return JudgedBuild("the best build found", limits, best.all_limits, "design")
    return JudgedBuild("", summary.limits, summary.joint)


def _with_verdicts_of(
    build: CandidateResult | OptimumRecord, names: Sequence[str], summary: Summary
) -> tuple[LimitRecord, ...]:
    by_name = dict(zip(names, build.limits, strict=True))
    return tuple(
        replace(limit, conformance=by_name[limit.name], sureness=build.sureness.get(limit.name))
        for limit in summary.limits
    )


def by_severity(summary: Summary) -> list[LimitRecord]:
    """List the limits, the one most in the way first."""
    return sorted(summary.limits, key=severity)


def worst(limits: Sequence[LimitRecord]) -> Verdict:
    """Return the worst verdict among some limits."""
    return worst_verdict([limit.conformance.verdict for limit in limits])


def leading(limit: LimitRecord) -> Driver | None:
    """Return the input that answers for most of a limit's spread, when any is worth naming."""
    if limit.sensitivity is None or not limit.sensitivity.varies:
        return None
    index = limit.sensitivity.indices[0]
    return Driver(limit, index) if index.total.value >= WORTH_NAMING else None


def leading_inputs(summary: Summary, most: int) -> list[str]:
    """List the inputs that matter most to the limits, those of the limits most in the way first."""
    best: dict[str, float] = {}
    for limit in by_severity(summary):
        weight = {"fail": 1.0, "undecided": 1.0, "pass": 0.5}[limit.conformance.verdict]
        for index in limit.sensitivity.indices if limit.sensitivity else ():
            for member in index.members or (index.name,):
                best[member] = max(best.get(member, 0.0), weight * index.total.value)
    ordered = sorted(best, key=lambda key: -best[key])
    return [key for key in ordered if best[key] >= WORTH_NAMING / 2][:most]


def behind_results(summary: Summary) -> frozenset[str]:
    """Name every quantity that a limit, an output or a curve rests on."""
    needs = {entry.name: entry.needs for entry in summary.handbook}
    found: set[str] = set()
    left = [one.quantity for one in summary.outputs] + [one.quantity for one in summary.sweeps]
    left += [limit.quantity for limit in summary.limits]
    while left:
        name = left.pop()
        if name not in found:
            found.add(name)
            left += needs.get(name, ())
    return frozenset(found)


def without_source(summary: Summary) -> list[InputRecord]:
    """List inputs that say nothing about where they come from, the most influential first."""
    order = {key: position for position, key in enumerate(leading_inputs(summary, len(summary.inputs)))}
    missing = [record for record in summary.inputs if record.source is None and not record.default]
    return sorted(missing, key=lambda record: order.get(record.key, len(order)))


def unfounded(source: str | None) -> bool:
    """Whether what an input says of its source shows that nobody has measured it or looked it up."""
    return source is None or source.startswith(ASSUMED) or source.lower().startswith(GUESSES)


def assumed(summary: Summary) -> list[InputRecord]:
    """List the inputs that are drawn from what is usual, for want of better."""
    return [record for record in summary.inputs if (record.source or "").startswith(ASSUMED)]


def guessed(summary: Summary) -> list[InputRecord]:
    """List the inputs whose source says itself that it is none."""
    return [one for one in summary.inputs if (one.source or "").lower().startswith(GUESSES)]


def unfounded_words(summary: Summary) -> str:
    """Count the inputs that nobody has looked up or measured on this car; empty where there are none."""
    given = sum(not record.default for record in summary.inputs)
    counted = (
        (len(without_source(summary)), f"of {given} that the study gives", "has", "have", "no source"),
        (len(assumed(summary)), f"of {given}", "is", "are", "assumed from what is usual"),
        (len(guessed(summary)), "", "is", "are", "made up or guessed"),
    )
    said = [
        " ".join(filter(None, (str(count), whole, one if count == 1 else more, words)))
        for count, whole, one, more, words in counted
        if count
    ]
    return listed(said) if said else ""


def met_words(limit: LimitRecord) -> Line:
    """Say what was found against what is required."""
    found, sure, without = limit.conformance, limit.sureness, without_answer(limit)
    named: Line = ("“", Link(limit.name, f"limit-{slug(limit.name)}"))
    if sure is not None:
        return (*named, f"” is met in {in_both_words(sure)}; {required_words(limit)} required.")
    return (
        *named,
        f"” is met by {share(found.probability, found.low, found.high)} of predicted cars "
        f"({left_between(found.low, found.high)}){without and f', and {without}'}; "
        f"{percent(limit.probability)} must meet it.",
    )


def without_answer(limit: LimitRecord) -> str:
    """Say which share of cars has no answer, so that it misses the limit; empty where hardly any has none."""
    found = limit.conformance
    lacking = found.failed / found.trials
    return f"{chance(lacking)} give no answer" if lacking >= _WORTH_SAYING else ""


def in_both_words(sure: Sureness) -> str:
    """Say in how many runs a limit holds over all cars, and in how many as surely as is asked."""
    return (
        f"{of_100(sure.average)} of 100 runs ({percent(sure.sure)} sure: in at least "
        f"{of_100(sure.at_least)}, known to lie from {of_100(sure.at_least_low)} to "
        f"{of_100(sure.at_least_high)})"
    )


def of_100(share_of_runs: float) -> str:
    """Count runs of 100: never all of them where some fail, nor none where some hold."""
    count = 100 * share_of_runs
    return (
        f"{count:.0f}" if count in (0, 100) or 0.5 <= count <= 99.5 else f"{min(max(count, 0.1), 99.9):.1f}"
    )


def judged_words(found: Conformance, sure: Sureness | None) -> Line:
    """Say what was found of a build's limit, with its interval; of one that asks ``sure`` both words."""
    if sure is None:
        return (
            share(found.probability, found.low, found.high),
            Quiet(f" {share_range(found.low, found.high)}"),
        )
    often = share(sure.often_enough, sure.low, sure.high)
    return (
        in_both_words(sure),
        Quiet(f" {often} of cars often enough, {share_range(sure.low, sure.high)}"),
    )


def found_words(limit: LimitRecord) -> str:
    """Say in a few words what was found of a limit: a share of cars, or both words of one that asks sure."""
    found = limit.conformance
    if limit.sureness is not None:
        return in_both_words(limit.sureness)
    return share(found.probability, found.low, found.high)


def required_words(limit: LimitRecord) -> str:
    """Say what is required of a limit: in how many cars, or in how many runs and how surely."""
    asked = percent(limit.probability)
    return asked if limit.sureness is None else f"{asked}, {percent(limit.sureness.sure)} sure,"


def slug(name: str) -> str:
    """Turn a name into an address inside the page."""
    kept = "".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in name.lower())
    return "-".join(part for part in kept.split("-") if part) or "unnamed"
