"""Every number the study gives: its distribution, and where it comes from."""

from __future__ import annotations

from explorer.graph.labels import begun
from explorer.graph.written import MINUS
from explorer.results.records import ConditionRecord, InputRecord
from explorer.study.correlations import Correlation
from reports.blocks import (
    Block,
    Cell,
    Column,
    Heading,
    Line,
    Paragraph,
    Part,
    Quiet,
    Section,
    Strong,
    Table,
    cell,
)
from reports.findings import without_source
from reports.formatting import amount, range_amount, uncertain_amount
from reports.report import Report, in_words, overridden, said

NO_SOURCE = "no source given"


def build(report: Report) -> Section:
    """Uncertain inputs, exact ones, defaults, conditions and correlations."""
    summary = report.summary
    missing = len(without_source(summary))
    uncertain = [record for record in summary.inputs if not record.exact]
    exact = [record for record in summary.inputs if record.exact and not record.default]
    defaults = [record for record in summary.inputs if record.exact and record.default]
    blocks: list[Block] = [
        Paragraph(
            (
                f"{len(uncertain)} uncertain inputs, {len(exact)} exact ones given by the study, "
                f"{len(defaults)} left at their defaults. ",
                Strong(f"{missing} {'has' if missing == 1 else 'have'} no source.")
                if missing
                else "Every one has a source.",
            )
        )
    ]
    if uncertain:
        blocks.append(_uncertain(report, uncertain))
    if exact:
        blocks.append(_exact(report, "exact", "Inputs taken as exactly known", exact))
    if defaults:
        blocks.append(_exact(report, "defaults", "Inputs the study leaves at their defaults", defaults))
    if summary.conditions:
        blocks += [Heading("Conditions"), _conditions(summary.conditions)]
    if summary.correlations:
        blocks += [Heading("Correlations"), _correlations(report, summary.correlations)]
    return Section("inputs", "Inputs and where they come from", tuple(blocks), appendix=True)


def _name(report: Report, record: InputRecord) -> Cell:
    # What is to be typed, in the study or under the condition that the label names.
    parts: list[Part] = [begun(report.input_name(record.key)), Quiet(f" {record.quantity} ")]
    if record.summary:
        parts.append(Quiet(record.summary))
    return cell(*parts, order=record.key)


def _source(record: InputRecord) -> Cell:
    if record.source:
        return cell(record.source, order=record.source)
    if record.default:
        return cell(Quiet("default of the model"), order="~")
    return cell(Strong(NO_SOURCE), order="")


def _uncertain(report: Report, records: list[InputRecord]) -> Table:
    return Table(
        "uncertain",
        "Uncertain inputs: value with its standard uncertainty, and the range that 95 % of cars fall into.",
        (
            Column("Input", width=26),
            Column("Value, 95 % range", number=True, width=22, mixed=True),
            Column("Distribution", width=26),
            Column("Source", width=26),
        ),
        tuple(
            (
                _name(report, record),
                _value(record),
                cell(*said(record.words, record)),
                _source(record),
            )
            for record in records
        ),
        small=True,
    )


def _value(record: InputRecord) -> Cell:
    sd = record.sd
    return cell(
        uncertain_amount(record.nominal, sd, record),
        Quiet(range_amount(record.low, record.high, record, spread=sd)),
        order=record.nominal,
    )


def _exact(report: Report, name: str, caption: str, records: list[InputRecord]) -> Table:
    return Table(
        name,
        caption,
        (
            Column("Input", width=50),
            Column("Value", number=True, width=16, mixed=True),
            Column("Source", width=34),
        ),
        tuple(
            (
                _name(report, record),
                cell(amount(record.nominal, record)),
                _source(record),
            )
            for record in records
        ),
        small=True,
    )


def _conditions(conditions: tuple[ConditionRecord, ...]) -> Table:
    return Table(
        "conditions",
        "How the car is being run, and what each condition sets in place of the common inputs.",
        (Column("Condition", width=30), Column("Sets", width=70)),
        tuple(
            (
                cell(condition.words or in_words(condition.name), order=condition.name),
                cell(*(_set_by(condition) or (Quiet("nothing"),))),
            )
            for condition in conditions
        ),
        small=True,
    )


def _set_by(condition: ConditionRecord) -> Line:
    sets = overridden(condition.overrides)
    said = condition.throttle in ("full", "coasting")
    return (f"throttle: {condition.throttle}{'; ' if sets else ''}", *sets) if said else sets


def _correlations(report: Report, correlations: tuple[Correlation, ...]) -> Table:
    return Table(
        "correlations",
        "Inputs that go together (correlated): +1 means always high together, "
        f"{MINUS}1 that one is high when the other is low, 0 that they have nothing to do with each other. "
        "Between their normal scores.",
        (
            Column("Input", width=26),
            Column("With", width=26),
            Column("Correlation", number=True, width=14),
            Column("Source", width=34),
        ),
        tuple(
            (
                cell(report.input_name(record.first)),
                cell(report.input_name(record.second)),
                cell(f"{record.value:+.2f}".replace("-", MINUS), order=record.value),
                cell(record.source or Strong(NO_SOURCE)),
            )
            for record in correlations
        ),
        small=True,
    )
