"""The first page: may we build it, may we run it, what first."""

from __future__ import annotations

from collections.abc import Sequence

from explorer.results.records import LimitRecord, OutputRecord
from reports.blocks import (
    Answer,
    Answers,
    Block,
    Cell,
    Code,
    Column,
    Line,
    Link,
    Note,
    Paragraph,
    Quiet,
    Section,
    Table,
    Verdict,
    cell,
)
from reports.findings import (
    actions,
    by_severity,
    driver_words,
    first_driver,
    found_words,
    slug,
    without_source,
    worst,
)
from reports.formatting import amount, counted, percent, range_amount, share, share_range
from reports.questions import FLIP, SPEED, Question, questions
from reports.report import NO_CLEARANCE, Report, in_words, sentence, severity
from reports.sections import candidates, design, measuring, speed_steps

_NAMED = 3
_TIGHTEST = 2
_MOST_FIGURES = 4


def build(report: Report) -> Section:
    """Answer the three questions a review opens with, then all a builder asks at a glance."""
    summary = report.summary
    blocks: list[Block] = []
    if summary.note:
        blocks.append(Note("About these data", (sentence(summary.note),)))
    blocks += [Note("Read this first", line) for line in _unexplained(report)]
    blocks += [Note("Not finished", (sentence(one.words),)) for one in summary.unfinished]
    if summary.description:
        blocks.append(Paragraph((sentence(summary.description),), lead=True))
    blocks.append(Answers((_may_build(report), _may_run(report), _what_first(report))))
    blocks.append(_glance(report))
    blocks += [Note("Caution", (sentence(text),)) for text in summary.warnings]
    return Section("decision", "Decision", tuple(blocks))


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


def _may_build(report: Report) -> Answer:
    summary = report.summary
    words = {
        "pass": "Nothing in this report speaks against it",
        "fail": "Not as it stands",
        "undecided": "Not shown yet",
    }
    why: tuple[Line, ...] = ((_counted(summary.limits),),)
    if summary.joint is not None:
        all_hold = summary.joint
        why = (
            *why,
            (
                f"All {len(summary.limits)} limits hold at once in "
                f"{share(all_hold.probability, all_hold.low, all_hold.high)} of cars "
                f"({share_range(all_hold.low, all_hold.high)}).",
            ),
        )
    return Answer("May we build it?", Verdict(summary.verdict), words[summary.verdict], why)


def _counted(limits: Sequence[LimitRecord]) -> str:
    """Count the verdicts in words."""
    verdicts = [limit.conformance.verdict for limit in limits]
    passed, failed = verdicts.count("pass"), verdicts.count("fail")
    open_ones = len(verdicts) - passed - failed
    if passed == len(verdicts):
        return "Every limit holds as often as was asked."
    parts = [f"{passed} {'holds' if passed == 1 else 'hold'} as often as was asked"]
    parts += [f"{failed} {'does' if failed == 1 else 'do'} not"] if failed else []
    parts += [f"{open_ones} {'is' if open_ones == 1 else 'are'} undecided"] if open_ones else []
    return f"Of {counted(len(verdicts), 'limit')}, {', '.join(parts)}."


def _may_run(report: Report) -> Answer:
    safety = [limit for limit in by_severity(report.summary) if limit.safety]
    if not safety:
        return Answer(
            "May we run it?",
            Verdict("undecided"),
            "This report cannot say",
            (("The study marks no limit as a safety limit, so nothing here speaks for running the car.",),),
        )
    verdict = worst(safety)
    words = {
        "pass": "The safety limits are predicted to hold",
        "fail": "No: a safety limit fails",
        "undecided": "Not yet: a safety limit is not decided",
    }
    found = report.summary.highest_speed
    speeds = () if found is None else (speed_steps.headline(found, report.speed_unit),)
    why = _why(safety, "Raise the speed in steps, and stop when the car does not do as predicted.")
    return Answer(
        "May we run it?",
        Verdict(verdict),
        words[verdict],
        (*why, *speeds, (NO_CLEARANCE,)),
    )


def _why(limits: Sequence[LimitRecord], otherwise: str) -> tuple[Line, ...]:
    """Name the limits that stand in the way, or say that none does."""
    open_limits = [limit for limit in limits if limit.conformance.verdict != "pass"]
    if not open_limits:
        return ((otherwise,),)
    named = tuple(
        (Verdict(limit.conformance.verdict), " ", *found_words(limit)) for limit in open_limits[:_NAMED]
    )
    left = len(open_limits) - _NAMED
    if left <= 0:
        return named
    return (*named, (f"And {left} more: see the ", Link("verdicts", "verdicts"), "."))


def _what_first(report: Report) -> Answer:
    plan = report.summary.measuring
    if plan is not None:
        return Answer(
            "What first?",
            None,
            sentence(measuring.headline(plan)),
            ((Link("What each measurement is worth", "measuring"), "."),),
        )
    driver = first_driver(report.summary)
    if driver is None:
        todo = actions(report)
        ranked = any(limit.sensitivity for limit in report.summary.limits)
        words = "Nothing stands out" if ranked else "Nothing was ranked"
        return Answer("What first?", None, words, tuple(todo[:1]))
    answers = {"fail": "Change or measure what drives the failing limit"}
    answer = answers.get(driver.limit.conformance.verdict, "Measure what drives the tightest limit")
    return Answer("What first?", None, answer, (driver_words(report, driver),))


def _glance(report: Report) -> Table:
    """Print what a builder asks, a line each: the verdict, and the words for it."""
    rows = [_asked(report, question) for question in questions(report.summary)]
    rows += [_how_hard(report), _what_to_build(report), _where_from(report)]
    return Table(
        "glance",
        "At a glance. The middle car: half of all cars have more, half less. In brackets: nine cars in ten.",
        (Column("Question", width=26), Column("Verdict", width=14), Column("Answer", width=60)),
        tuple(row for row in rows if row),
        sortable=False,
        small=True,
    )


def _asked(report: Report, question: Question) -> tuple[Cell, ...]:
    limits = sorted(question.limits, key=severity)
    figures = {SPEED: "top_speed", FLIP: "front_lift_off_speed"}.get(question.words, "")
    line = (*_speeds(report, figures), *_limits_line(limits))
    verdict = cell(Verdict(worst(limits))) if limits else cell(Quiet("no limit"))
    return (cell(question.words), verdict, cell(*line))


def _limits_line(limits: Sequence[LimitRecord]) -> Line:
    """Name the limits that stand in the way, or the tightest where none does."""
    if not limits:
        return ("Not asked: the study sets no limit on this.",)
    standing = [limit for limit in limits if limit.conformance.verdict != "pass"]
    if not standing:
        tightest = limits[0]
        every = "Both" if len(limits) == 2 else f"All {len(limits)}"
        start = "" if len(limits) == 1 else f"{every} limits hold as often as asked. Tightest: "
        return (start, *_short(tightest))
    line: Line = ()
    for limit in standing[:_TIGHTEST]:
        line = (*line, *_short(limit), " ")
    left = len(standing) - _TIGHTEST
    return (*line, "And ", Link(f"{left} more", "verdicts"), ".") if left > 0 else line


def _short(limit: LimitRecord) -> Line:
    found = limit.conformance
    return (
        Link(limit.name, f"limit-{slug(limit.name)}"),
        f" in {share(found.probability, found.low, found.high)} of cars, "
        f"asked: in {percent(limit.probability)}.",
    )


def _speeds(report: Report, quantity: str) -> Line:
    """Print a speed that everybody asks for, in every condition that makes a difference to it."""
    line: Line = ()
    for output in _told_apart(report, quantity):
        quantiles = dict(output.quantiles)
        unit, given = output.unit, output.display_unit
        line = (
            *line,
            "; " if line else f"{sentence(in_words(quantity))[:-1]}: ",
            f"{report.swept(output.condition, 'speed')} ",
            amount(quantiles.get(0.5), unit, given, spread=output.sd),
            " (",
            range_amount(quantiles.get(0.05), quantiles.get(0.95), unit, given, spread=output.sd),
            ")",
        )
    return (*line, ". ") if line else ()


def _told_apart(report: Report, quantity: str) -> list[OutputRecord]:
    """List the distributions of a quantity; a condition that changes nothing about it is left out."""
    seen: dict[tuple[float, ...], OutputRecord] = {}
    for output in report.summary.outputs:
        if output.quantity == quantity and not output.is_difference and output.capped < output.count / 2:
            seen.setdefault(tuple(value for _, value in output.quantiles), output)
    return list(seen.values())[:_MOST_FIGURES]


def _how_hard(report: Report) -> tuple[Cell, ...]:
    """Print how hard the fastest car would hit."""
    found = _told_apart(report, "kinetic_energy")
    if not found:
        return ()
    output = max(found, key=lambda one: one.highest)
    middle = amount(dict(output.quantiles).get(0.5), output.unit, output.display_unit, spread=output.sd)
    return (
        cell("How hard would it hit?"),
        cell(Quiet("no limit")),
        cell("With ", middle, f" of kinetic energy, {report.condition(output.condition)}."),
    )


def _what_to_build(report: Report) -> tuple[Cell, ...]:
    words: Line = ()
    summary = report.summary
    if summary.candidates is not None:
        words = (candidates.headline(summary.candidates), " (", Link("more", "candidates"), ") ")
    if summary.design is not None:
        words = (
            *words,
            *design.headline(summary.design, report.limit_names),
            " (",
            Link("more", "design"),
            ") ",
        )
    words = words or (
        "Nothing is compared yet: ",
        Code("squatline compare"),
        " holds builds against each other, ",
        Code("squatline explore"),
        " looks for one.",
    )
    return (cell("What to build?"), cell(""), cell(*words))


def _where_from(report: Report) -> tuple[Cell, ...]:
    """Count the inputs that say nothing about where they come from."""
    missing = len(without_source(report.summary))
    given = sum(not record.default for record in report.summary.inputs)
    link = Link("inputs and sources", "inputs")
    words: Line = (f"All {given} that the study gives have a source (", link, ").")
    if missing:
        words = (f"{missing} of {given} that the study gives have no source (", link, ").")
    return (cell("Which numbers lack a source?"), cell(""), cell(*words))
