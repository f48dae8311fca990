"""What ``squatline explain`` prints: subjects, quantities found, and the entry of one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from explorer.console.explain import HandbookEntry, ListedQuantity, ValueIn
from explorer.console.search import MOST_FOUND, PhysicsSubject
from explorer.graph.units import allowed_units
from explorer.graph.written import chance, display_unit, pretty
from reports.blocks import Block, Code, Column, Facts, Line, Paragraph, Table, cell
from reports.formatting import Units, amount, hours, range_amount, uncertain_amount


def subject_blocks(subjects: Sequence[PhysicsSubject]) -> Iterator[Block]:
    """List the parts of the physics, and say how to go on."""
    for one in subjects:
        yield Paragraph((f"{one.name}: {one.words}",), lead=True)
        yield Paragraph(("  " + ", ".join(one.files),))
    yield Paragraph(
        (
            "'squatline explain WORDS' looks up a subject, a quantity or words of the workshop, such as "
            "'rear spring', scrape, vmax or N/mm; --all lists every quantity",
        )
    )


def found_blocks(words: str, entries: Sequence[ListedQuantity]) -> Iterator[Block]:
    """List what some words may mean, the likeliest first."""
    more = f" (the likeliest of {len(entries)})" if len(entries) > MOST_FOUND else ""
    yield quantity_table(f"found by {words!r}{more}", entries[:MOST_FOUND])
    yield Paragraph(("'squatline explain NAME' says more",))


def quantity_table(caption: str, entries: Sequence[ListedQuantity]) -> Table:
    """List quantities, in the units a workshop reads."""
    titles = ("quantity", "unit", "subject", "", "what it is")
    return Table(
        "quantities",
        caption,
        tuple(map(Column, titles)),
        tuple(
            (
                cell(Code(entry.name)),
                cell(pretty(display_unit(entry.unit, "metric"))),
                cell(entry.subject),
                cell("given" if entry.given else "computed"),
                cell(entry.summary),
            )
            for entry in entries
        ),
    )


def explanation_blocks(found: HandbookEntry) -> Iterator[Block]:
    """Say what a quantity is, and its values."""
    unit = pretty(display_unit(found.unit, "metric")) or "pure number"
    yield Paragraph((f"{found.name} [{unit}]",), lead=True)
    yield Paragraph((found.summary,))
    if found.description:
        yield Paragraph((found.description,))
    yield Facts(tuple(_facts(found)))


def _facts(found: HandbookEntry) -> Iterator[tuple[str, Line]]:
    if found.members:
        yield "one for each of", (f"{', '.join(found.members)}; the first is shown",)
    if found.given:
        silent: Line = ()
        if found.default is not None:
            silent = ("; ", amount(found.default, Units(found.unit, "")), " when the study is silent")
        yield "given", (f"by the study; allowed: {found.allowed}", *silent)
        yield "written in", (allowed_units(found.unit),)
    else:
        yield "computed", (f"in {found.subject} from: {', '.join(found.needs) or 'nothing'}",)
    if found.lever:
        yield "lever", (f"a builder can set it; a sensible step is {found.lever}",)
    if (usual := found.usual) is not None:
        typical = f", {usual.typical} being typical" if usual.typical else ""
        drawn = '; written "usual", it is drawn from there' if usual.typical else ""
        yield "usual", (f"{usual.low} to {usual.high}{typical} ({usual.source}){drawn}",)
    for one in found.measured_by:
        yield "measured by", (f"{one.method}, {hours(one.hours)} (judgement): {one.how}",)
    if found.source:
        yield "source", (found.source,)
    if found.no_answer_means:
        yield "no answer", (f"means {found.no_answer_means}",)
    if found.used_by:
        yield "needed for", (", ".join(found.used_by),)
    for value in found.values:
        yield value.condition, _value(value, found.unit)


def _value(value: ValueIn, unit: str) -> Line:
    if value.missing is not None:
        return (f"cannot be computed; missing {value.missing}",)
    of = Units(unit, value.display_unit)
    line: Line = (amount(value.nominal, of), " nominal")
    if (sampled := value.sampled) is not None and sampled.sd:
        line += (
            "; mean ",
            uncertain_amount(sampled.mean, sampled.sd, of),
            ", 90 % ",
            range_amount(sampled.low, sampled.high, of, spread=sampled.sd),
        )
    if value.failed_share > 0:
        line += (f"; no answer in {chance(value.failed_share)} of samples",)
    if value.standing:
        line += (f"; {value.standing}",)
    return (*line, f" (given as {value.given_as})") if value.given_as else line
