"""The candidates side by side: verdicts, differences on the same cars, and which one to build."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from reports.blocks import (
    Block,
    Bullets,
    Cell,
    Column,
    Figure,
    Heading,
    Line,
    Paragraph,
    Quiet,
    Section,
    Strong,
    Table,
    Verdict,
    cell,
)
from reports.charts_of_designs import Interval, intervals
from reports.findings import slug
from reports.formatting import Amount, amount, range_amount, scale, share, share_range
from reports.options import SYSTEMS
from reports.report import Report, in_words, number, sentence

Record = Mapping[str, Any]
# A gain within so many standard errors of nought is none that shows.
_TELLING = 2.0


def build(report: Report) -> Section | None:
    """Print a comparison as it stands in the summary."""
    found = report.summary.extra.get("candidates")
    if not isinstance(found, Mapping):
        return None
    names = {one["name"]: _named(one) for one in found["candidates"]}
    blocks: list[Block] = [Paragraph((Strong(sentence(str(found["headline"]))),), lead=True)]
    blocks += [_builds(found["candidates"]), _verdicts(found)]
    blocks += [Heading("How they differ"), Paragraph((_HOW,)), *_differences(report, found, names)]
    blocks += [Heading("Which to build"), *_choice(found, names)]
    if found["notes"]:
        blocks.append(Bullets(tuple((sentence(str(note)),) for note in found["notes"])))
    return Section("candidates", "Candidates compared", tuple(blocks))


_HOW = (
    "All candidates are tried on the same cars, so what they share cancels out. The dot is the middle car, "
    "the bar holds nine cars in ten, and the dashed line is no difference. A bar that stays on one side of "
    "it tells the two builds apart."
)


def _named(candidate: Record) -> str:
    return str(candidate["words"] or in_words(candidate["name"]))


def _builds(candidates: Sequence[Record]) -> Table:
    return Table(
        "builds",
        "What each candidate changes, and where the numbers come from.",
        (Column("Candidate", width=24), Column("Changes", width=40), Column("Source", width=36)),
        tuple(
            (
                cell(_named(one)),
                cell(
                    "; ".join(f"{in_words(name)}: {words}" for name, words, _ in one["overrides"])
                    or "nothing"
                ),
                cell(
                    "; ".join(
                        dict.fromkeys(str(source or "no source given") for _, _, source in one["overrides"])
                    )
                ),
            )
            for one in candidates
        ),
        small=True,
    )


def _verdicts(found: Record) -> Table:
    """One row a limit, one column a candidate."""
    limits = [
        (cell(name), *(_judged(one["limits"][position]) for one in found["candidates"]))
        for position, name in enumerate(found["limits"])
    ]
    together = (cell("all limits at once"), *(_chance(one["joint"]) for one in found["candidates"]))
    verdicts = (cell(Verdict(str(one["verdict"]))) for one in found["candidates"])
    overall = (cell("every limit as often as asked"), *verdicts)
    aims = [
        (cell(aim["name"]), *(_aim(found, one["aims"][position]) for one in found["candidates"]))
        for position, aim in enumerate(found["candidates"][0]["aims"])
    ]
    return Table(
        "candidate-verdicts",
        "Each limit and aim for each candidate. Limits: the share of cars that hold it, and how well it is "
        "known (95 % interval). Aims: the average car, and the range of nine in ten.",
        (Column("Limit or aim"), *(Column(_named(one)) for one in found["candidates"])),
        (*limits, together, overall, *aims),
        small=True,
        sortable=False,
    )


def _judged(conformance: Record) -> Cell:
    return cell(Verdict(str(conformance["verdict"])), " ", *_chance(conformance).line)


def _chance(conformance: Record) -> Cell:
    low, high = number(conformance["low"]), number(conformance["high"])
    return cell(share(number(conformance["probability"]), low, high), Quiet(f" {share_range(low, high)}"))


def _aim(found: Record, aim: Record) -> Cell:
    score = next((one for one in found["rankings"] if str(aim["name"]) in str(one["by"])), None)
    unit, given = (str(score["unit"]), str(score["display_unit"])) if score else ("1", "1")
    low, high = number(aim["low"]), number(aim["high"])
    # A tenth of the spread between cars: finer than that, an average tells a builder nothing.
    mean = amount(number(aim["mean"]), unit, given, spread=max(2 * number(aim["error"]), (high - low) / 33))
    return cell(mean, Quiet(range_amount(low, high, unit, given)))


def _differences(report: Report, found: Record, names: Mapping[str, str]) -> list[Block]:
    return [
        _difference_figure(found, position, subject, names)
        for position, subject in enumerate(found["subjects"])
    ] or [Paragraph(("There is nothing to compare.",))]


def _difference_figure(found: Record, position: int, subject: Record, names: Mapping[str, str]) -> Figure:
    pairs = [
        (f"{names[pair['first']]} less {names[pair['second']]}", one["difference"])
        for pair in found["pairs"]
        for one in pair["differences"]
        if one["subject"] == position
    ]
    unit, given = str(subject["unit"]), str(subject["display_unit"])
    scales = [scale(unit, given, system, difference=True) for system in SYSTEMS]
    title = str(subject["label"])
    captions: Line = ()
    for name, difference in pairs:
        better = share(*(number(difference[key]) for key in ("better", "better_low", "better_high")))
        captions = (
            *captions,
            f"{name}: ",
            _shift(difference, unit, given),
            f", better in {better} of cars. ",
        )
    return Figure(
        name=f"difference-{slug(title)}-{position}",
        title=title + (" (margin)" if subject["by_margin"] else ""),
        alternative=f"Differences between candidates in {title}: "
        + "; ".join(name for name, _ in pairs)
        + ".",
        caption=captions,
        draw=lambda: tuple(
            intervals(
                [
                    Interval(name, *(shown.value(number(d[key])) for key in ("low", "median", "high")))
                    for name, d in pairs
                ],
                axis=shown.titled(f"difference, {subject['better']} is better"),
            )
            for shown in scales
        ),
    )


def _shift(difference: Record, unit: str, given: str) -> Amount:
    return amount(
        number(difference["mean"]), unit, given, spread=number(difference["sd"]), difference=True, plus=True
    )


def _choice(found: Record, names: Mapping[str, str]) -> list[Block]:
    choice = found["choice"]
    recommended = found["recommended"]
    lines: list[Line] = [
        ("Recommended: ", Strong(names[recommended]), ".")
        if recommended
        else ("No candidate passes every limit, so none is recommended.",)
    ]
    lines.append((f"Judged by {choice['by']}, the best on average is ", Strong(names[choice["best"]]), "."))
    for one in found["candidates"]:
        if one["dominated_by"]:
            better = ", ".join(names[name] for name in one["dominated_by"])
            lines.append((f"{names[one['name']]} is no better anywhere than: {better}.",))
        if one["without_effect"]:
            idle = ", ".join(map(in_words, one["without_effect"]))
            lines.append((f"{names[one['name']]}: no limit and no aim depends on {idle}.",))
    blocks: list[Block] = [Bullets(tuple(lines))]
    telling = [*choice["measurements"], *choice["inputs"]]
    if telling:
        blocks.append(_worth(choice))
    return blocks


def _worth(choice: Record) -> Table:
    """Say what knowing something before choosing would be worth."""
    unit, given = str(choice["unit"]), str(choice["display_unit"])
    rows = [("everything", choice["everything"])]
    rows += [(f"the {one['label']} ({one['hours']:g} h)", one["worth"]) for one in choice["measurements"]]
    rows += [(f"the {one['label']}, exactly", one["worth"]) for one in choice["inputs"]]
    return Table(
        "choice-worth",
        "Before choosing, would it help to know more? What knowing each would gain on average, and in how "
        "many cars it would lead to another choice.",
        (
            Column("Known before choosing", width=50),
            Column("Gain", number=True, width=24),
            Column("Turns the choice in", number=True, width=26),
        ),
        tuple(
            (
                cell(name),
                _gain(worth["gain"], unit, given),
                cell(_turns(worth["turns"]), order=number(worth["turns"]["value"])),
            )
            for name, worth in rows
        ),
        small=True,
    )


def _gain(gain: Record, unit: str, given: str) -> Cell:
    """Write what is gained; what lies within its error of nought is no gain that shows."""
    value, error = number(gain["value"]), number(gain["error"])
    if value <= _TELLING * error:
        return cell(Quiet("none that shows"), order=0.0)
    return cell(amount(value, unit, given, spread=error, difference=True), order=value)


def _turns(turns: Record) -> str:
    value, error = number(turns["value"]), number(turns["error"])
    return share(value, max(0.0, value - 2 * error), min(1.0, value + 2 * error)) + " of cars"
