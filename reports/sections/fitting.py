"""What ``fit`` prints: estimates and how they agree with the study, in words for people."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from explorer.graph.labels import label
from explorer.graph.written import MINUS, listed
from explorer.logs.fit_records import EstimateRecord, FitRecord, UpdatedInput, UpdateRecord
from explorer.logs.fitting.fit import Known
from explorer.logs.fitting.input_block import CONTRADICTION
from explorer.results.logged_runs import Belief
from explorer.study.study import Study
from reports.blocks import Block, Bullets, Cell, Column, Line, Note, Paragraph, Strong, Table, cell
from reports.formatting import (
    Amount,
    Units,
    amount,
    count,
    counted,
    range_amount,
    uncertain,
    uncertain_amount,
)
from reports.report import said

LEAST_CORRELATION = 0.1


def fit_blocks(fits: Sequence[FitRecord], study: Study) -> Iterator[Block]:
    """Say which logs can be used, then what each fit found, how well, and how it agrees with the study."""
    weak = [one.name for one in fits if one.weakness]
    good = f"{len(fits) - len(weak)} of {counted(len(fits), 'fit')} can be used"
    yield Paragraph((Strong(f"{good}; not {listed(weak)}." if weak else f"{good}."),))
    for one in fits:
        yield Paragraph((f"{one.name}: {one.kind}",), lead=True)
        yield from found_blocks(one, study)


def found_blocks(one: FitRecord, study: Study) -> Iterator[Block]:
    """Say what one fit found, below its name."""
    logs = dict.fromkeys(f"{log.file}: {_rows_of(log.rows, log.rows_read)}, {log.date}" for log in one.logs)
    yield Bullets(tuple((log,) for log in logs))
    yield _estimates(one)
    yield Bullets(tuple(_below(one, study)))
    if one.update is not None:
        yield _update(one.update)
    if one.weakness:
        yield Note("Not to be used", said(one.weakness))


def _rows_of(rows: int, read: int) -> str:
    return f"{count(rows)} rows" if rows == read else f"{count(rows)} of {count(read)} rows"


def _estimates(one: FitRecord) -> Table:
    titles = ("Found", "Standard uncertainty", "95 % interval", "The study believed")
    return Table(
        "estimates",
        "Found from the log alone, beside what the study believed without it.",
        (Column("Quantity"), *(Column(title, number=True) for title in titles)),
        tuple(map(_estimate, one.estimates)),
    )


def _estimate(one: EstimateRecord) -> tuple[Cell, ...]:
    spread = one.standard_uncertainty
    return (
        cell(one.name),
        cell(amount(one.value, one, spread=spread)),
        cell(amount(spread, one, spread=spread, difference=True)),
        cell(range_amount(one.low, one.high, one, spread=spread)),
        cell("nothing" if one.believed is None else _belief(one.believed, one)),
    )


def _below(one: FitRecord, study: Study) -> Iterator[Line]:
    """Give the lines below the table: correlations, what only the log has, notes, the verdict."""
    for pair in one.correlations:
        if abs(pair.value) >= LEAST_CORRELATION:
            size = f"{pair.value:+.2f}".replace("-", MINUS)
            yield (f"{label(pair.first)} and {label(pair.second)} go together: correlation {size}",)
    for known in one.known:
        if known.standard_uncertainty > 0:
            yield (f"taken as known: {label(known.name)} ", _known(known, study))
    for name, own in one.log_values.items():
        yield (
            f"only of this log, in SI units: {label(name)} {uncertain(own.value, own.standard_uncertainty)}",
        )
    yield from map(said, one.notes)
    yield from _agreement(one)
    if one.update is None and not any(found.given_back for found in one.estimates):
        yield ("nothing of it is an input of the study, so nothing goes back",)


def _agreement(one: FitRecord) -> Iterator[Line]:
    """Say how log and study agree."""
    if one.contradiction is None:
        yield ("the study believed nothing about what was found",)
        return
    far = False
    for found in one.estimates:
        distance = found.distance or 0.0
        if abs(distance) > CONTRADICTION and found.believed is not None:
            far = True
            yield (
                f"! {found.name}: the log says ",
                amount(found.value, found),
                ", the study believed ",
                _belief(found.believed, found),
                f": {abs(distance):.1f} standard uncertainties {'higher' if distance > 0 else 'lower'}"
                if found.believed.sd
                else ", as if exactly known: give it a spread",
            )
    if not far and one.contradiction.contradicts:
        yield ("! each quantity agrees with the study, but not all of them at once",)
    elif not far:
        yield ("the log agrees with what the study believed",)


def _update(found: UpdateRecord) -> Table:
    return Table(
        "updated",
        f"The study's own samples weighted by the log, worth {found.effective_samples:.0f} of them.",
        (Column("Input"), Column("Before", number=True), Column("After", number=True)),
        tuple(
            (cell(one.name), cell(_belief(one.before, one)), cell(_belief(one.after, one)))
            for one in found.estimates
        ),
    )


def _belief(belief: Belief, of: EstimateRecord | UpdatedInput) -> Amount:
    return uncertain_amount(belief.mean, belief.sd, of)


def _known(known: Known, study: Study) -> Amount:
    given = study.unit_of(known.name) if known.name in study.graph else ""
    return uncertain_amount(known.value, known.standard_uncertainty, Units(known.unit, given))
