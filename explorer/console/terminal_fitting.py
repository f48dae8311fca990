"""What ``fit`` and ``validate`` print: estimates and verdicts in words for people."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from explorer.graph.units import from_si, number, rounded, rounded_spread, spread_from_si, with_unit
from explorer.logs.fit_records import contradiction_words, notes_of
from explorer.logs.fits import Fitted
from explorer.logs.fitting.fit import Known
from explorer.logs.logged_runs import ComparedRun
from explorer.study.study import Study

LEAST_CORRELATION = 0.1


def show_fits(out: Console, fitted: Sequence[Fitted]) -> None:
    """Print what each fit found, how well, and how it agrees with the study."""
    for one in fitted:
        out.print(Text(f"{one.name}: {one.kind}", style="bold"))
        for run in one.finding.runs:
            out.print(
                Text(
                    f"  {run.entry.file}: {_rows_of(run.log.rows, run.log.rows_read)}, {run.log.source.date}"
                )
            )
        out.print(_estimates(one))
        for line in _below(one):
            out.print(_indented(line))
        if one.update is not None:
            out.print(_update(one))
        if one.result.weakness:
            out.print(Text(f"  ✗ not to be used: {one.result.weakness}", style="bold red"))


def _rows_of(rows: int, read: int) -> str:
    return f"{rows} rows" if rows == read else f"{rows} of {read} rows"


def _estimates(one: Fitted) -> Table:
    table = Table(box=SIMPLE_HEAD)
    for heading in ("quantity", "found", "standard uncertainty", "95 % interval", "the study believed"):
        table.add_column(heading)
    intervals = one.fit.interval()
    for i, name in enumerate(one.fit.names):
        unit = _unit(one.study, name, one.fit.units[i])
        value, spread = float(one.fit.estimates[i]), float(one.fit.standard_uncertainties[i])
        low, high = (float(end) for end in intervals[i])
        believed = one.believed.get(name)
        table.add_row(
            Text(name),
            _shown(value, spread, unit),
            _spread(spread, unit),
            f"{_bare(low, spread, unit)} to {_shown(high, spread, unit)}",
            "nothing"
            if believed is None
            else f"{_bare(believed.value, believed.standard_uncertainty, unit)} ± "
            f"{_spread(believed.standard_uncertainty, unit)}",
        )
    return table


def _below(one: Fitted) -> Iterator[str]:
    """Give the lines below the table: correlations, what only the log has, notes, the verdict."""
    fit = one.fit
    for i, first in enumerate(fit.names):
        for j in range(i + 1, len(fit.names)):
            if abs(fit.correlation[i, j]) >= LEAST_CORRELATION:
                yield f"{first} and {fit.names[j]} go together: correlation {fit.correlation[i, j]:+.2f}"
    taken = [known for known in fit.known if known.standard_uncertainty > 0]
    if taken:
        yield "taken as known: " + "; ".join(f"{known.name} {_known(one.study, known)}" for known in taken)
    if fit.log_values:
        found = (f"{name} {value:.4g} ± {spread:.2g}" for name, (value, spread) in fit.log_values.items())
        yield "only of this log, in SI units: " + "; ".join(found)
    yield from notes_of(one)
    mark = "! " if one.contradiction is not None and one.contradiction.contradicts else ""
    yield f"{mark}{contradiction_words(one)}"
    if not one.inputs and one.update is None:
        yield "nothing of it is an input of the study, so nothing goes back"


def _update(one: Fitted) -> Table:
    assert one.update is not None
    title = f"The study's own samples weighted by the log, worth {one.update.effective_samples:.0f} of them"
    table = Table(box=SIMPLE_HEAD, title=title, title_justify="left")
    for heading in ("input", "before", "after"):
        table.add_column(heading)
    for i, name in enumerate(one.update.names):
        unit = one.study.unit_of(name)
        before, after = (
            f"{_bare(float(mean[i]), float(sd[i]), unit)} ± {_spread(float(sd[i]), unit)}"
            for mean, sd in (
                (one.update.before_mean, one.update.before_sd),
                (one.update.mean, one.update.sd),
            )
        )
        table.add_row(Text(name), before, after)
    return table


def show_logged_runs(out: Console, tracked: Sequence[ComparedRun]) -> None:
    """Print whether the study explains each run, and what weakens the verdict."""
    for one in tracked:
        found = one.validation
        mark, style = ("✓", "green") if found.explains else ("✗", "bold red")
        head = f"{mark} {one.name}: {one.entry.quantity} against {one.entry.along}, {one.entry.condition}"
        out.print(Text(head, style=style))
        lines = (
            found.words,
            f"{one.entry.file}: {found.rows} rows, worth {found.effective_rows:.0f} independent ones, held "
            f"against {one.samples - one.unanswered} predicted runs",
            *found.notes,
        )
        for line in lines:
            out.print(_indented(line))


def _indented(line: str) -> Padding:
    """Set a line in, so that what does not fit goes on below its beginning."""
    return Padding(Text(line), (0, 0, 0, 2), expand=False)


def _unit(study: Study, name: str, si: str) -> str:
    return study.unit_of(name) if name in study.graph else si


def _known(study: Study, known: Known) -> str:
    unit, spread = _unit(study, known.name, known.unit), known.standard_uncertainty
    return f"{_bare(known.value, spread, unit)} ± {_spread(spread, unit)}"


def _bare(value: float, spread: float, unit: str) -> str:
    shown = float(from_si(value, unit))
    return rounded(shown, float(spread_from_si(spread, unit))) if spread > 0 else number(shown)


def _shown(value: float, spread: float, unit: str) -> str:
    return with_unit(_bare(value, spread, unit), unit)


def _spread(spread: float, unit: str) -> str:
    shown = float(spread_from_si(spread, unit))
    return with_unit(rounded_spread(shown) if spread > 0 else "0", unit)
