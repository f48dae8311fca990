"""Every question of a builder in one line: the verdict, and the words for it."""

from __future__ import annotations

from collections.abc import Sequence

from explorer.graph.labels import label
from explorer.graph.quantity import MODEL_ERRORS
from explorer.results.records import LimitRecord, OutputRecord
from reports.blocks import Cell, Code, Column, Line, Link, Quiet, Section, Table, Verdict, cell
from reports.findings import found_words, required_words, slug, unfounded_words, worst
from reports.formatting import amount, every, range_amount
from reports.questions import FLIP, SPEED, Question, questions
from reports.report import Report, sentence, severity
from reports.sections import candidates, design

_TIGHTEST = 2
_MOST_FIGURES = 4


def build(report: Report) -> Section:
    """Print what a builder asks, a line each."""
    return Section("glance", "At a glance", (_glance(report),))


def _glance(report: Report) -> Table:
    """One row a question."""
    rows = [_asked(report, question) for question in questions(report.summary)]
    rows += [_how_hard(report), _what_to_build(report), _where_from(report), _how_exact(report)]
    return Table(
        "glance",
        "Median (90 % range): half of all cars have more than the median; nine in ten lie in the range.",
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
        return ("The study sets no limit on this.",)
    standing = [limit for limit in limits if limit.conformance.verdict != "pass"]
    if not standing:
        tightest = limits[0]
        start = "" if len(limits) == 1 else f"{every(len(limits))} limits pass. Tightest: "
        return (start, *_short(tightest))
    line: Line = ()
    for limit in standing[:_TIGHTEST]:
        line = (*line, *_short(limit), " ")
    left = len(standing) - _TIGHTEST
    return (*line, "And ", Link(f"{left} more", "verdicts"), ".") if left > 0 else line


def _short(limit: LimitRecord) -> Line:
    return (
        Link(limit.name, f"limit-{slug(limit.name)}"),
        f": met by {found_words(limit)}, {required_words(limit)} required.",
    )


def _speeds(report: Report, quantity: str) -> Line:
    """Print a speed that everybody asks for, in every condition that makes a difference to it."""
    line: Line = ()
    for output in _told_apart(report, quantity):
        quantiles = dict(output.quantiles)
        line = (
            *line,
            "; " if line else f"{sentence(label(quantity))[:-1]}: ",
            f"{report.swept(output.condition, 'speed', output.throttle)} ",
            amount(quantiles.get(0.5), output, spread=output.sd),
            " (",
            range_amount(quantiles.get(0.05), quantiles.get(0.95), output, spread=output.sd),
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
    middle = amount(dict(output.quantiles).get(0.5), output, spread=output.sd)
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
        " sets builds side by side, ",
        Code("squatline explore"),
        " looks for one.",
    )
    return (cell("What to build?"), cell(""), cell(*words))


def _where_from(report: Report) -> tuple[Cell, ...]:
    """Count the inputs that say nothing about where they come from."""
    summary = report.summary
    given = sum(not record.default for record in summary.inputs)
    words: Line = (
        unfounded_words(summary) or f"All {given} that the study gives have a source",
        " (",
        Link("inputs and sources", "inputs"),
        ").",
    )
    return (cell("Which numbers lack a source?"), cell(""), cell(*words))


def _how_exact(report: Report) -> tuple[Cell, ...]:
    """Print which models carry an error, or that all are taken as exact."""
    summary = report.summary
    errors = [one.name for one in summary.handbook if one.subject == MODEL_ERRORS and one.given]
    words = [
        f"{label(record.quantity)} {record.words}" for record in summary.inputs if record.quantity in errors
    ]
    said = "; ".join(words) or "No model is given an error: the formulas are taken as exact"
    return (cell("How wrong are the models?"), cell(""), cell(f"{said}."))
