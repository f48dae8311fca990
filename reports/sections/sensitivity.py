"""Which inputs spread each limit's margin: bars with intervals, and the ranking in plain words."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest

from explorer.estimators.sensitivity import Index, Sensitivity
from explorer.graph.labels import begun
from explorer.graph.written import chance, listed, percent
from explorer.results.records import LimitRecord
from reports.blocks import Block, Column, Figure, Line, Link, Paragraph, Quiet, Section, Table, cell
from reports.charts import Bar, share_bars
from reports.charts_of_limits import part_matrix
from reports.findings import WORTH_NAMING, by_severity, slug
from reports.formatting import about, count, share, share_range
from reports.report import Report, sentence
from reports.sections import cars_and_days

_SHOWN = 5
# Inputs and limits of a matrix at most, and what counts as much of a spread.
_COLUMNS, _ROWS = 8, 8
_MUCH = 0.2
# Bars thinner than this are not drawn; the table below the chart has them all.
_THINNEST = 0.01
# Inputs that surely answer for less than this are not told, either.
_TOLD = 0.001
_READ = (
    "Bars say how much of the spread of a limit's margin an input answers for, alone or together with others "
    "(total Sobol index); the diamond is its part alone (first-order index); whiskers are 95 % intervals. "
    "Where intervals overlap the order is not known, and the text says tied."
)


def build(report: Report) -> Section | None:
    """Print the matrix of limits by inputs, and the limit most in the way; the others are looked up."""
    ranked = _ranked(report)
    still = [
        f"“{limit.name}”" for limit in report.summary.limits if limit.sensitivity and limit not in ranked
    ]
    words = "the margin is the same for every car drawn, so no input moves it within what is given."
    none = [Paragraph((f"Nothing to rank for {listed(still)}: {words}",))] if still else []
    if not ranked:
        return Section("sensitivity", "What drives each limit", tuple(none)) if none else None
    first = ranked[0]
    others: Line = (" The other limits are in an ", Link("appendix", "drivers"), ".")
    blocks: list[Block] = [Paragraph((_READ, *others) if len(ranked) > 1 else (_READ,), aside=True)]
    if len(ranked) > 1:
        blocks.append(_matrix(report, ranked[:_ROWS], "limits-by-inputs"))
    if first.sensitivity:
        blocks.append(_figure(report, first, first.sensitivity))
    return Section("sensitivity", "What drives each limit", (*blocks, *none))


def build_others(report: Report) -> Section | None:
    """Draw one chart for each other limit, then what pairs do."""
    ranked = _ranked(report)
    blocks: list[Block] = (
        [_matrix(report, ranked[_ROWS:], "other-limits-by-inputs")] if ranked[_ROWS:] else []
    )
    blocks += [_figure(report, limit, limit.sensitivity) for limit in ranked[1:] if limit.sensitivity]
    asked = [limit for limit in ranked if limit.sensitivity and limit.sensitivity.pairs]
    if asked:
        blocks.append(_together(report, asked))
    if not blocks:
        return None
    return Section("drivers", "What drives the other limits", tuple(blocks), appendix=True)


def _ranked(report: Report) -> list[LimitRecord]:
    """Return the limits whose margin varies, the one most in the way first."""
    return [one for one in by_severity(report.summary) if one.sensitivity and one.sensitivity.varies]


def _size(index: Index) -> float:
    return -index.total.value


def _matrix(report: Report, ranked: Sequence[LimitRecord], figure: str) -> Figure:
    """Show limits by the inputs that matter to any of them."""
    shares = {
        (limit.name, index.name): index.total.value
        for limit in ranked
        for index in (limit.sensitivity.indices if limit.sensitivity else ())
    }
    # The first input of each limit comes before the second of any.
    tops = [sorted(one.sensitivity.indices, key=_size)[:_COLUMNS] for one in ranked if one.sensitivity]
    by_place = [one for place in zip_longest(*tops) for one in place if one]
    leading = [one.name for one in by_place if -_size(one) >= WORTH_NAMING] or [by_place[0].name]
    names = list(dict.fromkeys(leading))[:_COLUMNS]
    parts = [
        (limit.name, begun(report.input_name(name)), shares.get((limit.name, name), 0.0))
        for limit in ranked
        for name in names
    ]
    reach = {name: sum(shares.get((limit.name, name), 0.0) >= _MUCH for limit in ranked) for name in names}
    widest = max(names, key=lambda name: reach[name])
    finding = (
        f"The {report.input_name(widest)} answers for a fifth or more of the spread of {reach[widest]} of "
        f"{len(ranked)} limits shown, and no other input for more. "
    )
    return Figure(
        name=figure,
        title="Which input matters to which limit",
        alternative=(f"Matrix of limits by inputs, in per cent of the spread. {finding}",),
        caption=(
            finding if reach[widest] > 1 else "No input answers for a fifth or more in two limits. ",
            "In per cent of the spread of each limit's margin, alone or with others; no shade below 5.",
        ),
        draw=lambda: part_matrix(parts),
    )


def _together(report: Report, limits: list[LimitRecord]) -> Block:
    """List the pairs of inputs that answer for a share only together."""
    found = [(limit, pair) for limit in limits for pair in limit.sensitivity.pairs_that_matter[:_SHOWN]]  # type: ignore[union-attr]  # asked for
    if not found:
        return Paragraph(
            (
                "No two inputs answer together for more than the sum of what each does alone, as far as "
                "these samples can tell.",
            )
        )
    return Table(
        "pairs",
        "Pairs of inputs that matter together: share of the spread beyond what each answers for alone",
        (Column("Limit"), Column("Inputs"), Column("Together (95 % interval)", number=True)),
        tuple(
            (
                cell(limit.name),
                cell(" and ".join(report.input_name(name) for name in pair.names)),
                cell(
                    share(pair.value.value, pair.value.low, pair.value.high),
                    Quiet(f" {share_range(pair.value.low, pair.value.high)}"),
                    order=pair.value.value,
                ),
            )
            for limit, pair in found
        ),
        small=True,
    )


def _figure(report: Report, limit: LimitRecord, found: Sensitivity) -> Figure:
    shown = [index for index in found.indices[:_SHOWN] if index.total.value >= _THINNEST] or list(
        found.indices[:1]
    )
    bars = [
        Bar(
            begun(report.input_name(index.name)),
            index.total.value,
            index.total.low,
            index.total.high,
            index.first.value,
        )
        for index in shown
    ]
    words = f"{ranking_words(report, found)}{_apart(report, limit)}"
    return Figure(
        name=f"drivers-{slug(limit.name)}",
        title=f"What drives “{limit.name}”",
        alternative=(f"Bars of the total index of the leading inputs of {limit.name}. {words}",),
        caption=(
            words,
            *((" " + sentence(found.note),) if found.note else ()),
            *(f" {sentence(_alone(report, index))}" for index in shown if index.known_alone),
        ),
        draw=lambda: share_bars(bars, axis="share of the spread of the margin [%]", inner="alone [%]"),
        numbers=_numbers(report, found),
    )


def ranking_words(report: Report, found: Sensitivity) -> str:
    """Say the ranking in a sentence, ties included."""
    head = found.indices[0]
    tied = [report.input_name(name) for name in head.tied_with]
    total = f"{share(head.total.value, head.total.low, head.total.high)} of the spread"
    if tied:
        names = [report.input_name(head.name), *tied]
        words = f"Tied for the lead: {', '.join(names[:-1])} and {names[-1]}; the first answers for {total}."
    else:
        words = f"{sentence(report.input_name(head.name))[:-1]} leads and answers for {total}."
    if not found.settled:
        words += (
            f" To be sure of the order would take about {about(found.samples_needed)} rows of the ranking."
        )
    if found.behind_no_answer:
        behind = " and ".join(report.input_name(index.name) for index in found.behind_no_answer[:2])
        words += (
            f" {sentence(chance(found.unanswered))[:-1]} of the cars have no answer; that is up to {behind}."
        )
    return words


def _apart(report: Report, limit: LimitRecord) -> str:
    """Name what leads among what could be learnt and among the day, where both matter."""
    learnt, day = (cars_and_days.leading_of(report, limit, varies=varies) for varies in (False, True))
    if learnt is None or day is None:
        return ""
    return (
        f" Of what could be learnt the {report.input_name(learnt.name)} leads; of what differs from run to "
        f"run, and can only be read on the day, the {report.input_name(day.name)}."
    )


def _numbers(report: Report, found: Sensitivity) -> Table:
    return Table(
        "indices",
        f"Sobol indices from {count(found.samples)} base samples in {found.replicates} replicates; inputs "
        f"that surely answer for less than {percent(_TOLD)} are left out",
        (
            Column("Place", number=True),
            Column("Input"),
            Column("Could be learnt"),
            Column("In all (95 % interval)", number=True),
            Column("Alone (95 % interval)", number=True),
            Column("Tied with"),
        ),
        tuple(
            (
                cell(str(index.rank), order=index.rank),
                cell(begun(report.input_name(index.name)), *_members(report, index)),
                cell("no, the day" if _of_the_day(report, index) else "yes"),
                cell(
                    share(index.total.value, index.total.low, index.total.high),
                    Quiet(f" {share_range(index.total.low, index.total.high)}"),
                    order=index.total.value,
                ),
                cell(
                    share(index.first.value, index.first.low, index.first.high),
                    Quiet(f" {share_range(index.first.low, index.first.high)}"),
                    order=index.first.value,
                ),
                cell(", ".join(report.input_name(name) for name in index.tied_with)),
            )
            for index in found.indices
            if index.total.high >= _TOLD or index in found.indices[:_SHOWN]
        ),
        small=True,
    )


def _of_the_day(report: Report, index: Index) -> bool:
    record = report.inputs.get((index.members or (index.name,))[0])
    return record is not None and record.varies


def _members(report: Report, index: Index) -> tuple[Quiet, ...]:
    if len(index.members) < 2:
        return ()
    if not index.known_alone:
        return (Quiet(f" {', '.join(report.input_name(name) for name in index.members)} (correlated)"),)
    return (Quiet(f" {_alone(report, index)}"),)


def _alone(report: Report, index: Index) -> str:
    """Say what each of some correlated inputs answers for when it alone is known."""
    shares = ", ".join(
        f"{report.input_name(name)} {share(one.value, one.low, one.high)}" for name, one in index.known_alone
    )
    return f"correlated; each known alone, with what it tells of the others: {shares}"
