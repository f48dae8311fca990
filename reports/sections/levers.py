"""What changing the car would do: settings at which a limit passes, levers, which way inputs pull."""

from __future__ import annotations

import math

from explorer.graph.labels import begun
from explorer.graph.written import listed
from explorer.results.actions import Setting
from explorer.results.levers import LeverRecord, Levers, Rescue, SignedEffect
from explorer.results.records import LimitRecord
from reports.blocks import (
    Block,
    Cell,
    Column,
    Figure,
    Line,
    Link,
    Paragraph,
    Quiet,
    Section,
    Table,
    cell,
)
from reports.charts_of_effects import SignedBar, signed_bars
from reports.findings import by_severity, slug
from reports.formatting import Scale, amount, count, range_amount, scale, share
from reports.report import Report, sentence
from reports.sections.actions import others_of, setting_words

_SHOWN = 6
# Settings listed for a limit, the best ones.
_LISTED = 2
# A step that changes a margin by less than this share of its standard deviation is not listed.
_LITTLE = 0.01


def build(report: Report) -> Section | None:
    """Say what a builder can set, which way it pulls, and how far it has to go."""
    found = report.summary.levers
    if found is None or not (found.levers or found.effects):
        return None
    drawn = next((limit for limit in by_severity(report.summary) if _strongest(found, limit)), None)
    more: Line = (" What each lever does to each limit is in an ", Link("appendix", "steps"), ".")
    lead = _lead(report, found)
    blocks: list[Block] = [Paragraph((*lead, *more) if found.levers else lead, lead=True)]
    if any(effect.tried for lever in found.levers for effect in lever.effects):
        blocks.append(_rescues(report, found))
    if drawn is not None:
        blocks.append(_figure(report, found, drawn))
    return Section("levers", "What changing the car would do", tuple(blocks))


def build_steps(report: Report) -> Section | None:
    """List what a step of each lever does, to be looked up."""
    found = report.summary.levers
    if found is None or not found.levers:
        return None
    return Section("steps", "What a step of each lever does", (_steps(report, found),), appendix=True)


def _lead(report: Report, found: Levers) -> Line:
    """Name the best change for the limit most in the way."""
    for limit in by_severity(report.summary):
        if limit.conformance.verdict == "pass":
            continue
        rescues = found.rescues(limit.name, report.summary.safety_names)
        if rescues:
            lever, rescue = rescues[0]
            setting = Setting(lever.variable, rescue.value, "", (limit.name,), rescue.breaks)
            return setting_words(setting, others=others_of(report, setting))
        return (f"No single lever that was tried makes “{limit.name}” pass within its range.",)
    return (f"{'The' if len(report.summary.limits) == 1 else 'Every'} limit passes.",)


def _rescues(report: Report, found: Levers) -> Table:
    """List every setting at which a limit that does not pass now would, alone."""
    rows = [
        _row(limit.name, *one)
        for limit in by_severity(report.summary)
        for one in found.rescues(limit.name, report.summary.safety_names)[:_LISTED]
    ]
    hopeless = sorted(
        {
            effect.limit
            for lever in found.levers
            for effect in lever.effects
            if effect.tried and not found.rescues(effect.limit)
        }
    )
    rows += [
        (cell(name), cell("no lever that was tried, alone"), cell(""), cell(""), cell(""), cell(""))
        for name in hopeless
    ]
    return Table(
        "rescues",
        "Settings at which a limit would pass, each alone and nothing else changed, the fewest steps first; "
        f"each is tried on the same {count(found.cars)} cars or more. Try what is chosen as a candidate.",
        (
            Column("Limit", width=24),
            Column("Change", width=18),
            Column("From", number=True, width=11, mixed=True),
            Column("To", number=True, width=11, mixed=True),
            Column("Met then by", number=True, width=12),
            Column("No longer met", width=24),
        ),
        tuple(rows),
        small=True,
    )


def _row(name: str, lever: LeverRecord, rescue: Rescue) -> tuple[Cell, ...]:
    variable = lever.variable
    return (
        cell(name),
        cell(variable.words),
        cell(amount(variable.now, variable, zeros=False)),
        cell(amount(rescue.value, variable, zeros=False)),
        cell(share(rescue.probability, rescue.low, rescue.high), order=rescue.probability),
        cell(listed(rescue.breaks) if rescue.breaks else Quiet("none")),
    )


def _strongest(found: Levers, limit: LimitRecord) -> list[SignedEffect]:
    """Return the effects on a limit that are clear, the largest first."""
    clear = [one for one in found.effects if one.limit == limit.name and one.change.clear]
    return sorted(clear, key=lambda one: -abs(one.change.value))[:_SHOWN]


def _figure(report: Report, found: Levers, limit: LimitRecord) -> Figure:
    strongest = _strongest(found, limit)
    settable = {lever.variable.name for lever in found.levers}
    most = max(abs(one.change.value) for one in strongest)

    def bars(y: Scale) -> list[SignedBar]:
        return [
            SignedBar(
                begun(report.input_name(one.key)),
                y.value(one.change.value),
                y.value(one.change.low),
                y.value(one.change.high),
                lever=one.key in settable,
            )
            for one in strongest
        ]

    head = strongest[0]
    more = "more" if head.change.value > 0 else "less"
    finding: Line = (
        f"{sentence(f'cars with a high {report.input_name(head.key)} have')[:-1]} ",
        amount(abs(head.change.value), limit, spread=_half(head) / 2, difference=True),
        f" {more} margin than cars with a low one. ",
    )
    told = "; ".join(
        f"{report.input_name(one.key)} {'raises' if one.change.value > 0 else 'lowers'} it"
        for one in strongest
    )
    return Figure(
        name=f"effects-{slug(limit.name)}",
        title=f"Which way each input moves the margin of “{limit.name}”",
        alternative=(f"Bars to either side of zero, the largest effects first. {sentence(told)}",),
        caption=(
            *finding,
            "A bar is the mean margin of the fifth of the cars with the highest values less that of the "
            "fifth with the lowest, within what is known of the input; the line its 95 % interval.",
        ),
        draw=lambda y: signed_bars(bars(y), axis=y.titled("change of the margin")),
        scales=lambda system: (scale(limit, system, magnitude=most, difference=True),),
    )


def _half(effect: SignedEffect) -> float:
    half = (effect.change.high - effect.change.low) / 2
    return half if math.isfinite(half) else abs(effect.change.value)


def _steps(report: Report, found: Levers) -> Table:
    """List what one step of each lever does to each limit, where that is clear and more than a little."""
    limits = {limit.name: limit for limit in report.summary.limits}
    rows = []
    for lever in found.levers:
        variable = lever.variable
        for effect in lever.effects:
            limit, change = limits[effect.limit], effect.change
            if not change.clear or abs(change.value) < _LITTLE * limit.conformance.margin.sd:
                continue
            # On the same cars a change is known better than anybody reads it.
            half = max((change.high - change.low) / 4, abs(change.value) / 100)
            rows.append(
                (
                    cell(variable.words),
                    cell(amount(lever.step, variable, difference=True, zeros=False)),
                    cell(limit.name),
                    cell(amount(change.value, limit, spread=half, difference=True, plus=True)),
                    cell(range_amount(change.low, change.high, limit, spread=half, difference=True)),
                )
            )
    return Table(
        "levers",
        f"What one step up of each lever does to the mean margin, on the same {count(found.moved)} cars. "
        "Left out: what is not clear, and less than a hundredth of the margin's standard deviation.",
        (
            Column("Lever", width=24),
            Column("Step up", number=True, width=12, mixed=True),
            Column("Limit", width=28),
            Column("Margin changes by", number=True, width=16, mixed=True),
            Column("95 % interval", number=True, width=20, mixed=True),
        ),
        tuple(rows),
        small=True,
    )
