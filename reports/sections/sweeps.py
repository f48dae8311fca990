"""Quantities against speed, flap closed and open, with the band that nine cars in ten fall into."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from itertools import combinations

from explorer.graph.labels import label
from explorer.graph.quantity import asked_name
from explorer.graph.written import MINUS, System, with_unit
from explorer.results.records import LimitRecord, SweepRecord
from reports.blocks import Column, Figure, Line, Paragraph, Section, Table, cell
from reports.charts import LimitPoint, ShadedBand, fan
from reports.findings import slug
from reports.formatting import Amount, Scale, Units, amount, range_amount, scale
from reports.report import Report


def build(report: Report) -> Section | None:
    """One fan chart for every quantity that a limit is drawn on, all its conditions together."""
    return _section(report, Section("sweeps", "Speed sweeps", ()), limited=True)


def build_others(report: Report) -> Section | None:
    """Draw those without a limit, to be looked up."""
    return _section(report, Section("more_sweeps", "Further speed sweeps", (), appendix=True), limited=False)


def _section(report: Report, section: Section, *, limited: bool) -> Section | None:
    groups: dict[tuple[str, str], list[SweepRecord]] = {}
    for sweep in report.summary.sweeps:
        groups.setdefault((sweep.quantity, sweep.along), []).append(sweep)
    shown = [sweeps for sweeps in groups.values() if bool(_applying(report, sweeps)) == limited]
    if not shown:
        return None
    intro = (
        "The thick line is the median car; nine cars in ten lie inside the band around it, one in twenty "
        "above and one in twenty below. A limit is marked at the speed and on the curve that it applies to; "
        "its triangle points to the good side."
    )
    return replace(section, blocks=(Paragraph((intro,)), *(_figure(report, sweeps) for sweeps in shown)))


def _figure(report: Report, sweeps: list[SweepRecord]) -> Figure:
    first = sweeps[0]
    names = " and ".join(report.swept(sweep.condition, sweep.along, sweep.throttle) for sweep in sweeps)
    return Figure(
        name=f"sweep-{slug(f'{first.quantity}-{first.along}')}",
        title=f"{label(first.quantity)} against {label(first.along)}",
        alternative=(f"Fan chart of {label(first.quantity)} against {label(first.along)}: {names}.",),
        caption=_caption(report, sweeps),
        draw=partial(_chart, report, sweeps),
        scales=partial(_scales, sweeps),
        numbers=_numbers(report, sweeps),
    )


def _scales(sweeps: list[SweepRecord], system: System) -> tuple[Scale, Scale]:
    first = sweeps[0]
    highest = max((v for sweep in sweeps for v in sweep.high if math.isfinite(v)), default=0.0)
    return (
        scale(Units(first.along_unit, first.along_display_unit), system, magnitude=max(first.x)),
        scale(first, system, magnitude=highest),
    )


def _chart(report: Report, sweeps: list[SweepRecord], x: Scale, y: Scale) -> dict[str, object]:
    first = sweeps[0]
    return fan(
        [_band(report, sweep, x, y) for sweep in sweeps],
        x_axis=x.titled(label(first.along)),
        y_axis=y.titled(label(first.quantity)),
        points=_points(report, sweeps, x, y),
    )


def _band(report: Report, sweep: SweepRecord, x: Scale, y: Scale) -> ShadedBand:
    """Keep the part of a sweep that has an answer."""
    kept = [
        i
        for i in range(len(sweep.x))
        if all(map(math.isfinite, (sweep.low[i], sweep.middle[i], sweep.high[i])))
    ]
    return ShadedBand(
        report.swept(sweep.condition, sweep.along, sweep.throttle),
        [x.value(sweep.x[i]) for i in kept],
        [y.value(sweep.low[i]) for i in kept],
        [y.value(sweep.middle[i]) for i in kept],
        [y.value(sweep.high[i]) for i in kept],
    )


def _points(report: Report, sweeps: list[SweepRecord], x: Scale, y: Scale) -> list[LimitPoint]:
    """Limits on this quantity: each on the curve of its own condition, at the place where it applies."""
    points = []
    for limit, sweep, at in _applying(report, sweeps):
        for word, value in limit.ends:
            text = with_unit(f"{word} {y.value(value):.4g}", y.unit).replace("-", MINUS)
            up, curve = word == "at least", sweeps.index(sweep)
            points.append(LimitPoint(x.value(at), y.value(value), text, up, curve))
    return points


def _applying(report: Report, sweeps: list[SweepRecord]) -> list[tuple[LimitRecord, SweepRecord, float]]:
    """Pair each limit on the quantity with its curve and its place along it."""
    along = sweeps[0].along
    curves = {report.apart_from(along, sweep.condition): sweep for sweep in sweeps}
    found = []
    for limit in report.summary.limits:
        at = report.summary.nominal.get(limit.condition, {}).get(along)
        curve = curves.get(report.apart_from(along, limit.condition))
        same = asked_name(limit.quantity) == sweeps[0].quantity and not limit.is_difference
        if same and at is not None and curve:
            found.append((limit, curve, at))
    return found


def _caption(report: Report, sweeps: list[SweepRecord]) -> Line:
    first, parts = sweeps[0], _steepest(report, sweeps)
    end = amount(max(sweep.x[-1] for sweep in sweeps), Units(first.along_unit, first.along_display_unit))
    parts = (*parts, "At ", end, " (90\N{NO-BREAK SPACE}% range)")
    for place, sweep in enumerate(sweeps):
        parts = (
            *parts,
            f"{';' if place else ':'} {report.swept(sweep.condition, sweep.along, sweep.throttle)} ",
            _at(sweep, sweep.middle[-1]),
            " (",
            range_amount(sweep.low[-1], sweep.high[-1], sweep),
            ")",
        )
    return (*parts, ".")


def _steepest(report: Report, sweeps: list[SweepRecord]) -> Line:
    """Say between which places the median car changes most, and by how much."""
    changes = []
    for sweep in sweeps:
        kept = [(x, y) for x, y in zip(sweep.x, sweep.middle, strict=True) if math.isfinite(y)]
        # Of equal changes the one over the whole way; a curve may turn in between.
        pairs = sorted(combinations(kept, 2), key=lambda pair: pair[0][0] - pair[1][0])
        changes += [(after - before, x, to, sweep) for (x, before), (to, after) in pairs]
    if not changes:
        return ()
    change, start, end, sweep = max(changes, key=lambda one: abs(one[0]))
    if change == 0:
        return (f"The median car does not change with the {label(sweep.along)}. ",)
    along = Units(sweep.along_unit, sweep.along_display_unit)
    return (
        f"The largest {'rise' if change > 0 else 'fall'} is ",
        amount(abs(change), sweep, spread=abs(change) / 20, difference=True),
        " from ",
        amount(start, along),
        " to ",
        amount(end, along),
        f", {report.swept(sweep.condition, sweep.along, sweep.throttle)}. ",
    )


def _at(sweep: SweepRecord, value: float) -> Amount:
    return amount(value, sweep, spread=(sweep.high[-1] - sweep.low[-1]) / 4)


def _numbers(report: Report, sweeps: list[SweepRecord]) -> Table:
    rows = [
        (
            cell(report.swept(sweep.condition, sweep.along, sweep.throttle)),
            cell(amount(x, Units(sweep.along_unit, sweep.along_display_unit)), order=x),
            *(
                cell(amount(value, sweep, spread=(high - low) / 4), order=value)
                for value in (low, middle, high)
            ),
            cell(str(failed), order=failed),
        )
        for sweep in sweeps
        for x, low, middle, high, failed in zip(
            sweep.x, sweep.low, sweep.middle, sweep.high, sweep.failed, strict=True
        )
    ]
    return Table(
        "bands",
        f"{label(sweeps[0].quantity)} against {label(sweeps[0].along)}",
        (
            Column("Condition"),
            Column(label(sweeps[0].along), number=True),
            Column("5 % below", number=True),
            Column("Median", number=True),
            Column("5 % above", number=True),
            Column("No answer", number=True),
        ),
        tuple(rows),
        small=True,
    )
