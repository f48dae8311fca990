"""What ``fit`` prints: estimates and how they agree with the study, in words for people."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from explorer.logs.fit_records import notes_of
from explorer.logs.fits import Fitted
from explorer.logs.fitting.fit import Known
from explorer.logs.fitting.input_block import CONTRADICTION
from reports.blocks import Block, Bullets, Cell, Column, Line, Note, Paragraph, Table, cell
from reports.formatting import Amount, amount, count, range_amount, uncertain, uncertain_amount

LEAST_CORRELATION = 0.1


def fit_blocks(fitted: Sequence[Fitted]) -> Iterator[Block]:
    """Say what each fit found, how well, and how it agrees with the study."""
    for one in fitted:
        yield Paragraph((f"{one.name}: {one.kind}",), lead=True)
        yield Bullets(
            tuple(
                (f"{run.entry.file}: {_rows_of(run.log.rows, run.log.rows_read)}, {run.log.source.date}",)
                for run in one.finding.runs
            )
        )
        yield _estimates(one)
        yield Bullets(tuple(_below(one)))
        if one.update is not None:
            yield _update(one)
        if one.result.weakness:
            yield Note("Not to be used", (one.result.weakness,))


def _rows_of(rows: int, read: int) -> str:
    return f"{count(rows)} rows" if rows == read else f"{count(rows)} of {count(read)} rows"


def _estimates(one: Fitted) -> Table:
    titles = ("Found", "Standard uncertainty", "95 % interval", "The study believed")
    return Table(
        "estimates",
        "Found from the log alone, beside what the study believed without it.",
        (Column("Quantity"), *(Column(title, number=True) for title in titles)),
        tuple(_estimate(one, i, name) for i, name in enumerate(one.fit.names)),
    )


def _estimate(one: Fitted, i: int, name: str) -> tuple[Cell, ...]:
    unit, given = one.fit.units[i], _given(one, name)
    spread = float(one.fit.standard_uncertainties[i])
    low, high = map(float, one.fit.interval()[i])
    believed = one.believed.get(name)
    return (
        cell(name),
        cell(amount(float(one.fit.estimates[i]), unit, given, spread=spread)),
        cell(amount(spread, unit, given, spread=spread, difference=True)),
        cell(range_amount(low, high, unit, given, spread=spread)),
        cell("nothing" if believed is None else _known(one, believed)),
    )


def _below(one: Fitted) -> Iterator[Line]:
    """Give the lines below the table: correlations, what only the log has, notes, the verdict."""
    fit = one.fit
    for i, first in enumerate(fit.names):
        for j in range(i + 1, len(fit.names)):
            if abs(fit.correlation[i, j]) >= LEAST_CORRELATION:
                yield (f"{first} and {fit.names[j]} go together: correlation {fit.correlation[i, j]:+.2f}",)
    for known in fit.known:
        if known.standard_uncertainty > 0:
            yield (f"taken as known: {known.name} ", _known(one, known))
    for name, (value, spread) in fit.log_values.items():
        yield (f"only of this log, in SI units: {name} {uncertain(value, spread)}",)
    yield from ((note,) for note in notes_of(one))
    yield from _agreement(one)
    if not one.inputs and one.update is None:
        yield ("nothing of it is an input of the study, so nothing goes back",)


def _agreement(one: Fitted) -> Iterator[Line]:
    """Say how log and study agree."""
    found = one.contradiction
    if found is None:
        yield ("the study believed nothing about what was found",)
        return
    far = {name: distance for name, distance in found.distances.items() if abs(distance) > CONTRADICTION}
    for name, distance in far.items():
        believed = one.believed[name]
        yield (
            f"! {name}: the log says ",
            amount(one.fit.value(name), believed.unit, _given(one, name)),
            ", the study believed ",
            _known(one, believed),
            f": {abs(distance):.1f} standard uncertainties {'higher' if distance > 0 else 'lower'}",
        )
    if not far:
        yield (f"{'! ' if found.contradicts else ''}{found.words}",)


def _update(one: Fitted) -> Table:
    found = one.update
    assert found is not None

    def row(i: int, name: str) -> tuple[Cell, ...]:
        unit, given = one.study.graph[name].unit, one.study.unit_of(name)
        before = uncertain_amount(float(found.before_mean[i]), float(found.before_sd[i]), unit, given)
        return (
            cell(name),
            cell(before),
            cell(uncertain_amount(float(found.mean[i]), float(found.sd[i]), unit, given)),
        )

    return Table(
        "updated",
        f"The study's own samples weighted by the log, worth {found.effective_samples:.0f} of them.",
        (Column("Input"), Column("Before", number=True), Column("After", number=True)),
        tuple(row(i, name) for i, name in enumerate(found.names)),
    )


def _known(one: Fitted, known: Known) -> Amount:
    given = _given(one, known.name)
    return uncertain_amount(known.value, known.standard_uncertainty, known.unit, given)


def _given(one: Fitted, name: str) -> str:
    """Return the unit in which the study speaks of it; none for what only the log has."""
    return one.study.unit_of(name) if name in one.study.graph else ""
