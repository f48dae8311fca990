"""Where each limited quantity lies among the cars that may come out of the workshop."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import partial

from explorer.results.records import LimitRecord, OutputRecord
from reports.blocks import (
    Block,
    Bullets,
    Column,
    Figure,
    Gallery,
    Heading,
    Line,
    Paragraph,
    Section,
    Strong,
    Table,
    Verdict,
    cell,
)
from reports.charts import Mark, distribution
from reports.findings import slug
from reports.formatting import MINUS, Scale, amount, count, counted, scale, share, share_range
from reports.options import SYSTEMS
from reports.report import Report, in_words

# With more of its samples than this at the cap, a distribution is a single bar.
_NEARLY_ALL = 0.8


def build(report: Report) -> Section | None:
    """One histogram a limit, and one for every other quantity the study asks for."""
    summary = report.summary
    if not summary.outputs:
        return None
    limited = {limit.output for limit in summary.limits}
    others = [output for position, output in enumerate(summary.outputs) if position not in limited]
    spread = [output for output in others if output.capped < _NEARLY_ALL * output.count]
    capped = [output for output in others if output.capped >= _NEARLY_ALL * output.count]
    blocks: list[Block] = [
        Paragraph(
            (
                f"Each chart counts {count(summary.reproduction.samples)} cars, every one drawn from "
                "the inputs as "
                "they may come out. Dark bars do not hold the limit; the dashed line is the limit.",
            )
        ),
        Gallery(tuple(_limit_figure(report, limit) for limit in summary.limits)),
    ]
    if others:
        blocks.append(Heading("Quantities without a limit"))
    if capped:
        blocks.append(Bullets(tuple(_not_reached(report, output) for output in capped)))
    if spread:
        blocks.append(Gallery(tuple(_output_figure(report, output) for output in spread)))
    return Section("distributions", "Distributions against their limits", tuple(blocks))


def _not_reached(report: Report, output: OutputRecord) -> Line:
    """Say in words what makes no chart: a search that nearly always ends at its cap."""
    cap = amount(output.highest, output.unit, output.display_unit)
    where = report.where(output)
    return (
        Strong(in_words(output.quantity)),
        f", {where}: not reached below ",
        cap,
        f" in {count(output.capped)} of {count(output.count)} cars.",
    )


def _limit_figure(report: Report, limit: LimitRecord) -> Figure:
    output, found = report.output(limit), limit.conformance
    where = report.where(limit)
    holds = share(found.probability, found.low, found.high)
    return Figure(
        name=f"limit-{slug(limit.name)}",
        title=limit.name,
        alternative=(
            f"Histogram of {in_words(limit.quantity)}, {where}. The limit holds in {holds} of cars; "
            f"verdict {found.verdict}."
        ),
        caption=(
            Verdict(found.verdict),
            f" {where}: holds in {holds} of cars ({share_range(found.low, found.high)}).",
            *_outside(output),
        ),
        draw=partial(_charts, output, limit.unit, limit.display_unit, (limit.low, limit.high)),
        wide=False,
        numbers=_numbers(output),
    )


def _output_figure(report: Report, output: OutputRecord) -> Figure:
    quantiles = dict(output.quantiles)
    shown = {
        p: amount(
            quantiles.get(p),
            output.unit,
            output.display_unit,
            spread=output.sd,
            difference=output.is_difference,
        )
        for p in (0.05, 0.5, 0.95)
    }
    where = report.where(output)
    return Figure(
        name=f"output-{slug(f'{output.quantity}-{output.condition}-{output.minus or str()}')}",
        title=f"{in_words(output.quantity)}, {where}",
        alternative=f"Histogram of {in_words(output.quantity)}, {where}.",
        caption=("Middle ", shown[0.5], ", from ", shown[0.05], " to ", shown[0.95], ".", *_outside(output)),
        draw=partial(_charts, output, output.unit, output.display_unit, (-math.inf, math.inf)),
        wide=False,
        numbers=_numbers(output),
    )


def _charts(
    output: OutputRecord, unit: str, display: str, good: tuple[float, float]
) -> tuple[Mapping[str, object], ...]:
    """One chart for each system of units; alike ones are made once."""
    far, difference = output.histogram.edges[-1], output.is_difference
    scales = [scale(unit, display, system, magnitude=far, difference=difference) for system in SYSTEMS]
    made = {shown: _chart(output, shown, good) for shown in dict.fromkeys(scales)}
    return tuple(made[shown] for shown in scales)


def _chart(output: OutputRecord, shown: Scale, good: tuple[float, float]) -> dict[str, object]:
    bounds = sorted(shown.value(value) if math.isfinite(value) else value for value in good)
    return distribution(
        [shown.value(edge) for edge in output.histogram.edges],
        output.histogram.counts,
        axis=shown.titled(in_words(output.quantity)),
        good=(bounds[0], bounds[1]),
        marks=[Mark(value, _short(value)) for value in bounds if math.isfinite(value)],
    )


def _short(value: float) -> str:
    return f"limit {value:.4g}".replace("-", MINUS)


def _outside(output: OutputRecord) -> Line:
    histogram = output.histogram
    parts = []
    beyond = histogram.below + histogram.above
    if beyond:
        parts.append(f" {counted(beyond, 'car')} beyond the ends of the chart.")
    if output.capped:
        parts.append(f" {counted(output.capped, 'car')} at the cap of the search: the true value is beyond.")
    if output.failed:
        parts.append(f" {counted(output.failed, 'sample')} without an answer.")
    return tuple(parts)


def _numbers(output: OutputRecord) -> Table:
    difference = output.is_difference
    return Table(
        "quantiles",
        f"Quantiles of {in_words(output.quantity)}",
        (Column("Share of cars below"), Column("Value", number=True)),
        tuple(
            (
                cell(f"{100 * p:g} %", order=p),
                cell(
                    amount(value, output.unit, output.display_unit, spread=output.sd, difference=difference),
                    order=value,
                ),
            )
            for p, value in output.quantiles
        ),
        sortable=False,
        small=True,
    )
