"""The first page: may we build it, may we run it, what first."""

from __future__ import annotations

from collections.abc import Sequence

from explorer.results import LimitRecord
from reports.amounts import share, share_range
from reports.blocks import Answer, Answers, Block, Line, Link, Note, Paragraph, Section, Verdict
from reports.findings import actions, by_severity, driver_words, first_driver, found_words, worst
from reports.report import Report, sentence

_NAMED = 3
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
    blocks += [Note("Caution", (sentence(text),)) for text in summary.warnings]
    return Section("decision", "Decision", tuple(blocks))


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
    return Answer("May we run it?", Verdict(verdict), words[verdict], (*why, (NO_CLEARANCE,)))


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
    headline = _measuring_headline(report)
    if headline:
        return Answer(
            "What first?",
            None,
            sentence(headline),
            ((Link("What each measurement is worth", "measuring"), "."),),
        )
    driver = first_driver(report.summary)
    if driver is None:
        todo = actions(report)
        return Answer("What first?", None, "Nothing stands out", tuple(todo[:1]))
    words = {"fail": "Change or measure what drives the failing limit"}
    answer = words.get(driver.limit.conformance.verdict, "Measure what drives the tightest limit")
    return Answer("What first?", None, answer, (driver_words(report, driver),))


def _measuring_headline(report: Report) -> str:
    measuring = report.summary.extra.get("measuring")
    return str(measuring.get("headline", "")) if isinstance(measuring, dict) else ""
