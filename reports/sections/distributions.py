"""Where each limited quantity lies among the cars that may come out of the workshop."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

from explorer.graph.labels import label
from explorer.graph.written import MINUS, System, percent
from explorer.results.records import LimitRecord, OutputRecord
from reports.blocks import (
    Block,
    Bullets,
    Column,
    Figure,
    Gallery,
    Line,
    Paragraph,
    Section,
    Strong,
    Table,
    Verdict,
    cell,
)
from reports.charts import Mark, distribution
from reports.findings import by_severity, met_words, slug
from reports.formatting import Scale, amount, count, counted, range_amount, scale, share, share_range
from reports.report import Report, is_yes_or_no

# With more of its samples than this at the cap, a distribution is a single bar.
_NEARLY_ALL = 0.8


def build(report: Report) -> Section | None:
    """One histogram a limit, the one most in the way first."""
    blocks = _against_limits(report, by_severity(report.summary))
    if not blocks:
        return None
    title = "Distributions against their limits"
    return Section("distributions", title, tuple(blocks), appendix=True)


def _against_limits(report: Report, limits: Sequence[LimitRecord]) -> list[Block]:
    if not limits:
        return []
    blocks: list[Block] = [
        Paragraph(
            (
                f"Each chart counts {count(report.summary.reproduction.samples)} cars, every one drawn from "
                "the inputs as they may come out. Dark bars miss the limit; the dashed line is the limit.",
            )
        ),
        Gallery(tuple(_limit_figure(report, one) for one in limits if not is_yes_or_no(report.output(one)))),
    ]
    shares = [limit for limit in limits if is_yes_or_no(report.output(limit))]
    if shares:
        blocks.append(Bullets(tuple((*met_words(limit), " It is a yes or no.") for limit in shares)))
    return blocks


def build_others(report: Report) -> Section | None:
    """One histogram for every quantity that the study lists and no limit judges."""
    summary = report.summary
    limited = {limit.output for limit in summary.limits}
    others = [output for position, output in enumerate(summary.outputs) if position not in limited]
    spread = [output for output in others if output.capped < _NEARLY_ALL * output.count]
    capped = [output for output in others if output.capped >= _NEARLY_ALL * output.count]
    if not others:
        return None
    blocks: list[Block] = []
    if capped:
        blocks.append(Bullets(tuple(_not_reached(report, output) for output in capped)))
    said = [output for output in spread if is_yes_or_no(output) or _nearly_one(output)]
    if said:
        blocks.append(Bullets(tuple(_so_often(report, output) for output in said)))
    drawn = tuple(_output_figure(report, output) for output in spread if output not in said)
    if drawn:
        blocks.append(Gallery(drawn))
    return Section("outputs", "Quantities without a limit", tuple(blocks), appendix=True)


def _nearly_one(output: OutputRecord) -> bool:
    """Tell whether nine cars in ten have the same value."""
    quantiles = dict(output.quantiles)
    return quantiles.get(0.05) == quantiles.get(0.5) == quantiles.get(0.9)


def _so_often(report: Report, output: OutputRecord) -> Line:
    """Say in words what would be a histogram of a bar or two."""
    start = (Strong(label(output.quantity)), f", {report.where(output)}: ")
    if is_yes_or_no(output):
        return (*start, f"yes in {share(output.mean)} of predicted cars.")
    ends = range_amount(output.lowest, output.highest, output, spread=output.sd)
    return (
        *start,
        amount(dict(output.quantiles).get(0.5), output),
        " in nine cars of ten, ",
        ends,
        " in all.",
    )


def _not_reached(report: Report, output: OutputRecord) -> Line:
    """Say in words what makes no chart: a search that nearly always ends at its cap."""
    cap = amount(output.highest, output)
    where = report.where(output)
    return (
        Strong(label(output.quantity)),
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
            (
                f"Histogram of {report.quantity(output)}, {where}. {holds} of predicted cars meet the limit; "
                f"verdict {found.verdict}.",
            )
        ),
        caption=(
            Verdict(found.verdict),
            f" {where}: met by {holds} of predicted cars "
            f"(95 % interval {share_range(found.low, found.high)}).",
            *_outside(output),
        ),
        draw=partial(_chart, report.quantity(output), output, (limit.low, limit.high)),
        scales=partial(_scales, output),
        wide=False,
        numbers=_numbers(output),
    )


def _output_figure(report: Report, output: OutputRecord) -> Figure:
    quantiles = dict(output.quantiles)
    shown = {
        p: amount(quantiles.get(p), output, spread=output.sd, difference=output.is_difference)
        for p in (0.05, 0.5, 0.95)
    }
    where = report.where(output)
    return Figure(
        name=f"output-{slug(f'{output.quantity}-{output.condition}-{output.minus or str()}')}",
        title=f"{report.quantity(output)}, {where}",
        alternative=(f"Histogram of {report.quantity(output)}, {where}.",),
        caption=(
            *("Median ", shown[0.5], " (90 % range ", shown[0.05], " to ", shown[0.95], ")."),
            *_outside(output),
        ),
        draw=partial(_chart, report.quantity(output), output, (-math.inf, math.inf)),
        scales=partial(_scales, output),
        wide=False,
        numbers=_numbers(output),
    )


def _scales(output: OutputRecord, system: System) -> tuple[Scale]:
    far = output.histogram.edges[-1]
    return (scale(output, system, magnitude=far, difference=output.is_difference),)


def _chart(name: str, output: OutputRecord, good: tuple[float, float], shown: Scale) -> dict[str, object]:
    bounds = sorted(shown.value(value) if math.isfinite(value) else value for value in good)
    return distribution(
        [shown.value(edge) for edge in output.histogram.edges],
        output.histogram.counts,
        axis=shown.titled(name),
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
        f"Quantiles of {label(output.quantity)}",
        (Column("Share of cars below"), Column("Value", number=True)),
        tuple(
            (
                cell(percent(p), order=p),
                cell(amount(value, output, spread=output.sd, difference=difference), order=value),
            )
            for p, value in output.quantiles
        ),
        sortable=False,
        small=True,
    )
