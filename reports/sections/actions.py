"""What is to be done, in order: one list for page one, the terminal and this section."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from explorer.graph.written import listed, percent
from explorer.results.actions import Action, Setting, actions_of
from explorer.results.exploration import VariableRecord
from explorer.results.records import LimitRecord, Summary
from reports.blocks import Block, Bullets, Code, Line, Link, Paragraph, Section, Strong
from reports.findings import in_verbs, judged_build, without_source
from reports.formatting import amount, count, counted, share
from reports.report import Report, in_words, sentence
from reports.sections import measuring

# Causes named of what is missing.
_FEW = 2


def build(report: Report) -> Section:
    """List all that is to be done."""
    todo = action_lines(report)
    block: Block = (
        Bullets(tuple(todo), numbered=True)
        if todo
        else Paragraph(("No limit is open and every input has a source.",))
    )
    return Section("actions", "What next, in full", (block,))


def action_lines(report: Report, *, short: bool = False) -> list[Line]:
    """Say each thing to do, in the order to do it; in short without what the whole list tells."""
    summary = report.summary
    found = actions_of(summary)
    lines = [_words(report, action, short) for action in found]
    if summary.failures and against_limits(report):
        # Where missing answers are most of what is missed, nothing else mends the limit.
        first = sum(action.todo == "do not run" for action in found)
        lines.insert(first if _mostly_missing(summary) else len(lines), _why_missing(report, short))
    missing = without_source(summary)
    if missing:
        names = ", ".join(report.input_name(record.key) for record in missing[:6])
        more = f" and {len(missing) - 6} more" if len(missing) > 6 else ""
        lines.append((f"Write down where these numbers come from: {names}{more}.",))
    return lines


def _mostly_missing(summary: Summary) -> bool:
    """Tell whether a limit does not pass, and half of the cars that miss it have no answer."""
    open_ones = [one.conformance for one in summary.limits if one.conformance.verdict != "pass"]
    return any(2 * one.failed >= one.trials - one.conforming for one in open_ones)


def _why_missing(report: Report, short: bool) -> Line:
    """Say how many answers are missing, and at length what gave up first and how to look into it."""
    counts: dict[tuple[str, str], int] = {}
    for record in report.summary.failures:
        cause = (record.quantity, record.meaning)
        counts[cause] = counts.get(cause, 0) + record.count
    most = sorted(counts, key=lambda cause: -counts[cause])
    samples = sum(counts.values())
    missing = f"Find out why {counted(samples, 'answer')} {'was' if samples == 1 else 'were'} missing ("
    link = Link("failed samples", "failures")
    if short:
        return (missing, link, f"); {against_limits(report)}.")
    reasons = [
        f"{in_words(name)}{f' ({meaning})' if meaning else ''}, {counted(counts[name, meaning], 'time')}"
        for name, meaning in most[:_FEW]
    ]
    more = f"; and {counted(len(most) - _FEW, 'further cause')}" if len(most) > _FEW else ""
    return (
        missing,
        link,
        f"); {against_limits(report)}. What gave up first: {'; '.join(reasons)}{more}. ",
        Code(f"squatline explain {most[0][0]} --study STUDY"),
        " says what it is made of, ",
        Code("squatline check STUDY"),
        " whether the nominal car has an answer. Narrow what cannot be true of the car.",
    )


def against_limits(report: Report) -> str:
    """Say how many missing answers count against a limit; empty where no limit asks for any of them."""
    outputs = {limit.output: report.output(limit) for limit in report.summary.limits}
    against = sum(output.failed for output in outputs.values())
    if against and against == sum(record.count for record in report.summary.failures):
        return "each counts against its limit"
    return f"{count(against)} of them count against a limit" if against else ""


def _words(report: Report, action: Action, short: bool) -> Line:
    named = _named(action.limits, short) if action.limits else ""
    plan = report.summary.measuring
    match action.todo:
        case "do not run":
            return (
                Strong("Do not run the car as it stands"),
                f": {_not_passed(report, action.limits, short)}.",
            )
        case "build":
            meets = " instead: it meets every limit in the prediction ("
            if action.candidate:
                where = Link("candidates", "candidates")
                return ("Build ", Strong(action.candidate), meets, where, ").")
            values = [(one.variable, one.value) for one in action.settings]
            where = Link("design space", "design")
            return ("Build ", Strong("the best build found"), ", ", *valued(values), ",", meets, where, ").")
        case "change":
            return _change(report, action, short)
        case "measure":
            assert plan is not None
            words = measuring.headline(plan)
            if action.worth is not None:
                words = measuring.worth_words(plan, action.worth)
            elif action.limits:
                many = len(action.limits) > 1
                pass_ = "pass" if many else "passes"
                if short and many:
                    known = "" if _are_all_open(report, action.limits) else " that fail as known so far"
                    named = f"the {len(action.limits)} safety limits{known}"
                words = f"no measurement listed is likely to show that {named} {pass_}"
                if plan.steps:
                    words = f"{measuring.headline(plan)}. {words[0].upper()}{words[1:]}"
            if judged_build(report.summary).words:
                words = f"for the car as it stands, {words[0].lower()}{words[1:]}"
            method = "a home method of the catalogue, " if measuring.by_catalogue(report.summary) else ""
            return (f"{sentence(words)[:-1]} ({method}", Link("measurements", "measuring"), ").")
        case "draw more cars":
            more = f"{action.more:,}".replace(",", " ")
            command = f"{report.summary.reproduction.command} --samples {action.cars}"
            return (f"Draw about {more} more cars to decide {named}: ", Code(command), ".")
    limit = _limit(report, action.limits[0])
    found = limit.conformance
    if limit.sureness is not None:
        return (f"{named} is too close to call: {found.decides}.",)
    return (
        f"{named} is too close to call ({share(found.probability, found.low, found.high)} against "
        f"{percent(found.required)}): more cars will not decide it. Know an input better, leave more room"
        f"{_or_relaxed(report, action.limits[:1])}.",
    )


def _are_all_open(report: Report, names: tuple[str, ...]) -> bool:
    """Tell whether these are all the limits for safety that have not passed."""
    safe = (limit for limit in report.summary.limits if limit.safety)
    return len(names) == sum(limit.conformance.verdict != "pass" for limit in safe)


def _not_passed(report: Report, names: tuple[str, ...], short: bool) -> str:
    """Say which limits for safety fail and which are undecided; in short several are counted."""
    if not names:
        return "no limit is marked for safety; mark those that must be met before anybody runs it"
    said = []
    for verdict in ("fail", "undecided"):
        found = tuple(name for name in names if _limit(report, name).conformance.verdict == verdict)
        verb = in_verbs(verdict, len(found))
        if len(found) == 1:
            said.append(f"the safety limit {_named(found)} {verb}")
        elif found:
            said.append(f"{len(found)} safety limits {verb}{'' if short else f': {_named(found)}'}")
    return "; ".join(said)


def _or_relaxed(report: Report, names: tuple[str, ...]) -> str:
    """Name the last way out, which no limit for safety has."""
    if any(_limit(report, name).safety for name in names):
        return ""
    return ", or relax the requirement and record why"


def _change(report: Report, action: Action, short: bool) -> Line:
    """Say which value meets which limit, where none is known, and where measuring is no way out."""
    line: Line = ()
    failing = action.limits if short else ()
    for setting in action.settings:
        words = setting_words(setting, failing=failing, others=others_of(report, setting))
        line = (*line, *words, *(() if short else _instead(setting)), " ")
    if short:
        known, link = _unanswered_in_short(report, action), Link("what next, in full", "actions")
        counted_ones = [names for one in action.settings for names in (one.limits, one.breaks)]
        line = (*line, known) if known else line
        if any(len(names) > 1 for names in (*counted_ones, action.unanswered)):
            line = (*line, "Each limit is named under ", link, ".")
        elif any(one.instead for one in action.settings):
            line = (*line, "Other settings stand under ", link, ".")
    elif action.unanswered:
        line = (*line, *_unanswered(report, action.unanswered))
    if action.clearly and not short:
        which = f"the verdict on {_named(action.clearly)}"
        if action.clearly == action.unanswered:
            which = "this verdict" if len(action.clearly) == 1 else "these verdicts"
        line = (*line, f"Measuring cannot change {which}. ")
    *rest, last = line
    return (*rest, last.rstrip() if isinstance(last, str) else last)


def others_of(report: Report, setting: Setting) -> bool:
    """Whether there are limits that a setting may cost: of a build any other, of the car those that pass."""
    return any(
        limit.name not in setting.limits and (setting.around or limit.conformance.verdict == "pass")
        for limit in report.summary.limits
    )


def valued(values: Iterable[tuple[VariableRecord, float]]) -> Line:
    """List variables of the design with their values."""
    line: Line = ()
    for variable, value in values:
        line += (f"{', ' if line else ''}{variable.words} ", amount(value, variable, zeros=False))
    return line


def setting_words(setting: Setting, *, failing: Collection[str] = (), others: bool = True) -> Line:
    """Say what to set, which limits then pass and which no longer do; in short where told what fails.

    Without ``others`` there is no limit that could be lost.
    """
    short = bool(failing)
    variable = setting.variable
    value = amount(setting.value, variable, zeros=False)
    start: Line = (f"Set {variable.words} to ", value, f" on the build “{setting.around}”")
    if not setting.around and variable.now is not None:
        now = amount(variable.now, variable, zeros=False)
        start = (f"Change {variable.words} from ", now, " to ", value)
    pass_ = "passes" if len(setting.limits) == 1 else "pass"
    named = "all that fail" if len(failing) > 1 and set(setting.limits) >= set(failing) else None
    words = f": {named or _named(setting.limits, short)} then {pass_}"
    if not setting.breaks:
        kept = "every other limit" if setting.around else "no limit that passes now is lost"
        return (*start, f"{words}, and {kept}." if others else f"{words}.")
    broken = _named(setting.breaks, short)
    lost = f"but {broken} {'does' if len(setting.breaks) == 1 else 'do'} not"
    if not setting.around:
        lost = f"but {broken} no longer {'passes' if len(setting.breaks) == 1 else 'pass'}"
    return (*start, f"{words}, {lost}.")


def _instead(setting: Setting) -> Line:
    """Name other levers that would do for the first limit of a setting."""
    line: Line = ()
    for variable, value in setting.instead:
        line += (" or " if line else "", f"{variable.words} to ")
        line += (amount(value, variable, zeros=False),)
    start = f" Or, for “{setting.limits[0]}” alone: " if len(setting.limits) > 1 else " Or instead: "
    return (start, *line, ".") if line else ()


def _unanswered_in_short(report: Report, action: Action) -> str:
    """Name the limits for safety for which no change is known, and count the others."""
    names = action.unanswered
    safe = [f"“{name}” (safety)" for name in names if _limit(report, name).safety]
    left = [name for name in names if not _limit(report, name).safety]
    others = [counted(len(left), "other limit" if safe else "limit")] if len(left) > 1 else [_named((*left,))]
    then = ": with these changes alone the car may not be run" if safe and action.settings else ""
    them = "it" if len(names) == 1 else "them"
    return (
        f"For {listed(filter(None, [*safe, *others]))} no change that mends {them} is known{then}. "
        if names
        else ""
    )


def _unanswered(report: Report, names: tuple[str, ...]) -> Line:
    """Say that no single change is known, and how to look for others."""
    fails, it = ("fails", "it") if len(names) == 1 else ("fail", "them")
    levers = report.summary.levers
    tried = levers is not None and any(
        effect.tried for lever in levers.levers for effect in lever.effects if effect.limit in names
    )
    known = "no single change that was tried mends" if tried else "no change of the design is known to mend"
    return (
        f"{_named(names)} {fails}, and {known} {it}: try candidates (",
        Code("squatline compare"),
        ") or ask which value would (",
        Code("squatline explore"),
        f"){_or_relaxed(report, names)}. ",
    )


def _named(names: tuple[str, ...], short: bool = False) -> str:
    """List names of limits; in short several are counted."""
    if short and len(names) > 1:
        return counted(len(names), "limit")
    return listed(f"“{name}”" for name in names) if names else ""


def _limit(report: Report, name: str) -> LimitRecord:
    return next(limit for limit in report.summary.limits if limit.name == name)
