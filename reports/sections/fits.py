"""What measured logs have changed: the inputs they replaced, before and after."""

from __future__ import annotations

from collections.abc import Sequence

from explorer.graph.labels import label
from explorer.graph.written import MINUS, chance
from explorer.results.logged_runs import Belief, FittedFile, ReplacedInput
from reports.blocks import Block, Cell, Column, Facts, Paragraph, Quiet, Section, Strong, Table, cell
from reports.formatting import Amount, uncertain_amount
from reports.report import Report, sentence


def build(report: Report) -> Section | None:
    """Print the inputs that included files replaced; nothing where the study includes none."""
    files = report.summary.fits
    if not files:
        return None
    rows = [_row(report, one) for file in files for one in file.inputs]
    blocks: list[Block] = [
        Paragraph((Strong(sentence(headline(files))),), lead=True),
        Table(
            "fitted-inputs",
            "Inputs that a log has replaced: what was believed, what was found, each with its standard "
            "deviation, the usual size of a miss. Moved by: as a multiple of the standard deviation before; "
            "beyond 2 up or down, log and belief hardly agree. Doubt left: standard deviation after, "
            "in terms of that before.",
            (
                Column("Input", width=28),
                Column("Before", number=True, width=24),
                Column("After", number=True, width=24),
                Column("Moved by", number=True, width=12),
                Column("Doubt left", number=True, width=12),
            ),
            tuple(rows),
        ),
    ]
    blocks += [Paragraph(("Found from:",)), _sources(report, files), *_doubts(files)]
    return Section("fits", "What the logs changed", tuple(blocks))


def headline(files: Sequence[FittedFile]) -> str:
    """Say how many inputs come from logs, and which moved most."""
    inputs = [one for file in files for one in file.inputs]
    counted = f"{len(inputs)} inputs of this study come from fitted logs"
    if len(inputs) == 1:
        counted = "1 input of this study comes from a fitted log"
    compared = [one for one in inputs if one.moved_by is not None and one.narrowed_to is not None]
    if not compared:
        return counted
    farthest = max(compared, key=lambda one: abs(one.moved_by or 0.0))
    moved, left = farthest.moved_by or 0.0, farthest.narrowed_to or 0.0
    return (
        f"{counted}; the {label(farthest.quantity)} moved most: {'up' if moved > 0 else 'down'} by "
        f"{abs(moved):.1f} times the spread it had, and its spread fell to {chance(left)} of what it was"
    )


def _row(report: Report, one: ReplacedInput) -> tuple[Cell, ...]:
    moved, left = one.moved_by, one.narrowed_to
    return (
        cell(report.input_name(one.quantity)),
        cell(_value(one, one.before) if one.before else Quiet("not given")),
        cell(_value(one, one.after)),
        cell("" if moved is None else f"{moved:+.1f}".replace("-", MINUS)),
        cell("" if left is None else chance(left)),
    )


def _sources(report: Report, files: Sequence[FittedFile]) -> Facts:
    """Say once for all inputs of a log where they come from; its fingerprint stands with the inputs."""
    inputs: dict[str, list[str]] = {}
    for one in (one for file in files for one in file.inputs):
        source = (one.after.source or "no source given").partition("sha256")[0].rstrip(" ,;(")
        inputs.setdefault(source, []).append(report.input_name(one.quantity))
    return Facts(tuple((", ".join(names), (source,)) for source, names in inputs.items()))


def _value(one: ReplacedInput, belief: Belief) -> Amount:
    """Write what is believed of an input, with its standard deviation."""
    return uncertain_amount(belief.mean, belief.sd, one)


def _doubts(files: Sequence[FittedFile]) -> list[Block]:
    """Say where a file no longer carries the record of the fit that wrote it."""
    silent = [file.file for file in files if not file.as_written]
    if not silent:
        return []
    return [
        Paragraph(
            (
                f"Without the record of a fit, or changed by hand since: {', '.join(silent)}. Nothing here "
                "vouches for it.",
            )
        )
    ]
