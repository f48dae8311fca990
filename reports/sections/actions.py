"""What is to be done, in order: one list for page one, the terminal and this section."""

from __future__ import annotations

from explorer.results.actions import Action, actions_of
from explorer.results.exploration import AnswerRecord
from explorer.results.records import LimitRecord
from reports.blocks import Block, Bullets, Code, Line, Link, Paragraph, Section, Strong
from reports.findings import without_source
from reports.formatting import amount, counted, listed, percent, share
from reports.report import Report, sentence
from reports.sections import measuring


def build(report: Report) -> Section:
    """List all that is to be done."""
    todo = action_lines(report)
    block: Block = (
        Bullets(tuple(todo), numbered=True)
        if todo
        else Paragraph(("No limit is open and every input has a source.",))
    )
    return Section("actions", "Open actions", (block,))


def action_lines(report: Report) -> list[Line]:
    """Say each thing to do, in the order to do it."""
    summary = report.summary
    lines = [_words(report, action) for action in actions_of(summary)]
    if summary.failures:
        samples = sum(record.count for record in summary.failures)
        lines.append(
            (
                f"Find out why {counted(samples, 'answer')} {'was' if samples == 1 else 'were'} missing (",
                Link("failed samples", "failures"),
                "); each counts against its limit until then.",
            )
        )
    missing = without_source(summary)
    if missing:
        names = ", ".join(report.input_name(record.key) for record in missing[:6])
        more = f" and {len(missing) - 6} more" if len(missing) > 6 else ""
        lines.append((f"Write down where these numbers come from: {names}{more}.",))
    return lines


def _words(report: Report, action: Action) -> Line:
    named = listed(f"“{name}”" for name in action.limits) if action.limits else ""
    plan = report.summary.measuring
    match action.todo:
        case "do not run":
            has = "safety limit has" if len(action.limits) == 1 else "safety limits have"
            return (Strong("Do not run the car as it stands"), f": the {has} not passed: {named}.")
        case "build":
            return (
                "Build ",
                Strong(action.candidate),
                " instead: it meets every limit in the prediction (",
                Link("candidates", "candidates"),
                ").",
            )
        case "change":
            return _change(report, action)
        case "measure":
            assert plan is not None
            method = "a home method of the catalogue, " if measuring.by_catalogue(report.summary) else ""
            line: Line = (
                f"{sentence(measuring.headline(plan))} ({method}",
                Link("measurements", "measuring"),
                ")",
            )
            unread = measuring.unread_words(measuring.unread_first(report.summary), most=4)
            return (*line, f". {sentence(unread)}") if unread else line
        case "draw more cars":
            more = f"{action.more:,}".replace(",", " ")
            command = f"{report.summary.reproduction.command} --samples {action.cars}"
            return (f"Draw about {more} more cars to decide {named}: ", Code(command), ".")
    found = _limit(report, action.limits[0]).conformance
    return (
        f"{named} is too close to call ({share(found.probability, found.low, found.high)} against "
        f"{percent(found.required)}): more cars will not decide it. Know an input better, leave more room, "
        "or relax the requirement and record why.",
    )


def _change(report: Report, action: Action) -> Line:
    """Say which value meets which limit, where none is known, and where measuring is no way out."""
    line: Line = ()
    for answer in action.answers:
        line = (*line, *_answered(answer))
    if action.unanswered:
        named = listed(f"“{name}”" for name in action.unanswered)
        fails, it = ("fails", "it") if len(action.unanswered) == 1 else ("fail", "them")
        line = (
            *line,
            f"{named} {fails}, and no change of the design is known to mend {it}: try candidates (",
            Code("squatline compare"),
            ") or ask which value would (",
            Code("squatline explore"),
            "), or relax the requirement and record why. ",
        )
    if action.clearly:
        named = listed(f"“{name}”" for name in action.clearly)
        line = (*line, f"Measuring cannot change the verdict on {named}. ")
    *rest, last = line
    return (*rest, last.rstrip() if isinstance(last, str) else last)


def _answered(answer: AnswerRecord) -> Line:
    variable = answer.variable
    broken = [f"“{one.name}” ({one.verdict})" for one in answer.others if one.verdict != "pass"]
    assert answer.choose is not None
    return (
        f"Set {variable.words} to ",
        amount(answer.choose, variable.unit, variable.display_unit, zeros=False),
        f" on the build “{answer.around}”: “{answer.limit}” then passes",
        f", but not {listed(broken)}. " if broken else ", and so does every other limit. ",
    )


def _limit(report: Report, name: str) -> LimitRecord:
    return next(limit for limit in report.summary.limits if limit.name == name)
