"""The candidates side by side: verdicts, differences on the same cars, and which one to build."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any

from explorer.estimators.conformance import Conformance
from explorer.estimators.measuring import SIGNIFICANT, Expected
from explorer.estimators.paired_comparison import Difference, Pick
from explorer.graph.labels import label
from explorer.graph.written import chance, listed, percent
from explorer.results.comparison import CandidateResult, Comparison, DecisionResult, Subject
from reports.blocks import (
    SIGNS,
    Block,
    Bullets,
    Cell,
    Column,
    Figure,
    Heading,
    Line,
    Paragraph,
    Quiet,
    Safety,
    Section,
    Strong,
    Table,
    Verdict,
    cell,
)
from reports.charts_of_designs import Interval, intervals
from reports.findings import judged_words, slug
from reports.formatting import (
    Amount,
    Scale,
    amount,
    hours,
    range_amount,
    scale,
    share,
    share_range,
    times_in_100,
)
from reports.report import Report, noted, overridden, sentence

Names = Mapping[str, str]
_ALL = "all limits at once"
_HOW = (
    "All candidates are tried on the same cars, so what they share cancels out. The dot is the median car, "
    "the bar spans nine cars in ten, and the dashed line is no difference. A bar that stays on one side of "
    "it tells the two builds apart."
)


def build(report: Report) -> Section | None:
    """Print a comparison as it stands in the summary."""
    found = report.summary.candidates
    if found is None:
        return None
    names = {one.name: one.words for one in found.candidates}
    blocks: list[Block] = [
        Paragraph((Strong(headline(found)),), lead=True),
        _builds(found),
        _verdicts(report, found),
        *_differing(found, names),
        Heading("How they differ"),
        Paragraph((_HOW,), aside=True),
        *(_difference_figure(found, place, names) for place in range(len(found.subjects))),
        Heading("Which to build"),
        _ranks(found),
        *_decision(found, names),
    ]
    blocks += noted(found.notes)
    return Section("candidates", "Candidates compared", tuple(blocks))


def in_short(report: Report) -> list[Block]:
    """Say for a terminal which build to choose, how each stands on every limit, and what to do with it."""
    found = report.summary.candidates
    if found is None:
        return []
    names = {one.name: one.words for one in found.candidates}
    rows = [
        (
            cell(_limit(found, place), *((" ", Safety()) if found.safety[place] else ())),
            *(
                cell(SIGNS[one.limits[place].verdict], f" {_met_by(found, one, place)}")
                for one in found.candidates
            ),
        )
        for place in range(len(found.limits))
    ]
    return [
        Paragraph((Strong(headline(found)),)),
        Table(
            "candidates-in-short",
            "Predicted cars that meet each limit, the same cars for every build: ✓ passes, ✗ fails, ? is "
            "undecided.",
            (Column("Limit"), *(Column(one.words) for one in found.candidates)),
            tuple(rows),
        ),
        Bullets(_choice(found, names)),
    ]


def _met_by(found: Comparison, one: CandidateResult, place: int) -> str:
    judged, sure = one.limits[place], one.sureness.get(found.limits[place])
    if sure is not None:
        return share(sure.often_enough, sure.low, sure.high)
    return share(judged.probability, judged.low, judged.high)


def headline(found: Comparison) -> str:
    """Say who meets every limit, and what would turn the decision."""
    words = {one.name: one.words for one in found.candidates}
    passing = [one.words for one in found.candidates if one.verdict == "pass"]
    said = "No candidate meets every limit as it should."
    if found.recommended is not None:
        meet = "meets" if len(passing) == 1 else "meet"
        said = f"{len(passing)} of {len(words)} candidates {meet} every limit: {'; '.join(passing)}."
        if found.objectives and len(passing) > 1:
            said += f" Of these, {words[found.recommended]} has the {found.objectives[0].words}."
    if found.decision.inputs:
        first = found.decision.inputs[0]
        turns = times_in_100(first.worth.turns.value)
        said += f" Knowing the {first.label} first would change the recommendation {turns}."
    return said


def _builds(found: Comparison) -> Table:
    return Table(
        "builds",
        "What each candidate changes, and where the numbers come from.",
        (Column("Candidate", width=24), Column("Changes", width=40), Column("Source", width=36)),
        tuple(
            (
                cell(one.words),
                cell(*(overridden(one.overrides) or ("nothing",))),
                cell("; ".join(dict.fromkeys(each.source or "no source given" for each in one.overrides))),
            )
            for one in found.candidates
        ),
        small=True,
    )


def _verdicts(report: Report, found: Comparison) -> Table:
    """One row a limit, one column a candidate."""
    candidates = found.candidates
    rows = [
        (cell(_limit(found, place)), *(_judged(found, one, place) for one in candidates))
        for place in range(len(found.limits))
    ]
    rows.append((cell(_ALL), *(_held(one.joint) for one in candidates)))
    if any(found.safety):
        rows.append((cell("all safety limits at once"), *(_held(one.joint_safety) for one in candidates)))
    rows.append((cell("verdict on all limits"), *(cell(Verdict(one.verdict)) for one in candidates)))
    rows += [
        (cell(objective.name), *(_objective(found, one, place) for one in candidates))
        for place, objective in enumerate(found.objectives)
    ]
    rows += [
        (
            cell(f"all safety limits are met up to, {state.words}"),
            *(_speed(report, one.speeds[place].sure) for one in candidates),
        )
        for place, state in enumerate(candidates[0].speeds)
    ]
    return Table(
        "candidate-verdicts",
        "Each limit and objective for each candidate. Limits: the share of cars that meet it, and how well "
        "it is known (95 % interval). Objectives: the average car, and the range of nine in ten.",
        (Column("Limit or objective"), *(Column(one.words) for one in candidates)),
        tuple(rows),
        small=True,
        sortable=False,
    )


def _differing(found: Comparison, names: Names) -> tuple[Block, ...]:
    """Say which candidate meets what more often than which, one error for everything said."""
    rows: list[tuple[str, str, str]] = []
    for place, name in enumerate((*found.limits, _ALL)):
        beaten: dict[str, list[str]] = {}
        for pair in found.pairs:
            surer = (*pair.verdicts, pair.all_limits)[place].surer
            if surer != "neither":
                both = names[pair.first], names[pair.second]
                better, worse = both if surer == "first" else both[::-1]
                beaten.setdefault(better, []).append(worse)
        rows += [(name, better, listed(worse)) for better, worse in beaten.items()]
    if not rows:
        return (
            Paragraph(("On these cars no two candidates differ clearly in how often they meet a limit.",)),
        )
    whole = [f"more often by {better} than by {worse}" for name, better, worse in rows if name == _ALL]
    said = "; ".join(whole) or "by no candidate clearly more often than by another"
    return (
        Paragraph((f"{sentence(_ALL)[:-1]} are met {said}.",)),
        Table(
            "differing",
            f"Clear differences on these cars. In 19 cases of 20 none of all "
            f"{len(found.pairs) * (len(found.limits) + 1)} comparisons is wrong.",
            (Column("Limit"), Column("Met more often by"), Column("Than by")),
            tuple(tuple(map(cell, row)) for row in rows),
            small=True,
            aside=True,
        ),
    )


def _limit(found: Comparison, place: int) -> str:
    name, required = found.limits[place], percent(found.required[place])
    asked = found.candidates[0].sureness.get(name)
    surely = "" if asked is None else f", {percent(asked.sure)} sure"
    return f"{name} ({required}{surely} required)"


def _judged(found: Comparison, one: CandidateResult, place: int) -> Cell:
    judged, sure = one.limits[place], one.sureness.get(found.limits[place])
    return cell(Verdict(judged.verdict), " ", *judged_words(judged, sure))


def _held(found: Conformance | None) -> Cell:
    return cell("") if found is None else cell(*judged_words(found, None))


def _objective(found: Comparison, one: CandidateResult, place: int) -> Cell:
    objective, result = found.objectives[place], one.objectives[place]
    if objective.display_unit == "%":
        # A share of cars with its interval, written as any other.
        return cell(
            share(result.mean, result.low, result.high), Quiet(f" {share_range(result.low, result.high)}")
        )
    # A tenth of the spread between cars: finer than that, an average tells a builder nothing.
    spread = max(2 * result.error, (result.high - result.low) / 33)
    return cell(
        amount(result.mean, objective, spread=spread), Quiet(range_amount(result.low, result.high, objective))
    )


def _speed(report: Report, speed: float | None) -> Cell:
    return cell("no speed") if speed is None else cell(report.speed(speed))


def _difference_figure(found: Comparison, place: int, names: Names) -> Figure:
    subject = found.subjects[place]
    pairs = [
        (f"{names[pair.first]} minus {names[pair.second]}", one.difference)
        for pair in found.pairs
        for one in pair.differences
        if one.subject == place
    ]
    caption: Line = ()
    for name, difference in pairs:
        better = share(difference.better, difference.better_low, difference.better_high)
        caption = (*caption, f"{name}: ", _shift(difference, subject), f", better in {better} of cars. ")
    return Figure(
        name=f"difference-{slug(subject.label)}-{place}",
        title=subject.label + (" (margin)" if subject.by_margin else ""),
        alternative=(
            f"Differences between candidates in {subject.label}: "
            + "; ".join(name for name, _ in pairs)
            + ".",
        ),
        caption=caption,
        draw=partial(_chart, subject, pairs),
        scales=lambda system: (scale(subject, system, difference=True),),
        numbers=_numbers(subject, pairs),
    )


def _chart(subject: Subject, pairs: list[tuple[str, Difference]], shown: Scale) -> dict[str, Any]:
    return intervals(
        [Interval(name, *map(shown.value, (one.low, one.median, one.high))) for name, one in pairs],
        axis=shown.titled(f"difference, {subject.better} is better"),
    )


def _shift(difference: Difference, subject: Subject) -> Amount:
    return amount(difference.mean, subject, spread=difference.sd, difference=True, plus=True)


def _numbers(subject: Subject, pairs: list[tuple[str, Difference]]) -> Table:
    return Table(
        "differences",
        f"Differences in {subject.label}",
        (
            Column("Between"),
            Column("On average", number=True),
            Column("Nine cars in ten", number=True),
            Column("First is better", number=True),
        ),
        tuple(
            (
                cell(name),
                cell(_shift(one, subject), order=one.mean),
                cell(range_amount(one.low, one.high, subject, spread=one.sd, difference=True), order=one.low),
                cell(share(one.better, one.better_low, one.better_high), order=one.better),
            )
            for name, one in pairs
        ),
        small=True,
    )


def _ranks(found: Comparison) -> Table:
    """Say how often each is the best of all, and which to expect most of."""
    return Table(
        "ranks",
        "How often each candidate is the best of all on the same car, and which is best on average.",
        (Column("By"), *(Column(one.words) for one in found.candidates), Column("Best on average")),
        tuple(
            (
                cell(one.by),
                *(
                    cell(share(row[0], low, high))
                    for row, low, high in zip(
                        one.ranking.shares, one.ranking.best_low, one.ranking.best_high, strict=True
                    )
                ),
                cell(_pick(found, one.ranking.pick)),
            )
            for one in found.rankings
        ),
        small=True,
        sortable=False,
    )


def _pick(found: Comparison, pick: Pick | None) -> str:
    if pick is None:
        return "no answer"
    one = found.candidates[pick.chosen]
    barred = "; not to be run: a safety limit is not passed" if _open_safety(found, one) else ""
    # Rounding makes a doubt of one in many millions none at all.
    sure = chance(min(pick.confidence, 1 - 1e-9))
    return f"{one.words} ({'' if sure.startswith('more') else 'at least '}{sure} sure){barred}"


def _decision(found: Comparison, names: Names) -> list[Block]:
    decision = found.decision
    lines = list(_choice(found, names))
    for one in found.candidates:
        if one.dominated_by:
            better = ", ".join(names[name] for name in one.dominated_by)
            lines.append((f"{one.words} is no better anywhere than: {better}.",))
        if one.without_effect:
            idle = ", ".join(map(label, one.without_effect))
            lines.append((f"{one.words}: no limit and no objective depends on {idle}.",))
    blocks: list[Block] = [Bullets(tuple(lines))]
    if decision.measurements or decision.inputs:
        blocks.append(_worth(decision))
    return blocks


def _choice(found: Comparison, names: Names) -> tuple[Line, ...]:
    """Say which build is recommended, which is best on average, and which must not be run."""
    return (
        ("No candidate passes every limit, so none is recommended.",)
        if found.recommended is None
        else ("Recommended: ", Strong(names[found.recommended]), "."),
        *_best_on_average(found, names),
    )


def _best_on_average(found: Comparison, names: Names) -> list[Line]:
    """Name the safe build that is best by the aim, and say which builds must not be run."""
    best, by = found.decision.best, found.decision.by
    lines: list[Line] = []
    if best is not None and best == found.recommended:
        lines = [(f"Of those that pass every safety limit it also has the best average: {by}.",)]
    elif best is not None:
        missed = [
            f"“{limit}”"
            for one in found.candidates
            if one.name == best
            for limit, own in zip(found.limits, one.limits, strict=True)
            if own.verdict != "pass"
        ]
        but = f", which does not pass {listed(missed)}" if missed else ""
        lines = [(f"Of those that pass every safety limit {names[best]} has the best average, {by}{but}.",)]
    return [*lines, *_not_to_run(found)]


def _not_to_run(found: Comparison) -> list[Line]:
    return [
        (Strong(f"Do not run {_car(one)}: "), f"it has not passed {listed(missed)}.")
        for one in found.candidates
        if (missed := _open_safety(found, one))
    ]


def _car(one: CandidateResult) -> str:
    return f"“{one.words}”" if one.overrides else "the car as it stands"


def _open_safety(found: Comparison, one: CandidateResult) -> list[str]:
    return [
        f"“{limit}”"
        for limit, safety, own in zip(found.limits, found.safety, one.limits, strict=True)
        if safety and own.verdict != "pass"
    ]


def _worth(decision: DecisionResult) -> Table:
    """Say what knowing something before choosing would be worth."""
    rows = [("everything", decision.everything)]
    rows += [(f"the {one.label} ({hours(one.hours)})", one.worth) for one in decision.measurements]
    rows += [(f"the {one.label}, exactly", one.worth) for one in decision.inputs]
    return Table(
        "decision-gain",
        "Before choosing, would it help to know more? What knowing each would gain on average, and in how "
        "many cars it would change the choice.",
        (
            Column("Known before choosing", width=50),
            Column("Gain", number=True, width=24),
            Column("Would change the recommendation in", number=True, width=26),
        ),
        tuple(
            (
                cell(name),
                _gain(worth.gain, decision),
                cell(f"{_turns(worth.turns)} of cars", order=worth.turns.value),
            )
            for name, worth in rows
        ),
        small=True,
    )


def _gain(gain: Expected, decision: DecisionResult) -> Cell:
    """Write what is gained; what lies within its error of zero is no gain that shows."""
    if gain.value <= SIGNIFICANT * gain.error:
        return cell(Quiet("none that shows"), order=0.0)
    shown = amount(gain.value, decision, spread=gain.error, difference=True)
    return cell(shown, order=gain.value)


def _turns(turns: Expected) -> str:
    return share(
        turns.value, max(0.0, turns.value - 2 * turns.error), min(1.0, turns.value + 2 * turns.error)
    )
