"""What `compare` and `explore` print: candidates side by side, speeds, answers, maps and the best build."""

from __future__ import annotations

from collections.abc import Sequence

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from explorer.console.terminal import MARKS, STYLES, difference_shown, percent, shown
from explorer.estimators.conformance import Conformance, Verdict
from explorer.estimators.paired_comparison import ChoiceWorth
from explorer.results.comparison import CandidateResult, Comparison, PairResult
from explorer.results.exploration import (
    AnswerRecord,
    DesignPoint,
    Exploration,
    HighestSpeeds,
    MapRecord,
    SearchRecord,
    StateSpeed,
)
from reports.terminal import screen

MAP_MARKS: dict[Verdict, str] = {"pass": "#", "undecided": "?", "fail": "."}
SHOWN_OF_FRONT = 8
SHOWN_INPUTS = 5


def show_comparison(found: Comparison) -> None:
    """Print the candidates side by side, their differences, ranks, and what would change the choice."""
    out = screen()
    out.print(Text(found.headline, style="bold"))
    out.print(_candidates_table(found))
    out.print(_differences_table(found))
    out.print(_ranks_table(found))
    _show_choice(out, found)
    for one in found.candidates:
        if one.dominated_by:
            better = ", ".join(_words(found, name) for name in one.dominated_by)
            out.print(Text(f"! {one.words} is nowhere better than {better}"))
    for note in found.notes:
        out.print(Text(f"! {note}"))


def _words(found: Comparison, name: str) -> str:
    return next(one.words for one in found.candidates if one.name == name)


def _candidates_table(found: Comparison) -> Table:
    table = Table(box=SIMPLE_HEAD)
    table.add_column("holds with")
    for one in found.candidates:
        table.add_column(Text(one.words))
    for k, name in enumerate(found.limits):
        safety = " (safety)" if found.safety[k] else ""
        heading = f"{name}{safety}, required {percent(found.required[k])}"
        table.add_row(Text(heading), *(_verdict(one.limits[k]) for one in found.candidates))
    table.add_row("all limits at once", *(percent(one.joint.probability) for one in found.candidates))
    safe = [one.joint_safety for one in found.candidates]
    if all(safe):
        table.add_row("all safety limits at once", *(percent(one.probability) for one in safe if one))
    for k, aim in enumerate(found.candidates[0].aims):
        units = {ranking.by: ranking.display_unit for ranking in found.rankings}
        unit = list(units.values())[k]
        table.add_row(Text(aim.name), *(_aim(one, k, unit) for one in found.candidates))
    for k, state in enumerate(found.candidates[0].speeds):
        cells = [one.speeds[k].sure for one in found.candidates]
        table.add_row(
            f"safety limits hold up to, {state.words}",
            *("no speed" if cell is None else f"{cell:.1f} m/s" for cell in cells),
        )
    table.add_row(
        "every limit as required",
        *(Text(MARKS[one.verdict], style=STYLES[one.verdict]) for one in found.candidates),
    )
    return table


def _verdict(found: Conformance) -> Text:
    return Text(
        f"{percent(found.probability)} {MARKS[found.verdict].split()[0]}", style=STYLES[found.verdict]
    )


def _aim(one: CandidateResult, k: int, unit: str) -> str:
    aim = one.aims[k]
    return shown(aim.mean, unit, aim.error)


def _differences_table(found: Comparison) -> Table:
    table = Table(box=SIMPLE_HEAD, title="Differences, on the same cars", title_justify="left")
    for heading in ("first", "less second", "in", "mean", "nine cars in ten", "first is better"):
        table.add_column(heading)
    for pair in found.pairs:
        _add_pair(table, found, pair)
    return table


def _add_pair(table: Table, found: Comparison, pair: PairResult) -> None:
    first, second = _words(found, pair.first), _words(found, pair.second)
    for one in pair.differences:
        subject, difference = found.subjects[one.subject], one.difference
        unit = subject.display_unit
        low, high = (difference_shown(end, unit, difference.sd) for end in (difference.low, difference.high))
        label = f"margin of {subject.label}" if subject.by_margin else subject.label
        table.add_row(
            Text(first),
            Text(second),
            Text(label),
            difference_shown(difference.mean, unit, difference.error),
            f"{low} to {high}",
            percent(difference.better),
        )
        first = second = ""


def _ranks_table(found: Comparison) -> Table:
    table = Table(box=SIMPLE_HEAD, title="How often each is the best", title_justify="left")
    table.add_column("by")
    for one in found.candidates:
        table.add_column(Text(one.words))
    table.add_column("best on average, how sure")
    for one_ranking in found.rankings:
        ranking = one_ranking.ranking
        pick = ranking.pick
        cells = [percent(row[0]) for row in ranking.shares]
        last = "no answer"
        if pick is not None:
            last = f"{found.candidates[pick.chosen].words}, at least {percent(pick.confidence)}"
        table.add_row(Text(one_ranking.by), *cells, Text(last))
    return table


def _show_choice(out: Console, found: Comparison) -> None:
    choice = found.choice
    worth = difference_shown(choice.everything.gain.value, choice.display_unit)
    out.print(
        Text(
            f"By {choice.by}: {_words(found, choice.best)}. Knowing everything first would turn the choice"
            f" in {percent(choice.everything.turns.value)} of cases, worth {worth} on average."
        )
    )
    for known in choice.inputs[:SHOWN_INPUTS]:
        out.print(Text(f"  knowing the {known.label}: {_worth_words(known.worth, choice.display_unit)}"))
    telling = [one for one in choice.measurements if one.worth.gain.value > 2 * one.worth.gain.error]
    for measured in telling[:SHOWN_INPUTS]:
        words = _worth_words(measured.worth, choice.display_unit)
        out.print(Text(f"  measuring the {measured.label}: {words}"))


def _worth_words(worth: ChoiceWorth, unit: str) -> str:
    return (
        f"turns the choice in {percent(worth.turns.value)}, worth {difference_shown(worth.gain.value, unit)}"
    )


def show_exploration(exploration: Exploration | None, speeds: HighestSpeeds | None) -> None:
    """Print the speeds, the answers, the maps and the best build."""
    out = screen()
    if speeds is not None:
        _show_speeds(out, speeds)
    if exploration is None:
        return
    for answer in exploration.answers:
        _show_answer(out, answer)
    for one in exploration.maps:
        _show_map(out, one)
    if exploration.search is not None:
        _show_search(out, exploration.search)
    for note in exploration.notes:
        out.print(Text(f"! {note}"))


def _show_speeds(out: Console, speeds: HighestSpeeds) -> None:
    out.print(Text(speeds.headline, style="bold"))
    for state in speeds.states:
        for limit in state.limits:
            up_to = "at no speed" if limit.up_to is None else f"up to {limit.up_to:.1f} m/s"
            out.print(Text(f"  {state.words}: {limit.name}: {up_to}"))
        if state.ladder:
            out.print(_ladder_table(state))
    out.print("After each step:")
    for words in speeds.look_after_each:
        out.print(Text(f"  {words}"))
    for note in speeds.notes:
        out.print(Text(f"! {note}"))


def _ladder_table(state: StateSpeed) -> Table:
    title = f"Steps for a test day, {state.words}: expect nine cars in ten inside these ranges"
    table = Table(box=SIMPLE_HEAD, title=title, title_justify="left")
    table.add_column("speed", justify="right")
    table.add_column("safety limits hold")
    for one in state.ladder[0].expectations:
        table.add_column(Text(one.quantity.replace("_", " ")))
    for rung in state.ladder:
        cells = [
            f"{shown(one.low, one.display_unit, one.high - one.low)} to "
            f"{shown(one.high, one.display_unit, one.high - one.low)}"
            for one in rung.expectations
        ]
        table.add_row(f"{rung.speed:.0f} m/s", percent(rung.holds), *cells)
    return table


def _show_answer(out: Console, answer: AnswerRecord) -> None:
    out.print(Text(f"{answer.ask} ({answer.around})", style="bold"))
    out.print(Text(f"  {answer.headline}"))
    for one in answer.others:
        if one.verdict != "pass":
            holds, required = percent(one.probability), percent(one.required)
            out.print(Text(f"  ! there, {one.name} holds with {holds}, required {required}"))


def _show_map(out: Console, found: MapRecord) -> None:
    out.print(Text(f"{found.headline} ({found.around})", style="bold"))
    if len(found.variables) == 1:
        return
    across, up = found.variables
    for row, value in zip(reversed(found.verdict), reversed(found.values[1]), strict=True):
        marks = "".join(MAP_MARKS[verdict] for verdict in row)
        out.print(Text(f"  {shown(value, up.display_unit):>14} {marks}"))
    low, high = (shown(end, across.display_unit) for end in (found.values[0][0], found.values[0][-1]))
    out.print(
        Text(
            f"  {up.words} up, {across.words} across from {low} to {high}; "
            "# every limit passes, ? undecided, . one fails"
        )
    )


def _show_search(out: Console, found: SearchRecord) -> None:
    out.print(Text(found.headline, style="bold"))
    if found.optimum is not None and found.optimum.held_back_by:
        out.print(Text(f"  held back by: {'; '.join(found.optimum.held_back_by)}"))
    if found.optimum is not None and found.optimum.at_end:
        out.print(Text(f"  at an end of its range, more may lie beyond: {', '.join(found.optimum.at_end)}"))
    front = [point for point in found.points if point.on_front]
    if len(found.aims) > 1 and len(front) > 1:
        out.print(_front_table(found))
    for note in found.notes:
        out.print(Text(f"! {note}"))


def _front_table(found: SearchRecord) -> Table:
    front = sorted((p for p in found.points if p.on_front), key=lambda p: p.aims[0] or 0.0)
    table = Table(
        box=SIMPLE_HEAD,
        title="Trade-off: builds that meet every limit and that no other betters in all aims",
        title_justify="left",
    )
    for aim in found.aims:
        table.add_column(Text(aim.words))
    for variable in found.variables:
        table.add_column(Text(variable.words))
    for point in _spread_out(front, SHOWN_OF_FRONT):
        aims = [
            shown(value, aim.display_unit, error or 0.0)
            for value, error, aim in zip(point.aims, point.aim_errors, found.aims, strict=True)
        ]
        values = [
            shown(value, variable.display_unit)
            for value, variable in zip(point.values, found.variables, strict=True)
        ]
        table.add_row(*aims, *values)
    return table


def _spread_out(items: Sequence[DesignPoint], most: int) -> list[DesignPoint]:
    """Keep at most so many, evenly from first to last."""
    if len(items) <= most:
        return list(items)
    return [items[round(k * (len(items) - 1) / (most - 1))] for k in range(most)]
