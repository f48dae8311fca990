"""The first page: may we build it, may we run it, what first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from explorer.results import LimitRecord, OutputRecord
from reports.amounts import amount, range_amount, share, share_range
from reports.blocks import (
    Answer,
    Answers,
    Block,
    Cell,
    Column,
    Line,
    Link,
    Note,
    Paragraph,
    Section,
    Table,
    Verdict,
    cell,
)
from reports.findings import actions, by_severity, driver_words, first_driver, found_words, worst
from reports.report import Report, in_words, sentence

_NAMED = 3
_SPEEDS = ("top_speed", "front_lift_off_speed")
_ASKED_FIRST = (*_SPEEDS, "kinetic_energy")
_MOST_FIGURES = 5
NO_CLEARANCE = "A pass is a prediction from the inputs given here. It is never a clearance to run."


def build(report: Report) -> Section:
    """Answer the three questions a review opens with."""
    summary = report.summary
    blocks: list[Block] = []
    if summary.note:
        blocks.append(Note("About these data", (sentence(summary.note),)))
    if summary.description:
        blocks.append(Paragraph((sentence(summary.description),), lead=True))
    blocks.append(Answers((_may_build(report), _may_run(report), _what_first(report))))
    figures = _key_figures(report)
    if figures:
        blocks.append(figures)
    blocks += [Note("Caution", (sentence(text),)) for text in (*_unexplained(report), *summary.warnings)]
    return Section("decision", "Decision", tuple(blocks))


def _unexplained(report: Report) -> tuple[str, ...]:
    """Name every logged run that the model does not explain: what follows rests on that model."""
    found = report.summary.extra.get("validation") or ()
    records = [found] if isinstance(found, Mapping) else found
    return tuple(
        f"a logged run is not explained: {one.get('headline') or one['words']}"
        for one in records
        if not one["explains"]
    )


def _may_build(report: Report) -> Answer:
    summary = report.summary
    words = {
        "pass": "Nothing in this report speaks against it",
        "fail": "Not as it stands",
        "undecided": "Not shown yet",
    }
    why = _why(by_severity(summary), "Every limit holds as often as was asked.")
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
    why = (*why, *_headline(report, "candidates"))
    return Answer("May we build it?", Verdict(summary.verdict), words[summary.verdict], why)


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
    why = _why(safety, "Raise the speed in steps, and stop when the car does not do as predicted.")
    return Answer(
        "May we run it?",
        Verdict(verdict),
        words[verdict],
        (*why, *_headline(report, "highest_speed"), (NO_CLEARANCE,)),
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
    headline = _headline(report, "measuring")
    if headline:
        return Answer(
            "What first?",
            None,
            str(headline[0][0]),
            ((Link("What each measurement is worth", "measuring"), "."),),
        )
    driver = first_driver(report.summary)
    if driver is None:
        todo = actions(report)
        return Answer("What first?", None, "Nothing stands out", tuple(todo[:1]))
    words = {"fail": "Change or measure what drives the failing limit"}
    answer = words.get(driver.limit.conformance.verdict, "Measure what drives the tightest limit")
    return Answer("What first?", None, answer, (driver_words(report, driver),))


def _headline(report: Report, name: str) -> tuple[Line, ...]:
    """Return the one sentence of a later analysis, when the summary holds it."""
    found = report.summary.extra.get(name)
    words = sentence(str(found.get("headline") or "")) if isinstance(found, Mapping) else ""
    return ((words,),) if words else ()


def _key_figures(report: Report) -> Table | None:
    """Print what everybody asks first: how fast, and how hard it would hit."""
    seen: dict[tuple[object, ...], OutputRecord] = {}
    for output in report.summary.outputs:
        if output.quantity in _ASKED_FIRST and output.minus is None and output.capped < output.count / 2:
            # A condition that changes nothing about the quantity is not worth a second row.
            seen.setdefault((output.quantity, output.quantiles), output)
    if not seen:
        return None
    return Table(
        "key-figures",
        "What everybody asks first.",
        (
            Column("Figure", width=60),
            Column("Middle car", number=True, width=18),
            Column("9 in 10 cars", number=True, width=22),
        ),
        tuple(_key_figure(report, output) for output in list(seen.values())[:_MOST_FIGURES]),
        sortable=False,
        small=True,
    )


def _key_figure(report: Report, output: OutputRecord) -> tuple[Cell, ...]:
    quantiles, unit, given = dict(output.quantiles), output.unit, output.display_unit
    # A speed that is found does not hang on the speed the condition is run at.
    found = output.quantity in _SPEEDS
    where = report.swept(output.condition, "speed") if found else report.condition(output.condition)
    return (
        cell(f"{in_words(output.quantity)}, {where}"),
        cell(amount(quantiles.get(0.5), unit, given, spread=output.sd)),
        cell(range_amount(quantiles.get(0.05), quantiles.get(0.95), unit, given, spread=output.sd)),
    )
