"""What the commands print: tables in words for people, plain data for machines."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.progress import BarColumn, TextColumn, TimeElapsedColumn, TimeRemainingColumn
from rich.progress import Progress as Bar
from rich.table import Table
from rich.text import Text

from explorer.analyses.taken_for_granted import taken_for_granted
from explorer.console.terminal_logs import show_logs
from explorer.console.terminal_measuring import show_measuring
from explorer.engine.plan import Progress
from explorer.estimators.conformance import Conformance
from explorer.graph.units import about, from_si, number, pretty, rounded, spread_from_si
from explorer.results.records import LimitRecord, Results
from explorer.study.study import Study

MARKS = {"pass": "✓ pass", "fail": "✗ FAIL", "undecided": "? undecided"}
STYLES = {"pass": "green", "fail": "bold red", "undecided": "yellow"}
LEADING = 5
# With more uncertain inputs than this a first look pays.
MANY_INPUTS = 40
# Wide enough for the tables when the output goes to a file.
FILE_WIDTH = 140


def console() -> Console:
    """Return a console that shows colour only on a terminal."""
    plain = Console(highlight=False)
    return plain if plain.is_terminal else Console(highlight=False, width=FILE_WIDTH)


@contextmanager
def progress_bar(hidden: bool = False) -> Iterator[Progress]:
    """Give a progress report that draws a bar with the time left, on a terminal only."""
    screen = Console(stderr=True)
    if hidden or not screen.is_terminal:
        yield lambda stage, done, total: None
        return
    columns = (
        TextColumn("{task.description:24}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
        TextColumn("left"),
        TimeRemainingColumn(),
    )
    with Bar(*columns, console=screen, transient=True) as bar:
        tasks: dict[str, Any] = {}

        def report(stage: str, done: int, total: int) -> None:
            if stage not in tasks:
                tasks[stage] = bar.add_task(stage, total=total)
            bar.update(tasks[stage], completed=done, total=total)

        yield report


def shown(value: float | None, unit: str, spread: float = 0.0) -> str:
    """Write an SI value in a unit, rounded by its spread where it has one."""
    if value is None or math.isnan(value):
        return "no answer"
    shown_value = float(from_si(value, unit))
    text = rounded(shown_value, float(spread_from_si(spread, unit))) if spread else number(shown_value)
    return f"{text} {pretty(unit)}".strip()


def difference_shown(value: float, unit: str, spread: float = 0.0) -> str:
    """Write an SI difference in a unit: no offset of a temperature scale."""
    if not math.isfinite(value):
        return "no answer"
    difference = float(spread_from_si(value, unit))
    text = rounded(difference, float(spread_from_si(spread, unit))) if spread else number(difference)
    return f"{text} {pretty(unit)}".strip()


def percent(probability: float) -> str:
    """Write a probability or a share in per cent, with enough digits near both ends.

    An estimated share may lie a little below nought or above one by chance: the end is written.
    """
    if math.isnan(probability):
        return "no answer"
    value = min(max(100 * probability, 0.0), 100.0)
    if value in (0.0, 100.0):
        return f"{abs(value):.0f} %"
    near = min(value, 100 - value)
    digits = 1 if near >= 1 else min(6, 1 - math.floor(math.log10(near)))
    return f"{value:.{digits}f} %"


def required_words(limit: LimitRecord) -> str:
    """Say a limit's bounds in words."""
    write = difference_shown if limit.minus else shown
    parts = [
        f"{word} {write(bound, limit.display_unit)}"
        for word, bound in (("at least", limit.at_least), ("at most", limit.at_most))
        if bound is not None
    ]
    return " and ".join(parts)


def interval_words(found: Conformance) -> str:
    """Say a probability with its interval."""
    return f"{percent(found.probability)} ({percent(found.low)} to {percent(found.high)})"


def show_run(results: Results, folder: Path, problems: tuple[str, ...]) -> None:
    """Print the limits with their verdicts, what drives them, and where the report lies."""
    out = console()
    summary = results.summary
    out.print(Text(summary.title, style="bold"))
    out.print(f"{summary.reproduction.samples:,} samples, seed {summary.reproduction.seed}".replace(",", " "))
    out.print(_verdict_table(results))
    for limit in summary.limits:
        if limit.conformance.verdict == "undecided":
            out.print(f"? {limit.name}: {limit.conformance.decides}")
    for failure in summary.failures:
        out.print(
            f"! {failure.count} samples of {failure.output} ({failure.condition}) have no answer: "
            f"{failure.quantity}: {failure.meaning}"
        )
    for unfinished in summary.unfinished:
        out.print(Text(f"! {unfinished.words}"))
    out.print(_drivers_table(results))
    for line in _lines_on_drivers(results):
        out.print(Text(line))
    for warning in summary.warnings:
        out.print(f"! {warning}")
    if summary.extra.get("figures"):
        out.print(Text(_enough(summary.extra["figures"])))
    for record in summary.extra.get("rare", ()):
        out.print(Text(f"  {record['limit']}: {record['words']}{_most_likely(record)}"))
    show_logs(out, summary.extra)
    if "measuring" in summary.extra:
        show_measuring(out, summary.extra["measuring"])
    _show_files(out, folder, problems)
    out.print(summary.cautions[0])


def _enough(figures: Mapping[str, Any]) -> str:
    """Say whether the printed figures would come out the same if they were drawn again."""
    still, every = len(figures["settled"]), len(figures["settled"]) + len(figures["open"])
    words = (
        f"Enough cars? Drawn again, average, spread and 95 % range of {still} of {every} quantities would "
        "come out the same to the second digit of the spread (JCGM 101, 7.9)"
    )
    if still == every:
        return f"{words}."
    return f"{words}; all of them with about {about(figures['samples_needed'])} cars. Verdicts allow for it."


def _most_likely(record: Mapping[str, Any]) -> str:
    """Name what the most likely failing car has unusual."""
    if not record["culprits"]:
        return ""
    unusual = [
        f"{one['key']} {shown(one['value'], one['display_unit'])} instead of "
        f"{shown(one['nominal'], one['display_unit'])}"
        for one in record["culprits"][:3]
    ]
    return f"; most likely with {', '.join(unusual)}"


def _verdict_table(results: Results) -> Table:
    table = Table(box=SIMPLE_HEAD)
    for heading in (
        "limit",
        "required",
        "in so many cars",
        "nine cars in ten have",
        "holds in (95 % interval)",
        "verdict",
    ):
        table.add_column(heading)
    for limit in results.summary.limits:
        output = results.summary.outputs[limit.output]
        quantiles = dict(output.quantiles)
        write = difference_shown if limit.minus else shown
        band = " to ".join(
            ("over " if output.capped and quantiles[p] >= output.highest else "")
            + write(quantiles[p], limit.display_unit, output.sd)
            for p in (0.05, 0.95)
        )
        verdict = limit.conformance.verdict
        name = f"{limit.name} (safety)" if limit.safety else limit.name
        table.add_row(
            Text(name),
            required_words(limit),
            percent(limit.probability),
            band,
            interval_words(limit.conformance),
            Text(MARKS[verdict], style=STYLES[verdict]),
        )
    return table


def _drivers_table(results: Results) -> Table:
    table = Table(
        box=SIMPLE_HEAD,
        title="What drives each limit (share of the spread of its margin)",
        title_justify="left",
    )
    table.add_column("limit")
    table.add_column("inputs that matter most; = where the order is not settled")
    for limit in results.summary.limits:
        if limit.sensitivity is None or not limit.sensitivity.indices:
            continue
        if not limit.sensitivity.varies:
            table.add_row(Text(limit.name), "none: the margin was the same for all cars drawn")
            continue
        words = ""
        previous = None
        for index in limit.sensitivity.indices[:LEADING]:
            if previous is not None:
                words += " = " if index.name in previous.tied_with else ", "
            low, high = (max(0, min(100, round(100 * end))) for end in (index.total.low, index.total.high))
            words += f"{index.name} {low} to {high} %" if low != high else f"{index.name} {low} %"
            previous = index
        table.add_row(Text(limit.name), words)
    return table


def _lines_on_drivers(results: Results) -> Iterator[str]:
    """Say what the table of drivers cannot: which orders are open, and what matters only together."""
    found = [limit.sensitivity for limit in results.summary.limits if limit.sensitivity]
    for one in found:
        if not one.settled:
            needed = math.ceil(one.replicates * one.samples_needed / max(one.samples, 1))
            yield (
                f"the order is not settled for {one.output}: it would take about "
                f"sensitivity_replicates = {needed} in [study]; {one.replicates} were drawn"
            )
    for one in found:
        for index in one.indices[:LEADING]:
            if index.known_alone:
                shares = ", ".join(f"{name} {percent(share.value)}" for name, share in index.known_alone)
                yield f"correlated, each known alone, for {one.output}: {shares}"
    for one in found:
        pairs = one.pairs_that_matter[:LEADING]
        if pairs:
            shares = ", ".join(f"{' with '.join(pair.names)} {percent(pair.value.value)}" for pair in pairs)
            yield f"together only, for {one.output}: {shares}"


def _show_files(out: Console, folder: Path, problems: tuple[str, ...]) -> None:
    for name in ("report.html", "report.pdf", "summary.json", "samples.parquet"):
        if (folder / name).exists():
            out.print(Text(f"{folder / name}"), soft_wrap=True)
    for problem in problems:
        out.print(Text(f"! {problem}"), soft_wrap=True)


def summary_as_data(results: Results, folder: Path, problems: tuple[str, ...]) -> dict[str, Any]:
    """Return the verdicts as plain data; the whole summary lies in the folder."""
    return {
        "verdict": results.summary.verdict,
        "folder": str(folder),
        "samples": results.summary.reproduction.samples,
        "limits": [
            {
                "name": limit.name,
                "verdict": limit.conformance.verdict,
                "probability": limit.conformance.probability,
                "low": limit.conformance.low,
                "high": limit.conformance.high,
                "required": limit.probability,
                "safety": limit.safety,
                "decides": limit.conformance.decides,
            }
            for limit in results.summary.limits
        ],
        "failures": [
            f"{f.output} ({f.condition}): {f.count} without an answer, {f.meaning}"
            for f in results.summary.failures
        ],
        "warnings": list(results.summary.warnings),
        "unfinished": [failure.words for failure in results.summary.unfinished],
        "problems": list(problems),
        "stages": dict(results.stages),
    }


def show_stages(stages: Sequence[tuple[str, float]]) -> None:
    """Print how long each stage took, and its share of the whole."""
    total = sum(seconds for _, seconds in stages)
    table = Table(box=SIMPLE_HEAD, title=f"Stages, {total:.1f} s in all", title_justify="left")
    for heading in ("stage", "seconds", "share"):
        table.add_column(heading, justify="left" if heading == "stage" else "right")
    for name, seconds in stages:
        table.add_row(name, f"{seconds:.2f}", f"{seconds / total:.0%}")
    console().print(table)


def check_as_data(study: Study, nominal: Mapping[str, Mapping[str, float | None]]) -> dict[str, Any]:
    """Return inputs and nominal values as plain data (SI units)."""
    return {
        "title": study.title,
        "inputs": [
            {
                "key": given.key,
                "words": given.distribution.words(given.display_unit),
                "nominal": float(given.distribution.nominal),
                "sd": float(given.distribution.sd) if math.isfinite(given.distribution.sd) else None,
                "unit": study.graph[given.quantity].unit,
                "source": given.source,
                "default": given.default,
            }
            for given in study.all_inputs()
        ],
        "nominal": {name: dict(values) for name, values in nominal.items()},
        "warnings": list(taken_for_granted(study, nominal)),
    }


def show_check(study: Study, nominal: Mapping[str, Mapping[str, float | None]]) -> None:
    """Print every input with its distribution and source, and the nominal value of all outputs."""
    out = console()
    out.print(Text(study.title, style="bold"))
    used = {name for values in nominal.values() for name in values}
    table = Table(box=SIMPLE_HEAD, title="Inputs", title_justify="left")
    for heading in ("input", "given as", "source"):
        table.add_column(heading)
    for given in study.all_inputs():
        if given.default and given.quantity not in used:
            continue
        source = given.source if given.source else Text("no source given", style="yellow")
        table.add_row(
            Text(given.key),
            given.distribution.words(given.display_unit),
            Text(source) if isinstance(source, str) else source,
        )
    out.print(table)
    out.print(_nominal_table(study, nominal))
    failing = sorted({name for values in nominal.values() for name, value in values.items() if value is None})
    for name in failing:
        out.print(f"! {name}: no answer at the nominal values ({study.graph[name].fails or 'not finite'})")
    silent = [given.key for given in study.all_inputs() if given.source is None]
    if silent:
        out.print(f"! no source given: {', '.join(silent)}")
    for caution in taken_for_granted(study, nominal):
        out.print(f"! {caution}")
    uncertain = sum(not given.exact for given in study.all_inputs())
    if uncertain > MANY_INPUTS:
        out.print(f"{uncertain} uncertain inputs; 'squatline screen' sorts out those that matter to no limit")
    out.print(f"{len(study.limits)} limits; 'squatline run' samples them")


def _nominal_table(study: Study, nominal: Mapping[str, Mapping[str, float | None]]) -> Table:
    table = Table(box=SIMPLE_HEAD, title="Nominal values", title_justify="left")
    table.add_column("quantity")
    for condition in nominal:
        table.add_column(Text(condition), justify="right")
    names = dict.fromkeys(name for values in nominal.values() for name in values if name not in study.inputs)
    for name in names:
        unit = study.unit_of(name)
        cells = [_nominal_cell(study, name, unit, values) for values in nominal.values()]
        table.add_row(Text(name), *cells)
    return table


def _nominal_cell(study: Study, name: str, unit: str, values: Mapping[str, float | None]) -> str:
    """Write a nominal value; one at the cap of its search was not reached below it."""
    if name not in values:
        return ""
    value, cap = values[name], values.get(study.graph[name].capped_by or "")
    beyond = value is not None and cap is not None and value >= cap
    return f"over {shown(value, unit)}" if beyond else shown(value, unit)


def show_all_quantities(entries: list[dict[str, Any]]) -> None:
    """Print a table of all quantities."""
    table = Table(box=SIMPLE_HEAD)
    for heading in ("quantity", "unit", "subject", "", "what it is"):
        table.add_column(heading)
    for entry in entries:
        kind = "given" if entry["given"] else "computed"
        table.add_row(entry["name"], pretty(entry["unit"]), entry["subject"], kind, Text(entry["summary"]))
    console().print(table)


def show_explanation(entry: dict[str, Any]) -> None:
    """Print what a quantity is and its values."""
    out = console()
    unit = pretty(entry["unit"]) or "pure number"
    out.print(Text(f"{entry['name']} [{unit}]", style="bold"))
    out.print(Text(entry["summary"]))
    if entry["description"]:
        out.print(Text(entry["description"]))
    if entry["given"]:
        default = "" if entry["default"] is None else f"; {number(entry['default'])} when the study is silent"
        out.print(f"given by the study; allowed: {entry['allowed']}{default}")
    else:
        out.print(Text(f"computed in {entry['subject']} from: {', '.join(entry['needs']) or 'nothing'}"))
    for label, key in (("source", "source"), ("no answer means", "no_answer_means")):
        if entry[key]:
            out.print(Text(f"{label}: {entry[key]}"))
    if entry["used_by"]:
        out.print(Text(f"needed for: {', '.join(entry['used_by'])}"))
    for row in entry.get("values", ()):
        out.print(Text(f"{row['condition']}: {_value_words(row)}"))


def _value_words(row: dict[str, Any]) -> str:
    if "missing" in row:
        return f"cannot be computed; missing {row['missing']}"
    unit = row["display_unit"]
    words = shown(row["nominal"], unit) + " nominal"
    if row.get("sd"):
        low, high = (shown(row[end], unit, row["sd"]) for end in ("low", "high"))
        words += f"; mean {shown(row['mean'], unit, row['sd'])}"
        words += f", standard uncertainty {difference_shown(row['sd'], unit, row['sd'])}"
        words += f", 90 % between {low} and {high}"
    if row["failed_share"] > 0:
        words += f"; no answer in {percent(row['failed_share'])} of samples"
    return words + (f" (given as {row['given_as']})" if "given_as" in row else "")
