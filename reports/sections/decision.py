"""The first page: may we run it, may we build it, what next, in a picture and three sentences."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from functools import partial

from explorer.estimators.conformance import Conformance
from explorer.estimators.two_levels import SHOWN, Sureness
from explorer.graph.labels import begun
from explorer.graph.written import listed, percent
from explorer.results.actions import found_build
from explorer.results.records import LimitRecord, Summary
from reports.blocks import (
    Answer,
    Answers,
    Block,
    Column,
    Figure,
    Heading,
    Line,
    Link,
    Note,
    Paragraph,
    Safety,
    Section,
    Strong,
    Table,
    Verdict,
    cell,
)
from reports.charts_of_limits import MOST_ROWS, LimitRow, limit_rows
from reports.findings import (
    VERDICTS,
    JudgedBuild,
    found_words,
    in_verbs,
    judged_build,
    met_words,
    required_words,
    unfounded_words,
    worst,
)
from reports.formatting import counted, every, left_between, share
from reports.report import NO_CLEARANCE, Report, is_yes_or_no, said, sentence, severity, told
from reports.sections import actions, sideview, speed_steps

_ACTIONS = 3
_WHERE = {"candidates": "candidates", "design": "the design space"}


def build(report: Report) -> Section:
    """Answer the three questions a review opens with."""
    summary = report.summary
    judged = judged_build(summary)
    blocks: list[Block] = []
    if summary.note:
        blocks.append(Note("About these data", (sentence(summary.note),)))
    blocks += _today(report)
    blocks += [Note("Read this first", line) for line in _unexplained(report)]
    blocks += [Note("Not finished", (sentence(one.words),)) for one in summary.unfinished]
    if judged.words:
        blocks.append(_chosen(report, judged))
    blocks.append(Answers((may_run(report), _may_build(judged, report.summary))))
    if judged.limits:
        blocks.append(picture(report, judged))
    blocks.append(Answers((_what_next(report),)))
    blocks += sideview.at_worst(report)
    blocks += [Note("Caution", told(text)) for text in summary.every_warning]
    if summary.description:
        blocks.append(Paragraph((sentence(summary.description),)))
    return Section("decision", "Decision", tuple(blocks))


def _today(report: Report) -> list[Block]:
    """Say what was read on the day, and stands in the place of what any day may bring."""
    read = report.summary.today
    line: Line = ()
    for one in read:
        assert one.any_day is not None
        name = report.input_name(one.key)
        line += (f"; {name} " if line else f"{begun(name)} ",)
        line += said(one.words, one)
        line += (" (any day: ", *said(one.any_day, one), ")")
    if not line:
        return []
    speeds = report.summary.highest_speed
    line += (". On another day verdicts and speeds are others.",)
    if speeds is None:
        line += (" No safety limit is set in a condition that is driven at a speed, so no speed follows.",)
    return [Note("Judged for today", line, tone="plain")]


def _chosen(report: Report, judged: JudgedBuild) -> Note:
    """Say whose verdicts these are when a build was chosen."""
    before = report.summary.verdict
    words = {"pass": "meets every limit too", "fail": "fails", "undecided": "is not shown to meet its limits"}
    search = found_build(report.summary) if judged.where == "design" else None
    best = search.optimum if search is not None else None
    line: Line = ()
    if search is not None and best is not None:
        values = actions.valued(zip(search.variables, best.values, strict=True))
        line = ("With ", *values, ", judged on cars that the search never saw. ")
    line = (*line, f"The car as the study has it {words[before]} (", Link("verdicts", "verdicts"), "); ")
    line = (*line, "the builds are compared under ", Link(_WHERE[judged.where], judged.where), ".")
    chosen = judged.words if best is not None else f"the recommended build, {judged.words}"
    return Note(f"Judged here: {chosen}", line, tone="plain")


def _unexplained(report: Report) -> tuple[Line, ...]:
    """Name every logged run that the model does not explain: what follows rests on that model."""
    return tuple(
        (
            "A logged run does not go as this study predicts (",
            Link(one.title, "validation"),
            "). All that follows rests on the same models and numbers, so find out why before relying on it.",
        )
        for one in report.summary.validation
        if not one.explains
    )


def may_run(report: Report) -> Answer:
    """Say whether the safety limits speak against running the car, with the one reason."""
    judged = judged_build(report.summary)
    question = "May we run it?"
    safety = sorted((limit for limit in judged.limits if limit.safety), key=severity)
    if not safety:
        reason = "The study marks no limit as a safety limit, so nothing here speaks for running the car."
        return Answer(question, Verdict("undecided"), "DO NOT RUN: this report cannot say", ((reason,),))
    verdict = worst(safety)
    words = {
        "pass": "May be run, under the cautions",
        "fail": "DO NOT RUN",
        "undecided": "DO NOT RUN YET",
    }
    every = (
        "Every safety limit is met in the prediction. Raise the speed in steps, and stop when the car does"
    )
    reason_line: Line = (f"{every} not do as predicted.",) if verdict == "pass" else met_words(safety[0])
    found = report.summary.highest_speed
    of_this = found is not None and found.build == judged.name
    states = found.states if found is not None and of_this else judged.speeds
    today: Line = ("Today: ",) if report.summary.today else ()
    speeds = ((*today, *speed_steps.headline(states, report.speed_unit)),) if states else ()
    return Answer(question, Verdict(verdict), words[verdict], (reason_line, *speeds, (NO_CLEARANCE,)))


def _may_build(judged: JudgedBuild, summary: Summary) -> Answer:
    words = {
        "pass": "Every requirement is met in the prediction",
        "fail": "Not as it stands",
        "undecided": "Not shown yet",
    }
    verdict = worst(judged.limits)
    why = [_counted(judged.limits)]
    if judged.joint is not None and len(judged.limits) > 1:
        why.append(f"{every(len(judged.limits))} are met at once by {_share(judged.joint)}.")
    lines: list[Line] = [(" ".join(why),)]
    if unfounded := unfounded_words(summary):
        lines.append(("Of its inputs, ", Link(unfounded, "inputs"), "."))
    return Answer("May we build it?", Verdict(verdict), words[verdict], tuple(lines))


def _share(found: Conformance) -> str:
    return (
        f"{share(found.probability, found.low, found.high)} of predicted cars "
        f"({left_between(found.low, found.high)})"
    )


def _counted(limits: Sequence[LimitRecord]) -> str:
    """Count the verdicts in words."""
    counts = Counter[str](limit.conformance.verdict for limit in limits)
    if len(counts) == 1:
        return f"{_all(limits)} {in_verbs(limits[0].conformance.verdict, len(limits))}."
    parts = [f"{counts[word]} {in_verbs(word, counts[word])}" for word in VERDICTS if counts[word]]
    return f"Of {len(limits)} limits, {listed(parts)}."


def _all(limits: Sequence[LimitRecord]) -> str:
    return "The limit" if len(limits) == 1 else f"{every(len(limits))} limits"


def _what_next(report: Report) -> Answer:
    todo = actions.action_lines(report, short=True)
    if not todo:
        return Answer("What next?", None, "No limit is open and every input has a source", ())
    shown = todo[:_ACTIONS]
    of = f" The first {len(shown)} of {counted(len(todo), 'action')}" if len(todo) > len(shown) else ""
    return Answer(f"What next?{of}", None, "", tuple(shown), numbered=True)


def picture(report: Report, judged: JudgedBuild) -> Figure:
    """Draw a row a limit, the one most in the way first."""
    limits = sorted(judged.limits, key=severity)
    rows = tuple(_row(report, limit) for limit in limits)
    each = " ".join(
        f"{row.name}{' (safety)' if row.safety else ''}: {row.verdict}, {row.words}." for row in rows
    )
    shares = any(is_yes_or_no(report.output(limit)) for limit in judged.limits)
    return Figure(
        name="limits",
        title=_finding(judged.limits),
        alternative=(f"A row a limit, with the distance of the cars from it. {each}",),
        caption=(
            "Each predicted car is one that yours could turn out to be. Upright line: the limit. Grey bar: "
            "nine cars in ten; dot: the median. Heavy bar: the car that decides; as many lie to its left as "
            "may miss the limit, counting those without an answer. Where it stands clearly right of the "
            "line, the limit passes",
            "; what is met or not, without a distance, has this bar alone." if shares else ".",
            *_not_drawn(limits[MOST_ROWS:]),
        ),
        draw=lambda: limit_rows(rows[:MOST_ROWS]),
    )


def _not_drawn(limits: Sequence[LimitRecord]) -> Line:
    """Count the limits least in the way, for which the picture has no room."""
    if not limits:
        return ()
    counts = Counter[str](limit.conformance.verdict for limit in limits)
    parts = [
        f"{counted(counts[word], 'limit')} that {in_verbs(word, counts[word])}"
        for word in VERDICTS
        if counts[word]
    ]
    return (f" Not drawn, for want of room: {listed(parts)} (", Link("all limits", "verdicts"), ").")


def _finding(limits: Sequence[LimitRecord]) -> str:
    """Say in the title of the picture what does not pass, and the worst of it."""
    first = min(limits, key=severity)
    verdict = first.conformance.verdict
    alike = [limit for limit in limits if limit.conformance.verdict == verdict]
    if verdict == "pass":
        return _counted(limits)[:-1]
    of = _all(limits) if len(alike) == len(limits) else f"{len(alike)} of {len(limits)} limits"
    worst = (
        ""
        if len(limits) == 1
        else f": “{first.name}”"
        if len(alike) == 1
        else f"; most in the way: “{first.name}”"
    )
    return f"{of} {in_verbs(verdict, len(alike))}{worst}"


def _row(report: Report, limit: LimitRecord) -> LimitRow:
    found = limit.conformance
    # Beside its row there is room for a few words; all that is known of a limit that asks sure stands below.
    sure = limit.sureness
    if sure is None:
        known, asked, required = found.probability, limit.probability, limit.probability
        words = f"{share(known, found.low, found.high)} meet it, {percent(asked)} required"
    else:
        known, asked, required = sure.at_least, sure.required, sure.sure
        words = f"{share(sure.often_enough, sure.low, sure.high)} sure, {percent(required)} required"
    row = partial(LimitRow, limit.name, found.verdict, words, limit.safety)
    if is_yes_or_no(report.output(limit)):
        from scipy.special import ndtri

        # Where a margin that scatters normally, and is met as often, would have its deciding car.
        place = float(ndtri(known) - ndtri(asked))
        return row(place, None, place, place)
    margin = found.margin
    if not margin.sd > 0:
        # All cars alike: they lie at one place, on one side.
        place = 1.0 if margin.mean >= 0 else -1.0
        return row(place, place, place, place if margin.surplus > -math.inf else margin.surplus)
    if sure is not None:
        return row(*(room / margin.sd for room in _rooms_of_cars(sure)))
    return row(*(value / margin.sd for value in (margin.low, margin.median, margin.high, margin.surplus)))


def _rooms_of_cars(sure: Sureness) -> tuple[float, float, float, float]:
    """Return the room that cars keep in as many runs as is required: poor, median, good, and deciding one."""
    from numpy import interp
    from scipy.special import ndtri

    kept = [float(interp(1 - sure.required, sure.levels, rooms)) for rooms in zip(*sure.family, strict=True)]
    poor, median, good = (room if math.isfinite(room) else -math.inf for room in kept)
    between = float(interp(ndtri(1 - sure.sure), ndtri(SHOWN), (poor, median, good)))
    # Read between three cars it may come to lie on the other side than what was counted.
    deciding = max(between, 0.0) if sure.at_least >= sure.required else min(between, -1e-9)
    return poor, median, good, deciding


def in_short(report: Report) -> tuple[Block, ...]:
    """Say the decision, then one line a limit, then what to do: for a terminal."""
    summary = report.summary
    judged = judged_build(summary)
    run = may_run(report)
    first, *others = run.why
    # Nobody may take the verdict on one build for that on another.
    whose = f" ({judged.words})" if judged.words else ""
    blocks: list[Block] = [*_today(report), Paragraph((Strong(f"{run.answer}{whose}: "), *first))]
    blocks += [Paragraph(line) for line in others]
    if judged.words:
        blocks.append(_chosen(report, judged))
    if judged.limits:
        blocks.append(_short_table(judged))
    built = _may_build(judged, report.summary)
    why = [part for line in built.why for part in (" ", *line)]
    blocks.append(Paragraph((f"{built.question} {sentence(built.answer)}", *why)))
    blocks += [Note("Read this first", line) for line in _unexplained(report)]
    blocks += [Note("Not finished", (sentence(one.words),)) for one in summary.unfinished]
    blocks += [Note("Caution", told(text)) for text in summary.every_warning]
    todo = actions.build(report)
    return (*blocks, Heading("What next?"), *todo.blocks)


def _short_table(judged: JudgedBuild) -> Table:
    return Table(
        "limits",
        "Predicted cars that meet each limit.",
        (Column("Verdict"), Column("Met by", number=True), Column("Required", number=True), Column("Limit")),
        tuple(
            (
                cell(Verdict(limit.conformance.verdict)),
                cell(found_words(limit)),
                cell(required_words(limit).removesuffix(",")),
                cell(limit.name, *((" ", Safety()) if limit.safety else ())),
            )
            for limit in judged.limits
        ),
    )
